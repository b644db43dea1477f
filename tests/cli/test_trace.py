"""The verb `trace`: made volts on standard output or in files, marked as made, each file whole or not at all."""

from __future__ import annotations

import gzip
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tapplan.answers.trace import made_file, made_trace
from tapplan.cli.opened import table_in
from tapplan.cli.verbs import trace
from tapplan.design.file import load
from tapplan.errors import OutputError
from tapplan.logs.recipe import Recipe
from tapplan.logs.scenarios import Rough, scenario_of
from tapplan.logs.written import TraceTally
from tapplan.pages.screens.trace import MOST_FILES, screen
from tests.examples import ROOT

RIDGE = str(ROOT / "designs" / "ridge-dispensary.toml")
SHORT = ("--days", "0.5", "--step", "60")


def names(folder: Path) -> list[str]:
    return sorted(one.name for one in folder.iterdir())


def volts_of(text: str) -> list[float]:
    comment, head, *lines = text.splitlines()
    assert comment.startswith("# made: ")
    assert head == "time,volts"
    return [float(line.split(",")[1]) for line in lines]


# --- standard output ---


@pytest.mark.parametrize("kind", ["quiet", "evening", "sags", "rough"])
def test_without_a_file_the_csv_is_printed(call: Any, kind: str) -> None:
    answer = call("trace", kind, *SHORT, "--seed", "5")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith(f"# made: {kind}, seed 5: ")
    assert len(volts_of(answer.out)) == 720
    assert answer.out.splitlines()[2].startswith("2024-01-01T00:00:00Z,")
    assert answer.out.splitlines()[-1].startswith("2024-01-01T11:59:00Z,")
    told = call("trace", kind, *SHORT, "--seed", "5", "--json").json
    assert told["text"] == answer.out
    assert told["files"] == []
    assert f"# made: {told['made']}" == answer.out.splitlines()[0]
    volts = volts_of(answer.out)
    assert (told["least_v"], told["most_v"]) == (min(volts), max(volts))
    assert told["mean_v"] == pytest.approx(sum(volts) / 720)
    assert (told["verb"], told["kind"], told["seed"], told["samples"], told["bad"]) == ("trace", kind, 5, 720, 0)
    assert (told["from"], told["to"]) == ("2024-01-01T00:00:00Z", "2024-01-01T11:59:00Z")


def test_more_than_standard_output_takes_is_refused(call: Any) -> None:
    answer = call("trace", "quiet", "--days", "12", "--step", "1")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == (
        "found 1036800 samples for standard output; accepted: at most 1000000, or a file: -o FILE\n"
    )


# --- what is asked for ---


def test_the_options_are_in_the_sentence(call: Any) -> None:
    made = call(
        *("trace", "sags", *SHORT, "--around", "241,5", "--swing", "3V", "--rate", "9000", "--digits", "2"),
        *("--start", "2023-12-31T23:00+01:00", "--gaps", "0.05", "--bad", "0.02", "--json"),
    ).json
    assert "around 241.5 V, daily swing 3 V" in made["made"]
    assert "9000 sags, swells and interruptions a year" in made["made"]
    assert "720 readings to 0.01 V, one every 60 s from 2023-12-31T22:00:00Z" in made["made"]
    assert "about 5 % of the time lost in gaps; about 2 % of the rows spoilt" in made["made"]
    assert made["samples"] + made["bad"] <= 720
    assert made["from"] == "2023-12-31T22:00:00Z"


def test_nominal_volts_give_a_range_of_15_percent_either_way(call: Any) -> None:
    made = call("trace", "quiet", *SHORT, "--nominal", "120", "--json").json["made"]
    assert "around 120 V, daily swing 6 V" in made
    assert "around 230 V, daily swing 11.5 V" in call("trace", "quiet", *SHORT, "--json").json["made"]


