"""Long calls from the command line: what is told while they run, that Ctrl-C ends them, what is left out and said."""

from __future__ import annotations

import argparse
import io
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.cli import room, working
from tapplan.cli.working import at_work, reached, withdraw
from tests.examples import ROOT

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"


class Terminal(io.StringIO):
    """An error stream that says it is a terminal, and keeps all that was written to it."""

    def isatty(self) -> bool:
        return True

    @property
    def shown(self) -> str:
        """What a terminal shows of one line: each carriage return goes back to its begin."""
        line = ""
        for part in self.getvalue().split("\r"):
            line = part + line[len(part) :]
        return line.rstrip()


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    found = Terminal()
    monkeypatch.setattr(working, "sys", SimpleNamespace(stderr=found))  # its own: pytest puts sys.stderr back
    monkeypatch.setattr(working, "EVERY", 0.001)
    return found


@contextmanager
def calling(verb: str, **given: object) -> Iterator[None]:
    with at_work(argparse.Namespace(verb=verb, **given)):
        yield


def seen(terminal: Terminal, text: str) -> bool:
    """Whether the line comes to say so: it is written by a thread of its own, so that it is waited for."""
    for _ in range(2000):
        if text in terminal.shown:
            return True
        time.sleep(0.005)
    return False


def test_a_call_that_takes_long_says_on_what_it_works_and_wipes_that_away(terminal: Terminal) -> None:
    with calling("table", design="mine.toml"):
        assert seen(terminal, "table mine.toml: ")
        assert seen(terminal, "s (Ctrl-C ends it)")
    assert terminal.getvalue()
    assert terminal.shown == ""


def test_of_several_designs_it_says_how_many_are_judged(terminal: Terminal) -> None:
    with calling("check", designs=["a.toml", "b.toml", "c.toml"]):
        reached(1, 3, "judged")
        assert seen(terminal, "check 3 designs: 1 of 3 judged, ")
    assert terminal.shown == ""


def test_a_name_that_a_terminal_would_obey_is_shown_as_escapes(terminal: Terminal) -> None:
    with calling("table", design="a\x1b[2Jb" + "x" * 200):
        assert seen(terminal, "Ctrl-C")
    assert "\x1b" not in terminal.getvalue()
    assert max(map(len, terminal.getvalue().split("\r"))) < 80


def test_a_bar_takes_the_place_of_the_line(terminal: Terminal) -> None:
    with calling("report", design="mine.toml"):
        assert seen(terminal, "report mine.toml")
        withdraw()
        written = terminal.getvalue()
        assert terminal.shown == ""
    assert terminal.getvalue() == written


@pytest.mark.parametrize(
    ("verb", "given"),
    [("fit", {}), ("schema", {}), ("isolate", {"ask": True}), ("report", {"watch": True}), ("bench", {"learn": "f"})],
)
def test_what_talks_by_itself_or_answers_at_once_has_no_line(
    terminal: Terminal, verb: str, given: dict[str, object]
) -> None:
    with calling(verb, **given):
        time.sleep(0.05)
    assert terminal.getvalue() == ""


def test_nothing_is_written_where_there_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    piped = io.StringIO()
    monkeypatch.setattr(working, "sys", SimpleNamespace(stderr=piped))
    monkeypatch.setattr(working, "EVERY", 0.001)
    with calling("table", design="mine.toml"):
        time.sleep(0.05)
    assert piped.getvalue() == ""


LONG = """
import sys, time
from tapplan.cli import opened

def waits(path):
    print("at work", flush=True)
    time.sleep(60)

opened.load = waits
sys.argv[0] = "tapplan"
from tapplan.cli.main import run
run()
"""


@pytest.mark.parametrize("verb", ["table", "moves", "steps", "faults", "margins"])
def test_ctrl_c_ends_a_long_call_with_one_line_and_nothing_written(tmp_path: Path, verb: str) -> None:
    """Interrupted while it works: 130, as shells have it for SIGINT (128 + 2), no trace, no file."""
    target = tmp_path / "answer.json"
    call = [sys.executable, "-c", LONG, verb, str(RIDGE), "--json", "-o", str(target)]
    with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "at work\n"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert (out, err) == ("", "tapplan: interrupted\n")
    assert list(tmp_path.iterdir()) == []


def test_a_hundred_overlapping_bands_are_checked_to_the_end(call: Any, tmp_path: Path) -> None:
    """A table on the settings of seven add-in relays; what is left out for its length is a note in the answer."""
    design = tmp_path / "many.toml"
    design.write_text(many_bands(100), encoding="utf-8")
    answer = call("check", design, "--json").json
    left_out = {one["message"] for one in answer["findings"] if one["code"] == "race-unexamined"}
    assert len(left_out) > 1
    assert any("100 rows" in one and "beyond 40" in one for one in left_out), left_out
    assert {one["promise"] for one in answer["promises"]} >= {"dead-zone", "out-of-window", "chatter"}


