"""What damaged inputs have shown: each of these made a trace, a second line, endless text, or took all memory."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from tapplan.cli.main import main
from tapplan.design.file import LARGEST_FILE, parse
from tapplan.errors import MOST_PROBLEMS, DesignError, Problem, UsageError, shortened
from tapplan.replay.clock import DAY
from tapplan.replay.zone import Zone
from tapplan.sealed import add_line, sealed, unsealed
from tests.fuzz.corpus import NAMES, SMALL, lay_out, shelf


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    lay_out({kind: files[0] for kind, files in shelf().files.items() if kind in NAMES})
    return tmp_path


def refusal(call: str, capsys: pytest.CaptureFixture[str]) -> str:
    """The one line that a call is refused in."""
    try:
        code = main(call.split(" "))
    except SystemExit as ended:
        code = ended.code
    err = capsys.readouterr().err
    assert code == 2
    told = err.splitlines()[-1]
    assert err.endswith("\n")
    return told


# --- texts of a file and of a call ---


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("open = 1e99999999999999999999", "priors.toml: found a number too long to read"),
        ("open = 0x" + "f" * 5000, "priors.toml:1: open: found a whole number of about 6000 digits"),
        ("open = {x = 1.5}", "priors.toml:1: open: found a table with x; accepted: a number above 0"),
        ('"a\\nb" = 1', 'priors.toml:1: a\\nb: found unknown fault "a\\nb"'),
        ("open = ", "priors.toml:1: found invalid value; accepted: lines such as stuck-rest = 5"),
        ("open = " + "[" * 3000, "priors.toml: found brackets or keys nested too deep"),
    ],
)
def test_priors_that_mean_nothing_are_told_in_a_line(
    content: str, said: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (place / NAMES["priors"]).write_text(content)
    assert refusal("isolate given.toml --priors priors.toml", capsys).startswith(said)


@pytest.mark.parametrize(
    "call", ["a\nb", "at given.toml 1\n2", "trace quiet --swing 1\r\n2", "bench given.toml --meter-v a\u2028b"]
)
def test_a_word_of_a_call_makes_no_second_line(call: str, place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refusal(call, capsys)
    with pytest.raises(SystemExit):
        main(call.split(" "))
    assert [line for line in capsys.readouterr().err.splitlines() if line[:1] in ("b", "2")] == []


def test_what_was_found_is_told_by_its_ends_where_it_is_long(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (place / NAMES["learn"]).write_text("condition,measure,reading\noff," + "x" * 100_000 + ",1\n")
    told = refusal("bench frame.toml --learn readings.csv", capsys)
    assert len(told) < 1000
    assert "letters) ..." in told
    assert shortened("a" * 5, 5) == "aaaaa"
    assert shortened("a" * 60 + "b" * 40, 9) == "aaaaaa ... (100 letters) ... bbb"


@pytest.mark.parametrize("field", ["key", "found", "accepted", "hint"])
def test_nothing_of_a_problem_is_obeyed_or_ends_its_line(field: str) -> None:
    parts: dict[str, Any] = {"key": "k", "found": "f", "accepted": "a", "hint": "h"}
    told = Problem(**{**parts, field: "x\x1b[31m\ny\u202e"}).told("stage.toml")
    assert "x\\x1b[31m\\ny\\u202e" in told
    assert str(UsageError("a\nb\x1b")) == "a\\nb\\x1b"


def test_of_very_many_problems_the_first_are_told() -> None:
    text = SMALL + "".join(f"wrong{number} = 1\n" for number in range(5000))
    with pytest.raises(DesignError) as caught:
        parse(text, "stage.toml")
    assert len(caught.value.problems) == 5000
    lines = str(caught.value).splitlines()
    assert len(lines) == MOST_PROBLEMS + 1
    assert lines[-1] == f"5000 problems in stage.toml; the first {MOST_PROBLEMS} are told"


# --- depth ---

DEEP = "found brackets or keys nested too deep; accepted: a plain file in TOML"


@pytest.mark.parametrize("depth", [*range(31, 320, 24), 330, 335, 340, 500, 2000])
@pytest.mark.parametrize("form", ["list", "table", "key"])
def test_what_lies_too_deep_is_refused_at_every_depth(form: str, depth: int) -> None:
    """Not only where the reader of TOML itself gives up: what walks down the values has less room than it."""
    value = {"list": "x = " + "[" * depth + "]" * depth, "table": "x = " + "{a=" * depth + "1" + "}" * depth}
    line = value.get(form, "a." * depth + "a = 1")
    with pytest.raises(DesignError) as caught:
        parse(f"{line}\n{SMALL}", "stage.toml")
    assert str(caught.value) in (f"stage.toml: {DEEP}", f"stage.toml:1: {DEEP}")


@pytest.mark.parametrize("line", ["{}a = 1", "x = {{{}a = 1}}", "[{}a]", "[[{}a]]", "x = {{y = 1, {}a = 2}}"])
def test_a_key_of_very_many_parts_takes_no_memory(line: str) -> None:
    """The reader of TOML keeps every beginning of a key, which for half a million parts no machine can."""
    text = line.format("a." * (LARGEST_FILE // 2 - 20))
    with pytest.raises(DesignError) as caught:
        parse(text, "stage.toml")
    assert str(caught.value) == f"stage.toml:1: {DEEP}"


def test_dots_in_a_text_are_no_parts_of_a_key() -> None:
    title = ".".join("abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz")
    line = next(one for one in SMALL.split("\n") if one.startswith("title"))
    assert parse(SMALL.replace(line, f'title = "a, {title}"')).title == f"a, {title}"


# --- lines that are kept ---


def test_a_kept_line_is_what_it_was_or_none() -> None:
    told = {"kind": "k", "run": {"a": [1, 2.5, None, "é"], "b": True}}
    line = sealed(told)
    assert line.endswith("}\n")
    assert unsealed(line) == unsealed(line.encode()) == told
    damaged = [
        line.replace("2.5", "2.6"), line.replace("true", "false"), line[:-3], "", "[]", "1", "{}", json.dumps(told),
        line.replace('"mark"', '"mork"'), '{"a":' * 20_000, "nul",
    ]  # fmt: skip
    for one in damaged:
        with pytest.raises(ValueError, match=r".*"):
            unsealed(one)


def test_a_line_that_does_not_fit_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "kept"
    add_line(str(file), "one\n")
    add_line(str(file), "two\n")
    assert file.read_text() == "one\ntwo\n"
    opened = open

    def full(*given: Any, **named: Any) -> Any:
        stream = opened(*given, **named)

        class Full:
            def __enter__(self) -> Full:
                return self

            def __exit__(self, *_: object) -> None:
                stream.close()

            def write(self, line: bytes) -> int:
                stream.write(line[:2])
                stream.flush()
                raise OSError(28, "No space left on device")

        return Full()

    monkeypatch.setattr("tapplan.sealed.open", full, raising=False)
    with pytest.raises(OSError, match="No space left"):
        add_line(str(file), "three\n")
    assert file.read_text() == "one\ntwo\n"
    with pytest.raises(OSError, match="No space left"):
        add_line(str(tmp_path / "new"), "three\n")
    assert not (tmp_path / "new").exists()


DAMAGE: dict[str, Any] = {
    "name": [], "made": [[]], "times": [1, 2, 3, float("inf")], "bad": {"NO_TIME": "a"},
    "bad_rows": [[1, 2, "NO_TIME", None]],
}  # fmt: skip


@pytest.mark.parametrize("key", DAMAGE)
def test_a_kept_run_that_was_changed_is_refused(key: str, place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = place / NAMES["runs"]
    assert main(["replay", NAMES["design"], NAMES["log"], "--keep", str(file), "--json"]) in (0, 1)
    capsys.readouterr()
    found = json.loads(file.read_text())
    found["run"][key] = DAMAGE[key]
    file.write_text(json.dumps(found) + "\n")
    assert "runs.jsonl:1: found no finished log" in refusal("replay given.toml given.csv --keep runs.jsonl", capsys)


@pytest.mark.parametrize("changed", ['"turns": ""', '"turns": [1]', '"turns": [1e999]', '"turns": {}'])
def test_a_kept_search_that_was_changed_is_refused(
    changed: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = place / NAMES["search"]
    lines = file.read_text().split("\n")
    lines[1] = lines[1].replace('"turns": [330, 360, 360]', changed)
    assert changed in lines[1]
    file.write_text("\n".join(lines))
    assert "search.jsonl:2: found a line that is no searched wiring" in refusal(
        "fit request.toml --keep search.jsonl", capsys
    )


# --- logs ---

ROWS = "time,volts\n" + "".join(f"2024-01-01T00:0{minute}:00Z,230\n" for minute in range(5))


def test_one_time_far_ahead_is_a_gap_that_takes_no_memory(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Seven thousand years are 368 million times ten minutes, of which none is measured."""
    (place / NAMES["log"]).write_text(f"{ROWS}9024-01-01T00:00:00Z,230\n")
    for zone in ([], ["--zone", "Europe/Paris"]):
        assert main(["replay", NAMES["design"], NAMES["log"], "--json", *zone]) in (0, 1)
        found = json.loads(capsys.readouterr().out)
        assert (found["samples"], found["gaps"]) == (6, 1)
        assert found["outside_s"] + found["seconds"]["straight"] + found["seconds"]["boost"] <= 5 * 60 + 1