def test_a_design_gives_its_range_and_for_rough_its_thresholds(call: Any) -> None:
    mains = load(RIDGE).mains.span
    told = call("trace", "evening", *SHORT, "--design", RIDGE, "--json").json
    assert told["design"] == RIDGE
    assert scenario_of("evening", mains).told() in told["made"]
    holds = [row.input_hold for row in table_in(RIDGE).rows]
    ends = sorted({float(end) for hold in holds if hold is not None for end in (hold.low, hold.high)})
    assert len(ends) > 4
    swing = scenario_of("rough", mains).swing_v
    expected = Rough(centres_v=tuple(ends), swing_v=swing)
    assert expected.told() in call("trace", "rough", *SHORT, "--design", RIDGE, "--json").json["made"]


def test_rough_takes_several_centres_in_place_of_a_design_s(call: Any) -> None:
    made = call("trace", "rough", *SHORT, "--design", RIDGE, "--around", "190", "--around", "210", "--swing", "1")
    assert "up to 1 V either way around 190, 210 V" in made.out
    assert {round(volts, -1) for volts in volts_of(made.out)} == {190, 210}


def test_a_step_may_be_in_milliseconds(call: Any) -> None:
    lines = call("trace", "rough", "--step", "20ms", "--days", "0.0001").out.splitlines()
    assert len(lines) == 2 + 432
    assert [line.split(",")[0] for line in lines[2:4]] == ["2024-01-01T00:00:00.000Z", "2024-01-01T00:00:00.020Z"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["calm"], 'found "calm"; accepted: quiet, evening, sags, rough'),
        (["quiet", "--rate", "5"], "found --rate with quiet; accepted: with sags"),
        (["quiet", "--around", "1", "--around", "2"], "found 2 centres; accepted: one, or kind rough"),
        (["quiet", "--design", RIDGE, "--nominal", "230"], "found --design with --nominal; accepted: one of them"),
        (["quiet", "--design", "/no/such.toml"], "/no/such.toml: found no such file"),
        (["quiet", "--nominal", "0"], "found --nominal 0; accepted: volts above 0"),
        (["quiet", "--around", "2e6"], "found around 2e+06 V; accepted: volts from 0 to 1e+06"),
        (["quiet", "--swing", "-1"], 'found "-1"; accepted: volts from 0'),
        (["quiet", "--days", "0"], 'found "0"; accepted: days above 0, at most 36525'),
        (["quiet", "--days", "1e9"], 'found "1e9"; accepted: days above 0'),
        (["quiet", "--days", "nan"], 'found "nan"; accepted: days above 0'),
        (["quiet", "--step", "0"], 'found "0"; accepted: seconds above 0'),
        (
            ["quiet", "--step", "0.0000001"],
            'found "0.0000001"; accepted: seconds above 0, at most a day, whole micro',
        ),
        (["quiet", "--step", "2d"], 'found "2d"; accepted: seconds above 0'),
        (["quiet", "--step", "25h"], 'found "25h"; accepted: seconds above 0, at most a day'),
        (
            ["quiet", "--step", "1h", "--days", "0.01"],
            "found 0.01 days with a step of 3600 s; accepted: at least one",
        ),
        (["quiet", "--step", "1ms", "--days", "36525", "-o", "a.csv"], "readings; accepted: from 1 to 10000000000"),
        (["quiet", "--start", "yesterday"], 'found "yesterday"; accepted: a day or a moment from 1970 to 2099'),
        (["quiet", "--start", "1969-12-31"], 'found "1969-12-31"; accepted: a day or a moment'),
        (["quiet", "--start", "0001-01-01T00:00+09:00"], "accepted: a day or a moment from 1970"),
        (["quiet", "--seed", "-3"], 'found "-3"; accepted: a whole number from 0'),
        (["quiet", "--digits", "7"], 'found "7"; accepted: a whole number from 0 to 6'),
        (["quiet", "--gaps", "0.95"], 'found "0.95"; accepted: a share from 0 to 0.9'),
        (["quiet", "--bad", "0.6"], 'found "0.6"; accepted: a share from 0 to 0.5'),
        (["sags", "--rate", "0"], 'found "0"; accepted: events a year above 0'),
        (["quiet", "--sites", "0", "-o", "d"], 'found "0"; accepted: a whole number from 1 to 10000'),
        (["quiet", "--sites", "2"], "found --sites without -o; accepted: with -o DIR"),
        (["quiet", "--to", "parquet"], "found --to parquet without -o FILE; accepted: with -o FILE, or --to csv"),
        (["quiet", "-o", "a.txt"], "found a.txt; accepted: a name ending in .csv, .csv.gz, .parquet"),
        (["quiet", "-o", "/no/such/a.csv"], "/no/such/a.csv: cannot be written (No such file or directory)"),
    ],
    ids=lambda one: " ".join(one)[-30:] if isinstance(one, list) else "",
)
def test_what_cannot_be_answered_is_one_message(call: Any, options: list[str], said: str) -> None:
    answer = call("trace", *options)
    assert (answer.code, answer.out) == (2, "")
    assert said in answer.err
    assert "Traceback" not in answer.err


