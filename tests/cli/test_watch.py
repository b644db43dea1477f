"""A report watched: who is let in, what a save does, what is tried and written."""

from __future__ import annotations

import json
import os
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tapplan.checks.review import Review
from tapplan.cli.loopback.asked import NumberRequest
from tapplan.cli.loopback.board import NewsBoard
from tapplan.cli.loopback.desk import DeskFiles, opened_desk
from tapplan.cli.loopback.session import Errands
from tests.cli.watched_page import RIDGE, TITLE, WAIT_S, Served, by_rename, in_place, saved, small, working


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with working(saved(tmp_path)) as one:
        yield one


def test_nothing_is_served_but_the_page_at_its_secret_path(served: Served) -> None:
    assert len(served.token) >= 32
    assert served.status(served.home) == 200
    secret = served.token
    others = ["/", "/favicon.ico", "/x/", "/events", "/try", f"/{secret}", f"/{secret[:-1]}/", f"/{secret}x/"]
    others += [f"/{secret}/x", f"/{secret}//", f"/{secret}/tried/1/", f"/{secret}/tried/x/", f"/{secret}/mine.toml"]
    up = ["/../../etc/passwd", f"/{secret}/../../../etc/passwd", f"/{secret}/..%2f..%2fetc/passwd", "//etc/passwd"]
    up += [f"/{secret}/%2e%2e/{served.file.name}", str(served.file), f"/{secret}{served.file}", "/%00", "/?" + secret]
    assert {path: served.status(path) for path in others + up} == dict.fromkeys(others + up, 404)
    assert served.ask("POST", "/x/try", b"{}", Origin=served.origin).status == 404
    assert served.ask("DELETE", served.home).status == 405


def test_no_other_address_of_the_machine_answers(served: Served) -> None:
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.2", served.port), timeout=5)


def test_another_call_has_another_secret(tmp_path: Path) -> None:
    with working(saved(tmp_path)) as one, working(one.file) as other:
        assert one.token != other.token
        assert one.status(other.home) == 404


def test_a_name_bound_to_this_machine_from_outside_is_refused(served: Served) -> None:
    """DNS rebinding: the browser reaches the server by the name of a stranger, and says so in Host."""
    port = served.port
    strange = ["strange.example", f"strange.example:{port}", "127.0.0.1", "localhost", f"localhost.strange:{port}"]
    strange += [f"127.0.0.1:{port + 1}", f"[::1]:{port}", f"0.0.0.0:{port}", ""]
    for path in (served.home, served.home + "events", "/"):
        assert {host: served.status(path, Host=host) for host in strange} == dict.fromkeys(strange, 403)
    assert served.status(served.home, Host=f"localhost:{port}") == 200
    assert served.status(served.home, Host=f"127.0.0.1:{port}") == 200


def test_another_origin_is_refused(served: Served) -> None:
    port = served.port
    strange = ["http://strange.example", "null", f"https://127.0.0.1:{port}", f"http://127.0.0.1:{port + 1}"]
    strange += ["http://127.0.0.1", f"http://localhost.strange:{port}"]
    numbers = {"winding[1].turns": "500"}
    for origin in strange:
        assert served.status(served.home, Origin=origin) == 403
        assert served.status(served.home + "events", Origin=origin) == 403
        assert served.post("write", numbers, Origin=origin).status == 403
    assert served.post("try", numbers, Origin=f"http://localhost:{port}").status == 200
    assert served.file.read_text(encoding="utf-8") == RIDGE


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": ""}, 403),
        ({"Tapplan_Token": ""}, 403),
        ({"Tapplan_Token": "guessed"}, 403),
        ({"Content_Type": ""}, 415),
        ({"Content_Type": "text/plain"}, 415),
        ({"Content_Type": "application/x-www-form-urlencoded"}, 415),
    ],
)
def test_what_a_form_of_another_page_could_send_writes_nothing(
    served: Served, headers: dict[str, str], status: int
) -> None:
    assert served.post("write", {"winding[1].turns": "500"}, **headers).status == status
    assert served.file.read_text(encoding="utf-8") == RIDGE


def test_nobody_may_frame_keep_or_pass_on_the_page(served: Served) -> None:
    found = served.ask("GET", served.home).headers
    assert "frame-ancestors 'none'" in found["Content-Security-Policy"]
    assert "connect-src 'self'" in found["Content-Security-Policy"]
    assert (found["Cache-Control"], found["Referrer-Policy"]) == ("no-store", "same-origin")
    assert "Access-Control-Allow-Origin" not in found