def many_bands(count: int) -> str:
    """So many bands, each ten volts wide and one volt above the last, on the 128 settings of seven add-in relays."""
    parts = [
        'format = 1\ntitle = "many bands"\n[mains]\nnominal_v = 230\nrange_v = [152, 230]\n',
        "[output]\nnominal_v = 230\nwindow_v = [207, 253]\n",
        '[terminals]\nline = "LINE"\nneutral = "N"\noutput = "OUT"\n',
        '[[winding]]\nname = "exciter"\nends = ["N", "LINE"]\nturns = 256\n',
    ]
    for n in range(7):
        start, after = ("LINE" if n == 0 else f"S{n}"), (f"S{n + 1}" if n < 6 else "OUT")
        parts.append(f'[[winding]]\nname = "part {n}"\nends = ["{start}", "F{n}"]\nturns = {2**n}\n')
        parts.append(f'[[relay]]\nname = "K{n}"\ncom = "{after}"\nnc = "{start}"\nno = "F{n}"\n')
    for k in range(count):
        driven = ", ".join(f'"K{n}"' for n in range(7) if 127 - k >> n & 1)
        parts.append(f'[[band]]\nname = "b{k}"\nenergised = [{driven}]\nhold_v = [{150 + k}, {160 + k}]\n')
    return "".join(parts)


@pytest.mark.parametrize("verb", ["bench", "isolate"])
def test_bench_and_isolate_say_how_many_measurements_are_foretold(
    call: Any, monkeypatch: pytest.MonkeyPatch, verb: str
) -> None:
    told: list[tuple[int, int, str]] = []
    monkeypatch.setattr(f"tapplan.cli.verbs.{verb}.reached", lambda done, of, what: told.append((done, of, what)))
    assert call(verb, ROOT / "designs" / "spring-pump.toml").code == 0
    assert [(done, what) for done, _, what in told] == [(n, "measurements") for n in range(told[0][1])]


@pytest.mark.parametrize("verb", [("bench",), ("isolate",), ("isolate", "--plan"), ("isolate", "--tree")])
def test_a_stage_too_large_for_the_bench_is_refused_with_what_would_do(
    call: Any, monkeypatch: pytest.MonkeyPatch, verb: tuple[str, ...]
) -> None:
    monkeypatch.setattr("tapplan.bench.offered.MOST_FORETOLD", 1000)
    reply = call(verb[0], ROOT / "designs" / "spring-pump.toml", *verb[1:])
    assert (reply.code, reply.out) == (2, "")
    assert "readings to foretell; accepted: up to 1,000 of them" in reply.err
    assert "`tapplan faults`" in reply.err
    assert call("faults", ROOT / "designs" / "spring-pump.toml").code in (0, 1)


class Disk:
    """What `shutil.disk_usage` tells of a disk with so much room."""

    def __init__(self, free: int) -> None:
        self.free = free

    def __call__(self, place: object) -> Disk:
        return self


TRACE = ("trace", "quiet", "--days", "1", "--step", "1")  # 86,400 rows


@pytest.mark.parametrize(("form", "least"), [("csv", 25), ("csv.gz", 2.6), ("parquet", 0.4)])
def test_a_trace_larger_than_the_disk_is_refused_before_a_row_is_drawn(
    call: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str, least: float
) -> None:
    """A CSV row is `2024-01-01T00:00:00Z,230.0` and its end; `least`: what a row was measured to take."""
    monkeypatch.setattr(room, "disk_usage", Disk(10_000))
    target = tmp_path / f"made.{form}"
    reply = call(*TRACE, "-o", target)
    assert reply.code == 2
    assert "found 86,400 rows, at least 0.0 GB" in reply.err
    assert "accepted: fewer --days, a longer --step, --to parquet, or a larger disk" in reply.err
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr(room, "disk_usage", Disk(int(86_400 * least)))
    assert call(*TRACE, "-o", target).code == 0
    assert target.stat().st_size >= 86_400 * room.LEAST_BYTES[form]


def test_traces_of_many_sites_are_held_against_the_disk_together(
    call: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "disk_usage", Disk(86_400 * 25))
    reply = call(*TRACE, "--sites", "3", "--to", "csv", "-o", tmp_path / "sites")
    assert reply.code == 2
    assert "found 259,200 rows" in reply.err
    assert not (tmp_path / "sites").exists()
