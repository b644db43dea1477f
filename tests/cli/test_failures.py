"""What goes wrong outside the design: output that cannot be written, files laid out otherwise, tapplan itself."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tapplan import wholefile
from tapplan.cli import main as command
from tapplan.cli.arguments import parser
from tapplan.cli.verbs import VERBS, table
from tapplan.design.starter import STARTER
from tapplan.errors import visible
from tests.examples import ROOT

EXAMPLE = str(ROOT / "designs" / "ridge-dispensary.toml")


def shell(line: str) -> subprocess.CompletedProcess[str]:
    """A line of a POSIX shell in which `tapplan` is the present one; the exit code is the command's own."""
    full = f'tapplan() {{ "{sys.executable}" -m tapplan "$@"; }}; {line}'
    return subprocess.run(["bash", "-c", full], capture_output=True, text=True, check=False, cwd=ROOT)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("options", ["", "--json"])
def test_output_that_cannot_be_written_is_no_verdict(options: str) -> None:
    done = shell(f"tapplan table {EXAMPLE} {options} > /dev/full")
    assert done.returncode == 2
    assert done.stderr == "standard output: cannot be written (No space left on device)\n"


def test_a_closed_standard_output_is_no_verdict() -> None:
    done = shell(f"tapplan table {EXAMPLE} >&-")
    assert done.returncode == 2
    assert done.stderr == "standard output: found it closed; accepted: a terminal, a pipe or a file\n"


def test_a_reader_that_has_seen_enough_is_no_error() -> None:
    done = shell(f"tapplan at {EXAMPLE} --sweep 100:300:0.05 | head -n 1; exit ${{PIPESTATUS[0]}}")
    assert (done.returncode, done.stderr) == (0, "")