def after_taking_it_away(file: Path, content: bytes) -> None:
    file.rename(file.with_name("mine.toml~"))
    time.sleep(0.05)
    file.write_bytes(content)


@pytest.mark.parametrize("save", [in_place, by_rename, after_taking_it_away])
def test_a_saved_file_makes_a_new_page(served: Served, save: Callable[[Path, bytes], None]) -> None:
    with served.news() as until:
        assert until(lambda news: True) == {"page": 1, "problem": ""}
        for number, title in ((2, "Harbour office"), (3, "Hill farm")):
            save(served.file, RIDGE.replace(TITLE, f'title  = "{title}').encode())
            assert until(lambda news, number=number: news["page"] == number) == {"page": number, "problem": ""}
            assert f"<title>{title}, 230 V" in served.page()


def test_a_link_to_a_file_elsewhere_is_followed(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    real = saved(tmp_path / "elsewhere", name="real.toml")
    link = tmp_path / "link.toml"
    link.symlink_to(real)
    with working(link) as one, one.news() as until:
        by_rename(real, RIDGE.replace(TITLE, 'title  = "Hill farm').encode())
        until(lambda news: news["page"] == 2)
        assert one.told("write", {"winding[1].turns": "500"}) == (200, "")
        assert link.is_symlink()
        assert "turns = 500" in real.read_text(encoding="utf-8")


def test_saving_the_same_again_makes_no_page(served: Served) -> None:
    with served.news() as until:
        by_rename(served.file, RIDGE.encode())
        served.file.touch()
        time.sleep(1.5)
        by_rename(served.file, RIDGE.replace(TITLE, 'title  = "Hill farm').encode())
        assert until(lambda news: news["page"] > 1)["page"] == 2


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ("format = 1\nthis is no TOML\n", ["mine.toml:2: found", "accepted: TOML 1.0"]),
        (RIDGE.replace("turns = ", "turns = -", 1), ["winding[1].turns: found -", "accepted: turns above 0"]),
        (RIDGE.replace("[sensing]", "[sensing]\ncolour = 1"), ["sensing.colour: found", "accepted:"]),
        (RIDGE.replace("energised", "energized", 1), ["found", "accepted", "energised"]),
        ("", ["mine.toml: found an empty file"]),
        (None, ["mine.toml: found no such file"]),
    ],
)
def test_a_broken_file_keeps_the_page_and_tells_what_is_wrong(
    served: Served, wrong: str | None, told: list[str]
) -> None:
    with served.news() as until:
        if wrong is None:
            served.file.unlink()
        else:
            in_place(served.file, wrong.encode())
        news = until(lambda news: news["problem"] != "" and all(one in news["problem"] for one in told))
        assert news["page"] == 1
        assert "Ridge dispensary" in served.page()
        in_place(served.file, RIDGE.encode())
        until(lambda news: news == {"page": 1, "problem": ""})  # the text of the page that is there


def test_what_only_ratios_show_is_told_with_its_line(served: Served) -> None:
    """The backup would be left inside the outermost holds: `check` says where, so does the page."""
    line = next(number for number, one in enumerate(RIDGE.splitlines(), 1) if one.startswith("leave_v"))
    with served.news() as until:
        text = "\n".join("leave_v = [200, 260]" if one.startswith("leave_v") else one for one in RIDGE.splitlines())
        in_place(served.file, text.encode())
        news = until(lambda news: news["problem"] != "")
        assert f"{served.file}:{line}: backup.leave_v" in news["problem"]


def test_a_failure_of_tapplan_itself_ends_nothing(tmp_path: Path) -> None:
    def fragile(one: Review, older: Review | None) -> str:
        if "fails" in one.design.title:
            raise ZeroDivisionError("as seen once")
        return small(one, older)

    with working(saved(tmp_path), page_of=fragile) as served, served.news() as until:
        in_place(served.file, RIDGE.replace(TITLE, 'title  = "fails').encode())
        news = until(lambda news: news["problem"] != "")
        assert "tapplan failed by itself (ZeroDivisionError: as seen once)" in news["problem"]
        in_place(served.file, RIDGE.replace(TITLE, 'title  = "Hill farm').encode())
        assert until(lambda news: news["page"] == 2)["problem"] == ""