@pytest.mark.parametrize(
    ("text", "seconds"), [("10", 10), ("0.02", 0.02), ("20ms", 0.02), ("5 s", 5), ("1min", 60), ("24h", 86400)]
)
def test_a_step_with_its_unit(text: str, seconds: float) -> None:
    assert float(trace.step(text)) == seconds


# --- one file ---


@pytest.mark.parametrize("form", ["csv", "csv.gz", "parquet"])
def test_a_file_is_written_in_the_form_its_name_ends_in(call: Any, form: str, tmp_path: Path) -> None:
    if form == "parquet":
        pytest.importorskip("pyarrow")
    file = tmp_path / f"a.{form}"
    told = call("trace", "sags", *SHORT, "-o", file, "--json").json
    (one,) = told["files"]
    assert (one["file"], one["seed"], one["samples"], one["bytes"]) == (str(file), 0, 720, file.stat().st_size)
    assert (one["least_v"], one["mean_v"], one["most_v"]) == (told["least_v"], told["mean_v"], told["most_v"])
    assert "text" not in told
    printed = call("trace", "sags", *SHORT).out
    if form == "parquet":
        parquet = pytest.importorskip("pyarrow.parquet")
        columns = parquet.read_table(file)
        assert columns.schema.metadata[b"made"].decode() == told["made"]
        assert columns["volts"].to_pylist() == pytest.approx(volts_of(printed))
    else:
        raw = file.read_bytes()
        assert (gzip.decompress(raw) if form == "csv.gz" else raw).decode() == printed


def test_the_form_can_be_said(call: Any, tmp_path: Path) -> None:
    assert call("trace", "quiet", *SHORT, "--to", "csv.gz", "-o", tmp_path / "a.log").code == 0
    assert gzip.decompress((tmp_path / "a.log").read_bytes()).startswith(b"# made: quiet")