def test_samples_that_are_ages_apart_are_refused(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    years = (100, 2100, 4100, 6100)
    (place / NAMES["log"]).write_text("time,volts\n" + "".join(f"{year:04}-01-01T00:00:00Z,230\n" for year in years))
    told = refusal("replay given.toml given.csv", capsys)
    assert (
        told
        == "given.csv: found samples 730485 days apart that are no gap; accepted: at most 366, or a shorter --max-gap"
    )


def test_a_reading_a_month_for_a_life_counts_as_in_one_piece(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Worked on in parts of a few years; the time of all months is that from the first to the last, and one step."""
    rows = [f"{1950 + number // 12}-{number % 12 + 1:02}-01T00:00:00Z,230\n" for number in range(12 * 60)]
    (place / NAMES["log"]).write_text("time,volts\n" + "".join(rows))
    assert main(["replay", NAMES["design"], NAMES["log"], "--json"]) in (0, 1)
    found = json.loads(capsys.readouterr().out)
    days = 60 * 365 + 15 - 31  # leap years 1952 to 2008; from January 1950 to 1 December 2009
    assert (found["samples"], found["gaps"]) == (720, 0)
    assert sum(found["seconds"].values()) == (days + 31) * 86400


@pytest.mark.parametrize("last", ["0001-01-01T00:00:40", "9999-12-31T23:59:40"])
@pytest.mark.parametrize("name", ["Pacific/Kiritimati", "Pacific/Pago_Pago", "Europe/Paris"])
def test_the_first_and_the_last_days_that_there_are_have_a_zone(
    name: str, last: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "".join(f"{last[:-2]}{second:02},230\n" for second in (0, 20, 40))
    (place / NAMES["log"]).write_text(f"time,volts\n{rows}")
    code = main(["replay", NAMES["design"], NAMES["log"], "--zone", name, "--json"])
    out, err = capsys.readouterr()
    assert code in ((2,) if err else (0, 1))
    assert err == "" or err.startswith("given.csv")
    assert err or json.loads(out)["samples"] == 3


@pytest.mark.parametrize("zone", ["", " --zone Pacific/Pago_Pago"])
def test_a_last_reading_may_stand_beyond_the_last_day(
    zone: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "".join(f"9999-12-31T23:{minute}:59Z,230\n" for minute in (57, 58, 59))
    (place / NAMES["log"]).write_text(f"time,volts\n{rows}")
    assert main([*f"replay {NAMES['design']} {NAMES['log']} --json".split(), *zone.split()]) in (0, 1)
    assert json.loads(capsys.readouterr().out)["last"].startswith("9999-12-31T")


def test_what_a_log_says_of_how_it_was_made_is_one_line(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import pyarrow as arrow
    import pyarrow.parquet as files

    rows = arrow.table(
        {"time": [0, 10, 20], "volts": [230.0] * 3}, metadata={b"made": b"by \x1b[31mhand\nfor show: 3"}
    )
    files.write_table(rows, place / "made.parquet")
    (place / "made.csv").write_text("# made: by \x1b[31mhand\\nfor show: 3\n0,230\n10,230\n20,230\n")
    for name in ("made.parquet", "made.csv"):
        main(f"replay {NAMES['design']} {name} --epoch s --spread spread.csv --force".split())
        assert "The log is made up (by \\x1b[31mhand\\nfor show): nothing" in capsys.readouterr().out
        assert (place / "spread.csv").read_text().splitlines()[1] == "# made: by \\x1b[31mhand\\nfor show: 3"


def test_a_midnight_beyond_the_calendar_is_told_by_the_last_shift() -> None:
    zone = Zone("Pacific/Kiritimati")  # fourteen hours ahead of UTC
    last = 2_932_896 * DAY  # 9999-12-31
    assert list(zone.midnights(last - DAY, last + DAY)) == [last - DAY + DAY * 10 // 24, last + DAY * 10 // 24]


def test_what_a_library_calls_its_errors_is_left_out(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = shelf().first("parquet")
    (place / NAMES["parquet"]).write_bytes(whole[:-20] + b"\xff" * 12 + whole[-8:])
    told = refusal("replay given.toml given.parquet", capsys)
    assert told.startswith("given.parquet: cannot be read: ")
    assert "Exception" not in told


def test_a_number_is_read_the_same_from_a_call_and_a_file() -> None:
    """What a file may hold has not become less by all this."""
    text = SMALL.replace("load_va      = 900", "load_va = 900." + "0" * 25)
    assert parse(text).output.load_va == Decimal(900)