def test_numbers_are_tried_and_the_file_stays(served: Served) -> None:
    before = os.stat(served.file)
    status, path = served.told("try", {"winding[1].turns": "640", "band[1].hold_v[1]": "170,5"})
    assert (status, path) == (200, "tried/1/")
    tried = served.ask("GET", served.home + path).body
    assert "Tried, not written." in tried
    assert 'value="640"' in tried
    assert 'value="640"' not in served.page()
    assert served.told("try", {"winding[1].turns": "641"}) == (200, "tried/2/")
    assert served.file.read_text(encoding="utf-8") == RIDGE
    assert os.stat(served.file).st_mtime_ns == before.st_mtime_ns


def test_only_the_last_few_tried_are_kept(served: Served) -> None:
    for number in range(1, 11):
        assert served.told("try", {"winding[1].turns": "640"}) == (200, f"tried/{number}/")
    assert [served.status(f"{served.home}tried/{number}/") for number in (1, 2, 3, 10)] == [404, 404, 200, 200]


@pytest.mark.parametrize(
    ("numbers", "told"),
    [
        ({"winding[1].turns": "many"}, ['winding[1].turns: found "many"', "accepted: turns above 0"]),
        ({"winding[1].turns": "-3"}, ["winding[1].turns: found -3", "accepted: turns above 0"]),
        ({"winding[1].turns": ""}, ['winding[1].turns: found ""', "accepted: turns above 0"]),
        ({"band[1].hold_v[1]": "250"}, ["band[1].hold_v", "accepted: [low, high]"]),
        ({"backup.leave_v[1]": "200"}, ["backup.leave_v: found", "accepted"]),
    ],
)
@pytest.mark.parametrize("what", ["try", "write"])
def test_what_makes_no_page_is_refused_in_the_words_of_the_file(
    served: Served, what: str, numbers: dict[str, str], told: list[str]
) -> None:
    status, problem = served.told(what, numbers)
    assert status == 422
    assert all(one in problem for one in (f"{served.file}:", *told))
    assert served.file.read_text(encoding="utf-8") == RIDGE


@pytest.mark.parametrize(
    "body",
    [
        *(b"", b"no JSON", b"[]", b"null", b'"x"', b"[" * 60_000, b"\xff"),
        *(b'{"read": "x"}', b'{"read": 1, "numbers": {"a": "1"}}', b'{"read": "x", "numbers": {}}'),
        *(b'{"read": "x", "numbers": {"a": 1}}', b'{"read": "x", "numbers": ["a"]}'),
        b'{"read": "x", "numbers": {"a": "1\\n2"}}',
        b'{"read": "x", "numbers": {"a": "%s"}}' % (b"1" * 41),
    ],
)
def test_a_body_of_another_form_is_refused(served: Served, body: bytes) -> None:
    reply = served.ask("POST", served.home + "write", body, **served.own)
    assert reply.status == 400
    assert "accepted: " in json.loads(reply.body)["problem"]
    assert served.file.read_text(encoding="utf-8") == RIDGE


@pytest.mark.parametrize("key", ["title", "winding[9].turns", "winding[1].name", "../x", "relay[1].com"])
def test_other_keys_are_not_for_the_page(served: Served, key: str) -> None:
    status, problem = served.told("write", {key: "5"})
    assert status == 400
    assert f'found "{key}"; accepted: winding[1].turns' in problem
    assert served.file.read_text(encoding="utf-8") == RIDGE


@pytest.mark.parametrize(
    "sent", ["Content-Length: 10000000\r\n\r\n", "Transfer-Encoding: chunked\r\n\r\n1312d00\r\n" + " " * 1000]
)
def test_a_big_body_is_refused_before_it_is_read(served: Served, sent: str) -> None:
    head = f"POST {served.home}write HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n"
    own = "".join(f"{name.replace('_', '-')}: {value}\r\n" for name, value in served.own.items())
    with socket.create_connection(("127.0.0.1", served.port), timeout=WAIT_S) as call:
        call.sendall((head + own + sent).encode())
        assert call.makefile("rb").readline().startswith(b"HTTP/1.1 4")
    assert served.status(served.home) == 200


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_writing_keeps_comments_ends_of_lines_and_the_rest(tmp_path: Path, ends: str, mark: bytes) -> None:
    text = RIDGE.replace("turns = ", "turns  =  ", 1).replace("\n", "  # a note of mine\n", 1).replace("\n", ends)
    file = saved(tmp_path, mark + text.encode())
    file.chmod(0o640)
    with working(file) as served, served.news() as until:
        assert served.told("write", {"winding[2].turns": "73.5"}) == (200, "")
        assert until(lambda news: news["page"] == 2)["problem"] == ""
        assert 'value="73.5"' in served.page()
    made = file.read_bytes()
    assert made.startswith(mark + b"#" if text.startswith("#") else mark + text[:5].encode())
    before, after = text.split("\n"), made.removeprefix(mark).decode().split("\n")
    other = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert [new for _, new in other] == [other[0][0].replace(other[0][0].split()[2], "73.5")]
    assert file.stat().st_mode & 0o777 == 0o640