def test_the_screen_says_that_it_is_made_and_what_is_in_it(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    shown = " ".join(call("trace", "quiet", *SHORT, "--bad", "0.1", "-o", file).out.split())
    assert shown.startswith("Made up, not measured: quiet, seed 0: around 230 V")
    volts = [cell for cell in volts_cells(file) if cell is not None]
    assert f"{len(volts)} samples from 2024-01-01T00:00:00Z to 2024-01-01T11:5" in shown
    assert f"least {min(volts):g} V, mean {sum(volts) / len(volts):.2f}".rstrip("0") in shown
    assert "spoilt rows" in shown


def volts_cells(file: Path) -> list[float | None]:
    """The good samples of a file with spoilt rows: a number, and a time that is later than every one before."""
    latest, found = "", []
    for line in file.read_text().splitlines()[2:]:
        stamp, cell = line.split(",")
        good = cell not in ("", "fault", "nan") and stamp > latest
        latest = max(latest, stamp) if good else latest
        found.append(float(cell) if good else None)
    return found


def test_an_existing_file_is_kept_unless_forced(call: Any, tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    assert call("trace", "quiet", *SHORT, "-o", file).code == 0
    before = file.read_bytes()
    kept = call("trace", "quiet", *SHORT, "--seed", "1", "-o", file)
    assert (kept.code, kept.out) == (2, "")
    assert kept.err == f"{file}: found a file of that name; it is kept unless --force is given\n"
    assert file.read_bytes() == before
    assert call("trace", "quiet", *SHORT, "--seed", "1", "-o", file, "--force").code == 0
    assert file.read_bytes() != before


def test_a_design_is_not_replaced_by_a_trace(call: Any, tmp_path: Path) -> None:
    copy = tmp_path / "own.toml"
    copy.write_text(Path(RIDGE).read_text())
    answer = call("trace", "quiet", *SHORT, "--design", copy, "--to", "csv", "-o", copy, "--force")
    assert answer.code == 2
    assert "the very file that is read" in answer.err
    assert copy.read_text() == Path(RIDGE).read_text()


# --- sites ---


def test_every_site_has_its_own_seed_and_file(call: Any, tmp_path: Path) -> None:
    folder = tmp_path / "new" / "sites"
    told = call(
        "trace", "evening", *SHORT, "--sites", "3", "--seed", "40", "--to", "csv", "-o", folder, "--json"
    ).json
    assert names(folder) == ["site-001.csv", "site-002.csv", "site-003.csv"]
    assert [(one["seed"], one["samples"]) for one in told["files"]] == [(40, 720), (41, 720), (42, 720)]
    assert told["samples"] == 3 * 720
    assert "seeds 40 to 42, one a file" in told["made"]
    for one in told["files"]:
        assert Path(one["file"]).read_text() == call("trace", "evening", *SHORT, "--seed", one["seed"]).out
        volts = volts_of(Path(one["file"]).read_text())
        assert (one["least_v"], one["most_v"]) == (min(volts), max(volts))
    assert told["least_v"] == min(one["least_v"] for one in told["files"])
    assert told["most_v"] == max(one["most_v"] for one in told["files"])
    assert told["mean_v"] == pytest.approx(sum(one["mean_v"] for one in told["files"]) / 3)


def test_sites_are_parquet_where_nothing_is_said_and_their_numbers_are_of_one_width(
    call: Any, tmp_path: Path
) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    few = ("--days", "0.001", "--step", "40")
    assert call("trace", "quiet", *few, "--sites", "1000", "-o", tmp_path / "many", "--to", "csv").code == 0
    assert names(tmp_path / "many")[::999] == ["site-0001.csv", "site-1000.csv"]
    assert call("trace", "quiet", *few, "--sites", "1", "-o", tmp_path / "one").code == 0
    assert parquet.read_table(tmp_path / "one" / "site-001.parquet").num_rows == 2


def test_no_site_is_begun_where_one_is_to_be_kept(call: Any, tmp_path: Path) -> None:
    (tmp_path / "site-003.csv").write_text("kept")
    asked = ("trace", "quiet", *SHORT, "--sites", "4", "--to", "csv", "-o", tmp_path)
    answer = call(*asked)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith(f"{tmp_path / 'site-003.csv'}: found a file of that name; it is kept")
    assert names(tmp_path) == ["site-003.csv"]
    assert call(*asked, "--force").code == 0
    assert names(tmp_path) == [f"site-00{number}.csv" for number in range(1, 5)]
    assert "kept" not in (tmp_path / "site-003.csv").read_text()


def test_a_site_that_cannot_be_written_says_how_many_are(
    call: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = trace.write_trace

    def full(path: str, recipe: Recipe, how: Any) -> TraceTally:
        if path.endswith("site-003.csv"):
            raise OutputError(f"{path}: cannot be written (No space left on device)")
        return real(path, recipe, how)

    monkeypatch.setattr(trace, "write_trace", full)
    answer = call("trace", "quiet", *SHORT, "--sites", "4", "--to", "csv", "-o", tmp_path)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.endswith("cannot be written (No space left on device); 2 of 4 files are written\n")
    assert names(tmp_path) == ["site-001.csv", "site-002.csv"]


def test_sites_need_a_folder(call: Any, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("kept")
    answer = call("trace", "quiet", *SHORT, "--sites", "2", "--to", "csv", "-o", tmp_path / "file")
    assert answer.err == f"{tmp_path / 'file'}: found a file; accepted: a folder, or a name for a new one\n"
    below = call("trace", "quiet", *SHORT, "--sites", "2", "--to", "csv", "-o", tmp_path / "file" / "below")
    assert below.err == f"{tmp_path / 'file' / 'below'}: cannot be made (Not a directory)\n"
    assert (tmp_path / "file").read_text() == "kept"


def test_the_screen_tells_some_of_many_files() -> None:
    recipe = Recipe(
        scenario=Rough(centres_v=(230,), swing_v=1), clock=trace.clock_for(trace.start("2024-01-01"), 1, 1)
    )
    tally = TraceTally(1, 9, 1, 0, 5_000_000, 2290, 2310, 9 * 2300)
    files = [made_file(f"site-{number:03d}.csv", 99, recipe, tally) for number in range(1, MOST_FILES + 3)]
    from rich.console import Console

    for some, more in ((files, True), (files[:MOST_FILES], False)):
        console = Console(width=200)
        with console.capture() as captured:
            console.print(screen(made_trace(recipe, tally, some), 200))
        shown = captured.get()
        assert f"site-{MOST_FILES:03d}.csv" in shown
        assert f"site-{MOST_FILES + 1:03d}.csv" not in shown
        assert ("and 2 files more" in shown) == more
        assert "least 229 V, mean 230 V, most 231 V" in shown


def test_progress_is_shown_on_a_terminal_and_not_in_the_answer(
    call: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ("trace", "quiet", "--sites", "2", "--to", "csv", "-o", tmp_path, "--force", "--json")
    plain = call(*asked)
    assert plain.err == ""
    monkeypatch.setattr(type(sys.stderr), "isatty", lambda self: True)
    monkeypatch.setenv("TERM", "xterm")
    shown = call(*asked)
    assert "rows written" in shown.err
    assert shown.out == plain.out


# --- as a process of its own ---


def shell(line: str) -> subprocess.CompletedProcess[str]:
    full = f'tapplan() {{ "{sys.executable}" -m tapplan "$@"; }}; {line}'
    return subprocess.run(["bash", "-c", full], capture_output=True, text=True, check=False, cwd=ROOT)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_standard_output_that_is_full_is_one_message() -> None:
    done = shell("tapplan trace quiet > /dev/full")
    assert (done.returncode, done.stderr) == (2, "standard output: cannot be written (No space left on device)\n")


def test_a_reader_that_has_seen_enough_is_no_error() -> None:
    done = shell("tapplan trace quiet | head -n 3; exit ${PIPESTATUS[0]}")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("# made: quiet, seed 0")


@pytest.mark.parametrize("form", ["csv", "csv.gz", "parquet"])
def test_no_room_for_a_file_is_one_message_and_leaves_nothing(form: str, tmp_path: Path) -> None:
    """A limit on the size of files stands in for a full disk."""
    if form == "parquet":
        pytest.importorskip("pyarrow")
    file = tmp_path / f"a.{form}"
    done = shell(f"ulimit -f 50; tapplan trace quiet --days 40 --step 2 -o {file}")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"{file}: cannot be written (File too large)\n"
    assert names(tmp_path) == []


def test_ctrl_c_leaves_nothing_half_written(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "tapplan",
            "trace",
            "quiet",
            "--days",
            "3650",
            "--step",
            "1",
            "-o",
            tmp_path / "a.csv",
        ],
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    until = time.monotonic() + 60
    while not any(one.stat().st_size > 1_000_000 for one in tmp_path.iterdir()):
        assert process.poll() is None
        assert time.monotonic() < until
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    told = process.communicate(timeout=60)[1]
    assert (process.returncode, told) == (130, "tapplan: interrupted\n")
    assert names(tmp_path) == []
