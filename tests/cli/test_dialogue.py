"""The dialogue at the bench as a repairer leads it, its saved session, and a sheet with cells that mean nothing."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tapplan.answers.isolate import Isolated, isolated
from tapplan.bench.filled import COLUMNS
from tapplan.bench.isolation import Isolation
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.phrase import Names, ReadingError
from tapplan.bench.probes import place_told, probes_told
from tapplan.bench.readings import reading_of
from tapplan.bench.words import source_told, told
from tapplan.cli.dialogue import Session
from tapplan.cli.main import main
from tests.bench.stages import table, tables
from tests.examples import ROOT

RIDGE = str(ROOT / "designs" / "ridge-dispensary.toml")
OPEN_COIL, CLICK = "off: coil-ohms KO = OL", "off coils KO: click KO = yes"
Talk = Callable[..., str]


@pytest.fixture
def talk(capsys: Any, monkeypatch: Any) -> Talk:
    """What a dialogue shows, given its answers; `more` are words of the call."""

    def led(*answers: str, more: tuple[str, ...] = ()) -> str:
        lines = iter([f"{answer}\n" for answer in answers])
        monkeypatch.setattr("sys.stdin.readline", lambda: next(lines, ""))
        assert main(["isolate", RIDGE, "--ask", *more]) in (0, 1)
        return str(capsys.readouterr().out)

    return led


def asked(shown: str) -> list[str]:
    """The questions, in their order, without the one that the closing answer repeats."""
    return re.findall(r"^Next: (.*)$", shown.rpartition("Fault isolation")[0], re.MULTILINE)


def listed(shown: str) -> list[str]:
    """The readings and skips that `list` showed last."""
    tail = shown.rpartition("reading: 1. ")[2].splitlines()
    return ["1. " + tail[0], *(line for line in tail[1:] if re.match(r"\d+\. |   skipped", line))]


def test_each_question_says_where_the_probes_go(talk: Talk) -> None:
    shown = talk("unknown", "unknown", "skip")
    assert len(asked(shown)) == 4
    assert shown.count("\nProbes: ") == 4
    assert shown.index("Caution") < shown.index("possible; most likely") < shown.index("Probes: ")


@pytest.mark.parametrize(
    ("measured", "says"),
    [
        (
            "off coils KL: ohms KL.com KL.no",
            "red probe on KL.com, the common pin of KL; black probe on KL.no, the contact that closes when KL is "
            "driven.",
        ),
        (
            "off: ohms lug P KL.nc",
            "red probe on lug P, the winding's own end at P, before its lead; black probe on KL.nc, the contact that "
            "is closed while KL is at rest.",
        ),
        (
            "line 200 V: output",
            "red probe on OUT, the output terminal; black probe on NEUTRAL, the neutral terminal.",
        ),
        ("line 200 V: volts Q LINE", "red probe on Q, a tap of the winding; black probe on LINE, the line terminal."),
        ("off: coil-ohms KO", "on the two pins of the coil of KO."),
        ("battery: drive KO", "on the two pins of the coil of KO."),
        ("off: part-ohms fuse", "one on each end of the fuse, one of these ends off the board."),
        ("off coils KO: click KO", "none; listen to KO."),
        ("line 200 V: chatter KO", "none; listen to KO."),
        ("line 200 V: lamp", "none; look at the lamp."),
        ("low 3 V on LINE NEUTRAL: current", "on the two ends of the source's resistor"),
        ("line rising: switch 'boost 2' 'boost 1'", "on LINE and NEUTRAL; listen for the coils."),
        ("battery: rail", "on the plus of the coils' supply, black probe on its minus; direct volts."),
        ("line 200 V: ripple", "on its minus; alternating volts."),
        ("off: battery", "red probe on the plus of the battery"),
    ],
)
def test_probes_are_told_in_words(measured: str, says: str) -> None:
    stage = table(Path(RIDGE))
    measure = reading_of(f"{measured} = unknown", Names.of(stage)).measure
    assert says in probes_told(measure, stage.circuit)


def test_a_relay_of_several_poles_and_the_source_are_told_in_full() -> None:
    stage = next(one for one in tables() if any(contact.pole == 2 for contact in one.circuit.contacts))
    two = next(one for one in stage.circuit.contacts if one.pole == 2)
    assert place_told(two.label, stage.circuit).endswith(", pole 2")
    fed = reading_of("low 3 V on LINE NEUTRAL: lamp = dark", Names.of(table(Path(RIDGE)))).measure.condition
    assert source_told(fed) == "3 V AC isolated on LINE and NEUTRAL"
    assert source_told(fed, whole=True) == "3 V AC isolated through 22 ohm on LINE and NEUTRAL"


def test_undo_takes_back_the_last_reading_and_the_last_skip(talk: Talk) -> None:
    first, second, third = asked(talk("unknown", "undo", "stop"))
    assert first == third != second
    shown = talk("skip", "undo", "undo", "unknown", "list")
    one, other, again, _ = asked(shown)
    assert one == again != other
    assert "nothing to take back" in shown
    assert listed(shown)[0].endswith("= unknown")


def test_what_was_skipped_is_not_asked_again_and_is_no_reading(talk: Talk) -> None:
    shown = talk("skip", "skip", "skip", "list")
    assert len(set(asked(shown))) >= 3  # some differ in their second line
    assert shown.count("   skipped ") == 3
    assert "reading: 1. " not in shown


def test_undo_puts_back_what_was_taken_out(talk: Talk) -> None:
    readings = ("off: coil-ohms KL = 400", "off: coil-ohms KO = 410", "off coils KL: click KL = yes")
    shown = talk(*readings, "wrong 2", "list", "undo", "list")
    assert "taken out: off: coil-ohms KO = 410" in shown
    assert "put back: off: coil-ohms KO = 410" in shown
    assert listed(shown)[-3:] == [f"{number}. {text}" for number, text in enumerate(readings, 1)]


def test_what_should_have_waited_is_warned_of(talk: Talk) -> None:
    line = talk("line 230 V rising: output = 231")
    assert "Careful: a short is still possible" in line
    assert "more than 50 V can stand" in talk("low 12 V on P Q: output = 76")
    assert "Careful" not in talk("off: coil-ohms KL = 400")


def test_a_resumed_session_is_kept_up_in_its_file(talk: Talk, tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    talk("off: coil-ohms KL = 400", more=("--save", str(file)))
    talk("off: coil-ohms KO = 410", more=("--resume", str(file)))
    assert file.read_text().splitlines()[-2:] == ["off: coil-ohms KL = 400", "off: coil-ohms KO = 410"]


def test_a_whole_reading_is_taken_at_the_prompt(talk: Talk) -> None:
    for answers in (("line 200 V rising: output = 226",), ("else", "line 200 V rising: output = 226")):
        assert listed(talk(*answers, "list")) == ["1. line 200 V rising: output = 226"]
    assert "without its condition" in talk("else", "226")
    assert 'found "lime" as the condition' in talk("lime 200 V: output = 3")


def test_it_goes_on_through_a_contradiction_until_a_reading_is_taken_out(talk: Talk) -> None:
    shown = talk("off: coil-ohms KL = 400", OPEN_COIL, CLICK, "list", "wrong 9", "wrong x", "wrong 3", "list")
    assert f"\n2. {OPEN_COIL}\n3. {CLICK}\nwrong N takes reading N out." in shown
    assert "accepted: wrong 1 to wrong 3" in shown
    assert f"taken out: {CLICK}" in shown
    assert listed(shown)[-2:] == ["1. off: coil-ohms KL = 400", f"2. {OPEN_COIL}"]
    assert "KO coil-open" in shown.rpartition("Still possible")[2]


def test_at_the_end_it_says_so_and_still_takes_things_back(talk: Talk, monkeypatch: Any) -> None:
    def ended(isolation: Isolation, title: str) -> Isolated:
        return replace(isolated(isolation, title), conflict=(), next=None)

    monkeypatch.setattr("tapplan.cli.dialogue.isolated", ended)
    shown = talk(OPEN_COIL, "5", "skip", "undo")
    assert "Accepted: a whole reading" in shown
    assert "without its condition" in shown
    assert "found skip where nothing is asked" in shown
    assert f"taken back: {OPEN_COIL}" in shown


def test_help_lists_every_answer(talk: Talk) -> None:
    shown = talk("help", "list", "wrong 1", "save")
    for word in ("unknown", "skip", "else", "list", "wrong N", "undo", "save FILE", "stop"):
        assert f"\n{word} " in shown
    assert "no readings yet" in shown
    assert "accepted: a reading first" in shown
    assert "found save alone; accepted: save FILE" in shown


def test_a_session_is_saved_after_every_answer_and_gone_on_with(talk: Talk, capsys: Any, tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    saved = ("--save", str(file))
    first = talk("skip", "off: coil-ohms KL = 400", OPEN_COIL, "wrong 1", more=saved)
    lines = file.read_text().splitlines()
    assert lines[0].startswith("fingerprint ")
    assert lines[1].startswith("# skipped ")
    assert lines[2:] == [OPEN_COIL]
    talk("undo", more=("--resume", str(file), *saved))
    assert file.read_text().splitlines() == lines[:2]
    assert asked(first)[0] not in asked(talk("stop", more=("--resume", str(file))))
    talk(OPEN_COIL, more=("--resume", str(file), *saved))
    assert main(["isolate", RIDGE, "--resume", str(file), "--json"]) in (0, 1)
    found = json.loads(capsys.readouterr().out)
    assert [one["told"] for one in found["readings"]] == [OPEN_COIL]
    assert "KO coil-open" in str(found["groups"][0])


def test_a_session_never_replaces_another_file_by_itself(talk: Talk, capsys: Any, tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    file.write_text("kept")
    assert main(["isolate", RIDGE, "--ask", "--save", str(file)]) == 2
    assert "kept unless --force" in capsys.readouterr().err
    assert "kept unless --force" in talk(f"save {file}")
    assert file.read_text() == "kept"
    other = tmp_path / "other.txt"
    shown = talk(f"save {other}", OPEN_COIL, f"save {other}")
    assert shown.count(f"wrote {other}") == 2
    assert other.read_text().splitlines()[1:] == [OPEN_COIL]


def test_a_disk_that_fails_in_the_middle_ends_no_dialogue(talk: Talk, tmp_path: Path, monkeypatch: Any) -> None:
    from tapplan.errors import OutputError

    def failing(path: str, text: str, *, force: bool) -> None:
        raise OutputError(f"{path}: cannot be written (full)")

    monkeypatch.setattr("tapplan.cli.dialogue.write_whole", failing)
    shown = talk(OPEN_COIL, more=("--save", str(tmp_path / "bench.txt")))
    assert "cannot be written (full)" in shown
    assert "KO coil-open" in shown


def call(**options: str) -> list[str]:
    words = ["isolate", RIDGE]
    for name, value in options.items():
        words += [f"--{name}" if name != "o" else "-o", value] if value else [f"--{name.replace('_', '-')}"]
    return words


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (call(save="x.txt"), "found --save alone; accepted: together with --ask"),
        (call(any_revision=""), "found --any-revision alone; accepted: together with --sheet or --resume"),
        (call(resume="missing.txt"), "found no such file; accepted: a session"),
        (call(ask="", save=RIDGE, force=""), "the very file that is read"),
        (call(resume="s.txt", o="s.txt"), "the file of the session"),
        (call(ask="", save="s.txt", o="./s.txt"), "the file of the session"),
        (call(ask="", save="/"), "found a directory"),
    ],
)
def test_calls_that_would_lose_something_are_refused(words: list[str], says: str, capsys: Any) -> None:
    assert main(words) == 2
    assert says in capsys.readouterr().err


def test_a_piped_dialogue_is_plain(tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    ended = subprocess.run(
        [sys.executable, "-c", "from tapplan.cli.main import run; run()", "isolate", RIDGE, "--ask", "--save", file],
        input=f"{OPEN_COIL}\n\x1b[31mred\nlist\n".encode() + b"\xff\xfe: \x80\n",
        capture_output=True,
        cwd=ROOT,
        timeout=120,
        check=False,
    )
    assert ended.returncode in (0, 1)
    assert ended.stderr == b""
    assert b"\x1b" not in ended.stdout
    assert ended.stdout.startswith(b"Caution")
    assert file.read_text().splitlines()[1:] == [OPEN_COIL]


def test_a_measurement_whose_volts_words_round_is_not_asked_for_twice() -> None:
    isolation = Isolation(table(Path(RIDGE)))
    measure = Measure(Condition("line", None, None, Fraction(610, 3), "rising"), "lamp")
    isolation.measures = [*isolation.measures, measure]
    session = Session(isolation, isolation.bench.table)
    session.do(reading_of(f"{told(measure)} = dark", session.names))
    assert isolation.readings[0].measure == measure


@pytest.mark.parametrize("text", ["off: coil-ohms KL = 1" + "ac" * 200_000 + "x", "line 1 " + "a " * 200_000])
def test_a_long_text_is_refused_at_once(text: str) -> None:
    with pytest.raises(ReadingError):
        reading_of(text, Names.of(table(Path(RIDGE))))


def sheet(tmp_path: Path, capsys: Any, **cells: str) -> str:
    """A sheet of the ridge dispensary, semicolons between its cells, with the readings of these steps."""
    file = tmp_path / "sheet.csv"
    assert main(["bench", RIDGE, "-o", str(file), "--force"]) == 0
    capsys.readouterr()
    lines = file.read_text().splitlines()
    made = "condition;measure;reading"
    assert made.split(";") == list(COLUMNS)
    rows = [f"off;coil-ohms {relay};{value}" for relay, value in cells.items()]
    file.write_text("\n".join([lines[0].replace(",", ";"), made, *rows]) + "\n")
    return str(file)


@pytest.mark.parametrize("as_json", [(), ("--json",)])
def test_a_bad_cell_is_told_and_the_rest_of_the_sheet_used(
    as_json: tuple[str, ...], tmp_path: Path, capsys: Any
) -> None:
    file = sheet(tmp_path, capsys, KL="12 V", KO="OL")
    assert main(["isolate", RIDGE, "--sheet", file, *as_json]) in (0, 1)
    told = capsys.readouterr()
    assert told.err.count("\n") == 1
    assert told.err.startswith(f'{file}:3: reading: found "12 V" for coil-ohms; accepted: a number in ohm')
    assert "KO coil-open" in told.out
    if as_json:
        assert len(json.loads(told.out)["readings"]) == 1


def test_a_sheet_of_bad_cells_alone_is_refused(tmp_path: Path, capsys: Any) -> None:
    file = sheet(tmp_path, capsys, KL="12 V", KO="1,234.5")
    assert main(["isolate", RIDGE, "--sheet", file]) == 2
    told = capsys.readouterr().err
    assert "sheet.csv:3:" in told
    assert "sheet.csv:4:" in told
    assert "thousands take no mark" in told