def test_a_failure_of_tapplan_itself_is_told_apart_from_a_verdict(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(_: object) -> None:
        raise ZeroDivisionError("by\x1b[31mnought")

    monkeypatch.setattr(table, "answer", broken)
    monkeypatch.setattr(sys, "argv", ["tapplan", "table", EXAMPLE])
    monkeypatch.delenv(command.TRACE, raising=False)
    with pytest.raises(SystemExit) as ended:
        command.run()
    assert ended.value.code == 70
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "ZeroDivisionError: by\\x1b[31mnought" in told
    assert "TAPPLAN_TRACE=1" in told
    monkeypatch.setenv(command.TRACE, "1")
    with pytest.raises(ZeroDivisionError):
        command.run()


def test_an_answer_does_not_replace_the_file_it_was_made_from(tmp_path: Path) -> None:
    file, other = tmp_path / "stage.toml", tmp_path / "again.toml"
    file.write_text(STARTER)
    other.symlink_to(file)
    for output in (file, other):
        done = shell(f"tapplan table {file} -o {output} --force")
        assert done.returncode == 2
        assert "the very file that is read; accepted: another name" in done.stderr
    assert file.read_text() == STARTER


@pytest.mark.parametrize("own", [True, False])
def test_bands_written_leave_every_other_byte_as_it_is(own: bool, tmp_path: Path) -> None:
    """Above and below the bands nothing changes, though lines end now so, now otherwise; in place and in a copy."""
    lines = STARTER.splitlines()
    ends = ["\n" if number % 3 else "\r\n" for number in range(len(lines))]
    raw = b"\xef\xbb\xbf" + "".join(map("".join, zip(lines, ends, strict=True))).encode()
    file, copy = tmp_path / "stage.toml", tmp_path / "copy.toml"
    file.write_bytes(raw)
    assert command.main(["bands", str(file), "--write", *([] if own else ["-o", str(copy)])]) == 0
    made = (file if own else copy).read_bytes()
    above = raw.index(b"[[band]]")
    assert made[:above] == raw[:above]
    assert made != raw
    kept = {line for line in raw.split(b"\n") if b"#" in line}
    assert kept <= set(made.split(b"\n"))
    assert own or file.read_bytes() == raw


def test_bands_are_written_in_the_layout_of_the_file(tmp_path: Path) -> None:
    """Its mark in front, its line ends, its mode, and every name it is known by."""
    file, link = tmp_path / "stage.toml", tmp_path / "link.toml"
    file.write_bytes(b"\xef\xbb\xbf" + STARTER.replace("\n", "\r\n").encode())
    file.chmod(0o640)
    os.link(file, link)
    done = shell(f"tapplan bands {file} --write")
    assert done.returncode == 0, done.stderr
    raw = file.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf# A tapplan design")
    assert raw.count(b"\r\n") == raw.count(b"\n") > 60
    assert file.stat().st_mode & 0o777 == 0o640
    assert link.read_bytes() == raw
    assert link.samefile(file)
    assert [one.name for one in tmp_path.iterdir() if one.name.startswith(".")] == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give a file away")
def test_a_file_of_somebody_else_stays_theirs(tmp_path: Path) -> None:
    file = tmp_path / "stage.toml"
    file.write_text(STARTER)
    os.chown(file, 12345, 12346)
    assert shell(f"tapplan bands {file} --write").returncode == 0
    assert (file.stat().st_uid, file.stat().st_gid) == (12345, 12346)


def test_a_name_as_long_as_the_system_allows(tmp_path: Path) -> None:
    file = tmp_path / ("x" * 250 + ".toml")
    assert shell(f"tapplan new {file}").returncode == 0
    assert file.read_text() == STARTER


def sheet(tmp_path: Path) -> Path:
    file = tmp_path / "sheet.csv"
    assert shell(f"tapplan bench {EXAMPLE} -o {file}").returncode == 0
    return file


def test_a_sheet_with_line_ends_of_an_old_system(tmp_path: Path) -> None:
    file = sheet(tmp_path)
    plain = shell(f"tapplan isolate {EXAMPLE} --sheet {file}")
    file.write_bytes(file.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", b"\r"))
    again = shell(f"tapplan isolate {EXAMPLE} --sheet {file}")
    assert (again.returncode, again.stdout, again.stderr) == (plain.returncode, plain.stdout, plain.stderr)


def test_a_cell_beyond_all_measure(tmp_path: Path) -> None:
    file = sheet(tmp_path)
    file.write_text(file.read_text() + '"' + "x" * 140_000 + '",,\n')
    done = shell(f"tapplan isolate {EXAMPLE} --sheet {file}")
    assert done.returncode == 2
    assert "found a row that cannot be read (field larger than field limit (131072))" in done.stderr
    assert "accepted: cells between commas or semicolons" in done.stderr


@pytest.mark.parametrize(
    ("call", "accepted"),
    [
        ("isolate {design} --sheet {none}", "a sheet that `tapplan bench` wrote, filled in, that can be read"),
        ("isolate {design} --priors {none}", "a file in TOML that can be read, of faults and how often they are met"),
        ("table {none}", "a design file in TOML that can be read"),
    ],
)
def test_a_missing_file_is_called_what_it_should_be(call: str, accepted: str, tmp_path: Path) -> None:
    done = shell("tapplan " + call.format(design=EXAMPLE, none=tmp_path / "none"))
    assert done.returncode == 2
    assert f"found no such file; accepted: {accepted}" in done.stderr


def test_names_that_would_move_the_terminal_are_shown_as_escapes(tmp_path: Path) -> None:
    file = tmp_path / "a\u202eb\x1b[31m.toml"
    done = subprocess.run(
        [sys.executable, "-m", "tapplan", "table", str(file)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "a\\u202eb\\x1b[31m.toml" in done.stderr
    assert visible("a line\nand\tmore\u2066") == "a line\nand\\tmore\\u2066"


@pytest.mark.parametrize("name", ["\\u001b[31mKA", "KA\\u0007", "\\u202eKA", "K\\u2066A", "\\u0000"])
def test_control_characters_are_no_part_of_a_name(name: str, tmp_path: Path) -> None:
    file = tmp_path / "stage.toml"
    file.write_text(STARTER.replace('name = "KA"', f'name = "{name}"'))
    done = shell(f"tapplan check {file}")
    assert done.returncode == 2
    assert "relay[1].name" in done.stderr
    assert not set(done.stderr) & {"\x1b", "\x07", "\u202e", "\u2066", "\x00"}


# --- every verb that writes an answer ---

# A call of each verb, quick to answer: what is in braces is a file that it reads.
CALLS = {
    "new": "new",
    "states": "states {design}",
    "bands": "bands {design}",
    "table": "table {design}",
    "check": "check {design} {older}",
    "at": "at {design} 200",
    "faults": "faults {design}",
    "isolate": "isolate {design} --sheet {sheet} --priors {priors}",
    "bench": "bench {design}",
    "fit": "fit {request} --weights {weights}",
    "rate": "rate {design}",
    "margins": "margins {design}",
    "steps": "steps {design}",
    "moves": "moves {design}",
    "trace": "trace quiet --days 0.01 --to csv --design {design}",
    "replay": "replay {design} {log} --beside {older}",
    "compare": "compare {older} {design}",
    "report": "report {design} --compare {older} --log {log}",
    "export": "export {design} --to c",
    "standards": "standards",
    "schema": "schema",
    "guide": "guide limits",
    "completion": "completion bash",
}
MORE_CALLS = {
    "bands --write": "bands {design} --write",
    "fit --pick": "fit {request} --pick 1",
    "fit --log": "fit {design} --log {log}",
    "isolate --tree": "isolate {design} --tree",
    "isolate --plan": "isolate {design} --plan",
    "export --to svg": "export {design} --to svg",
    "check --format": "check {design} {older} --format sarif",
    "bench --learn": "bench {frame} --learn {readings} --json",
}
EVERY = {**CALLS, **MORE_CALLS}
# Calls that between them read every kind of file.
READERS = (
    "table {design}",
    "check {design} {older}",
    "compare {older} {design}",
    "isolate {design} --sheet {sheet} --priors {priors}",
    "isolate {design} --resume {session}",
    "bench {frame} --learn {readings}",
    "fit {request} --weights {weights} --keep {search}",
    "fit {design} --log {log}",
    "replay {design} {log} --keep {runs}",
    "report {design} --log {log} --json",
)
SOURCES = {
    "design": "ridge-dispensary.toml",
    "older": "river-kiosk.toml",
    "frame": "orchard-cold-room.toml",
    "request": "requests/plain-workshop.toml",
}
WRITTEN = {
    "log": "time,volts\n" + "".join(f"2024-01-01T00:00:{second:02}Z,230\n" for second in range(60)),
    "priors": "stuck-rest = 5\n",
    "weights": "volts,weight\n230,5\n",
    "readings": "condition,measure,reading\noff,ohms A B,0.2\n",
}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A file for each thing that calls read."""
    folder = tmp_path_factory.mktemp("inputs")
    files = {name: folder / f"{name}.toml" for name in SOURCES}
    for name, source in SOURCES.items():
        shutil.copyfile(ROOT / "designs" / source, files[name])
    for name, content in WRITTEN.items():
        files[name] = folder / f"{name}.csv"
        files[name].write_text(content)
    files["sheet"] = folder / "sheet.csv"
    files["search"], files["runs"] = folder / "search.jsonl", folder / "runs.jsonl"
    for call in (f"bench {files['design']} -o {files['sheet']}", *(words for words in READERS if "--keep" in words)):
        assert command.main(call.format_map(files).split()) == 0
    files["session"] = folder / "session.txt"
    mark = files["sheet"].read_text().split("\n")[0].partition(",")[2]
    files["session"].write_text(f"fingerprint {mark.strip()}\nline 200 V rising: output = 226\n")
    return files


def words_of(name: str, files: dict[str, Path]) -> list[str]:
    """The words of a call, each of which may hold anything."""
    return [str(files[word[1:-1]]) if word[:1] == "{" else word for word in EVERY[name].split()]


def read_by(name: str) -> list[str]:
    return [word[1:-1] for word in EVERY[name].split() if word[:1] == "{"]


def told(capsys: pytest.CaptureFixture[str]) -> str:
    """The one line on standard error; nothing may stand on the other."""
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err.rstrip("\n")


def left(folder: Path) -> dict[str, bytes]:
    return {str(one): one.read_bytes() for one in folder.rglob("*") if one.is_file()}


def test_every_verb_that_takes_an_output_is_among_these_calls() -> None:
    (verbs,) = parser("0")._subparsers._group_actions  # type: ignore[union-attr]
    assert isinstance(verbs.choices, dict)
    takes = {name for name, one in verbs.choices.items() if "--output" in one._option_string_actions}
    assert takes == set(CALLS) == set(VERBS)


@pytest.mark.parametrize("name", EVERY)
def test_an_answer_goes_into_its_file(name: str, inputs: dict[str, Path], tmp_path: Path) -> None:
    """Else what follows would prove nothing: the same calls, refused for another reason."""
    assert command.main([*words_of(name, inputs), "-o", str(tmp_path / "a")]) in (0, 1)
    assert set(left(tmp_path)) == {str(tmp_path / "a")}


@pytest.mark.parametrize("name", EVERY)
def test_a_file_that_is_there_is_kept_without_force(
    name: str, inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "a"
    file.write_text("kept")
    assert command.main([*words_of(name, inputs), "-o", str(file)]) == 2
    assert told(capsys) == f"{file}: found a file of that name; it is kept unless --force is given"
    assert left(tmp_path) == {str(file): b"kept"}


@pytest.mark.parametrize("name", EVERY)
def test_a_directory_is_no_file(
    name: str, inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for more in ([], ["--force"]):
        assert command.main([*words_of(name, inputs), "-o", str(tmp_path), *more]) == 2
        assert told(capsys) == f"{tmp_path}: found a directory; accepted: a file name"
    assert left(tmp_path) == {}


@pytest.mark.parametrize("name", EVERY)
def test_a_folder_that_is_not_there_takes_no_file(
    name: str, inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command.main([*words_of(name, inputs), "-o", str(tmp_path / "none" / "a")]) == 2
    assert told(capsys) == f"{tmp_path}/none/a: cannot be written (No such file or directory)"
    assert left(tmp_path) == {}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("name", EVERY)
def test_a_full_disk_is_one_message_and_leaves_what_was_there(
    name: str,
    inputs: dict[str, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Found only when the answer is written; so it shows too that every verb writes in one place."""

    def full(path: str, flags: int) -> int:
        os.close(os.open(path, flags))
        return os.open("/dev/full", os.O_WRONLY)

    monkeypatch.setattr(wholefile, "_for_its_writer", full)
    file = tmp_path / "a"
    file.write_text("kept")
    assert command.main([*words_of(name, inputs), "-o", str(file), "--force"]) == 2
    assert told(capsys) == f"{file}: cannot be written (No space left on device)"
    assert left(tmp_path) == {str(file): b"kept"}


READS = [(name, read) for name in EVERY for read in read_by(name) if (name, read) != ("bands --write", "design")]


@pytest.mark.parametrize("way", ["itself", "link", "hard link", "roundabout"])
@pytest.mark.parametrize(("name", "read"), READS)
def test_no_answer_replaces_what_it_is_made_from(
    way: str, name: str, read: str, inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "other"
    match way:
        case "itself":
            other = inputs[read]
        case "link":
            other.symlink_to(inputs[read])
        case "hard link":
            os.link(inputs[read], other)
        case _:
            other = inputs[read].parent / "." / ".." / inputs[read].parent.name / inputs[read].name
    before = inputs[read].read_bytes()
    for more in ([], ["--force"]):
        assert command.main([*words_of(name, inputs), "-o", str(other), *more]) == 2
        assert told(capsys) == f"found -o {other}, the very file that is read; accepted: another name"
    assert inputs[read].read_bytes() == before


# --- names that a terminal would obey ---

ODD = "a\x1b[31m\u202eb\x07\udcff"  # colour, writing backwards, a bell, a byte of no text
OBEYED = set("\x1b\u202e\x07\udcff")


@pytest.fixture(scope="module")
def odd_inputs(inputs: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same files under names that nobody should have."""
    folder = tmp_path_factory.mktemp("odd")
    return {name: Path(shutil.copyfile(file, folder / f"{ODD}{file.name}")) for name, file in inputs.items()}


def is_plain(text: str) -> bool:
    return not OBEYED & set(text)


@pytest.mark.parametrize("name", EVERY)
def test_no_name_is_obeyed_by_a_terminal(
    name: str, odd_inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = {read: odd_inputs[read].read_bytes() for read in read_by(name)}
    as_json = [] if name == "check --format" else ["--json"]  # that has a JSON of its own
    for more in ([], ["-o", str(tmp_path / ODD)], as_json):
        assert command.main([*words_of(name, odd_inputs), *more]) in (0, 1)
        out, err = capsys.readouterr()
        assert is_plain(out + err)
    assert all(map(is_plain, (one.decode() for one in left(tmp_path).values())))
    for read, content in before.items():
        odd_inputs[read].write_bytes(content)  # `bands --write` without -o has written its design


@pytest.mark.parametrize("name", [name for name in EVERY if read_by(name)])
def test_a_name_of_nothing_is_told_in_a_line_and_not_obeyed(
    name: str, inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for read in read_by(name):
        files = {**inputs, read: tmp_path / f"{ODD}.csv"}
        code = command.main([*words_of(name, files), "-o", str(tmp_path / "a"), "--force"])
        out, err = capsys.readouterr()
        assert code == 2
        assert is_plain(out + err)
        assert "a\\x1b[31m\\u202eb\\x07\\udcff.csv" in err


@pytest.mark.parametrize(("end", "shown"), [("\n", "\\n"), ("\r", "\\r")])
@pytest.mark.parametrize("name", EVERY)
def test_a_name_with_an_end_of_line_is_refused_in_one_line(
    name: str, end: str, shown: str, inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No message could name it without becoming two, of which the second says what it likes."""
    odd = tmp_path / f"a{end}stage.toml: sound"
    odd.write_text("kept")
    refused = f'found "{tmp_path}/a{shown}stage.toml: sound"; accepted: a name in one line'
    for read in read_by(name):
        assert command.main(words_of(name, {**inputs, read: odd})) == 2
        assert told(capsys) == refused
    assert command.main([*words_of(name, inputs), "-o", str(odd), "--force"]) == 2
    assert told(capsys) == refused
    assert odd.read_text() == "kept"


@pytest.mark.parametrize("call", [["table", "a.toml", ODD], [ODD], ["trace", ODD], ["schema", "-o", ODD, "--x"]])
def test_words_of_a_call_that_are_refused_are_not_obeyed(call: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        command.main(call)
    assert ended.value.code == 2
    assert not OBEYED & set(capsys.readouterr().err)


# --- files that are read ---

# What can be wrong with any file that is read, made from a good one.
SPOILT = {
    "line ends of an old system": lambda good: good.replace(b"\r\n", b"\n").replace(b"\n", b"\r"),
    "a cell beyond all measure": lambda good: good + b'"' + b"x" * 140_000 + b'",1,1\n',
    "one long line": lambda good: b"1," * 200_000,
    "nothing": lambda good: b"",
    "only ends of lines": lambda good: b"\r\n\r\r\n",
    "a byte of no text": lambda good: good[:40] + b"\xff\xfe\x00" + good[40:],
    "a nought": lambda good: good[:40] + b"\0" + good[40:],
    "sixteen bits a letter": lambda good: good.decode().encode("utf-16"),
    "quotes that do not end": lambda good: good + b'"',
    "many brackets": lambda good: b"x = " + b"[" * 100_000,
    "braces in braces": lambda good: b'{"kind":' * 20_000,
    "a number without end": lambda good: b"stuck-rest = 1" + b"0" * 20_000 + b"\n",
    "cut in the middle": lambda good: good[: len(good) // 2],
}


@pytest.mark.parametrize("spoilt", SPOILT)
@pytest.mark.parametrize("call", READERS)
def test_no_file_that_is_read_makes_tapplan_fail(
    call: str, spoilt: str, inputs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is read, or refused by name in sentences; never a trace of Python's."""
    for read in [word[1:-1] for word in call.split() if word[:1] == "{"]:
        file = tmp_path / f"{read}.csv"
        file.write_bytes(SPOILT[spoilt](inputs[read].read_bytes()))
        files = {**inputs, read: file}
        code = command.main([str(files[word[1:-1]]) if word[:1] == "{" else word for word in call.split()])
        err = capsys.readouterr().err
        assert code in ((2,) if err else (0, 1))
        assert not err or str(file) in err