def test_a_file_with_both_ends_of_lines_keeps_each(tmp_path: Path) -> None:
    lines = RIDGE.split("\n")
    text = "".join(line + ("\r\n" if number % 3 else "\n") for number, line in enumerate(lines[:-1]))
    with working(saved(tmp_path, text)) as served:
        assert served.told("write", {"winding[1].turns": "777"}) == (200, "")
        made = served.file.read_bytes().decode()
    assert [line[-1:] for line in made.split("\n")] == [line[-1:] for line in text.split("\n")]
    assert sum(old != new for old, new in zip(text.split("\n"), made.split("\n"), strict=True)) == 1


def test_a_file_saved_meanwhile_is_not_written_over(served: Served) -> None:
    """Known to the watch or not yet: both are refused, and the other's text stays."""
    theirs = RIDGE.replace(TITLE, 'title  = "Hill farm')
    read = served.desk.good.mark
    with served.news() as until:
        in_place(served.file, theirs.encode())
        until(lambda news: news["page"] == 2)
    status, problem = served.told("write", {"winding[1].turns": "777"}, read)
    assert status == 409
    assert f"{served.file}: the file was saved since this page was made" in problem
    assert served.file.read_text(encoding="utf-8") == theirs


def test_a_file_saved_a_moment_ago_is_not_written_over(tmp_path: Path) -> None:
    file = saved(tmp_path)
    desk = opened_desk(DeskFiles(str(file)), small, NewsBoard(), "/secret/")
    write = NumberRequest("write", desk.good.mark, {"winding[1].turns": "777"})
    for theirs in (RIDGE + "# one line more\n", "", None, b"\xff\xfe"):
        if theirs is None:
            file.unlink()
        else:
            saved(tmp_path, theirs)
        there = file.exists() and file.read_bytes()
        reply = desk.answer(write)
        assert reply.status == 409
        assert "has changed on disk since it was read, so nothing was written" in reply.told["problem"]
        assert (file.exists() and file.read_bytes()) == there
    saved(tmp_path, RIDGE)
    assert desk.answer(write).status == 200
    assert file.read_text(encoding="utf-8") != RIDGE


def test_what_was_written_is_read_from_then_on(served: Served) -> None:
    assert served.told("write", {"winding[1].turns": "700"}) == (200, "")
    assert served.told("write", {"winding[1].turns": "701"}) == (200, "")
    assert 'data-stated="701"' in served.page()


def test_the_older_revision_is_watched_too(tmp_path: Path) -> None:
    older = saved(tmp_path, RIDGE.replace(TITLE, 'title  = "Before'), "old.toml")
    with working(saved(tmp_path), older) as served, served.news() as until:
        assert "Before, 230 V" in served.page()
        in_place(older, RIDGE.replace(TITLE, 'title  = "Long before').encode())
        until(lambda news: news["page"] == 2)
        assert "Long before, 230 V" in served.page()
        in_place(older, b"format = 2")
        assert "old.toml:1: format" in until(lambda news: news["problem"] != "")["problem"]


def test_where_the_system_tells_nothing_files_are_looked_at(tmp_path: Path, monkeypatch: Any) -> None:
    def none(*paths: object, **how: object) -> None:
        raise OSError("no more watches")

    monkeypatch.setattr("tapplan.cli.loopback.saves.awatch", none)
    with working(saved(tmp_path)) as served, served.news() as until:
        in_place(served.file, RIDGE.replace(TITLE, 'title  = "Hill farm').encode())
        until(lambda news: news["page"] == 2)


def test_only_a_few_requests_wait() -> None:
    errands = Errands()
    errands.look()
    errands.look()
    taken = [errands.ask(NumberRequest("try", "", {})) for _ in range(6)]
    assert taken[0]
    assert not taken[-1]
    assert sum(taken) < 5
