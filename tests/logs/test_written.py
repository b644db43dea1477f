"""Made traces in files: both forms say that they are made and hold the same samples; whole or not at all."""

from __future__ import annotations

import gzip
import io
import itertools
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan import wholefile
from tapplan.errors import OutputError, UsageError
from tapplan.exact import Span
from tapplan.logs import scenarios, written
from tapplan.logs.form import LogForm
from tapplan.logs.made import MadeRows, blocks
from tapplan.logs.recipe import SPOILT, Recipe, Spoilt, TraceClock, told
from tapplan.logs.samples import BadRows
from tapplan.logs.scenarios import DAY_US, KINDS, SECOND_US
from tapplan.logs.sources import logs_in
from tapplan.logs.written import (
    FORMS,
    TraceTally,
    Writing,
    csv_lines,
    form_of,
    second_decimals,
    tally_of,
    write_csv,
    write_trace,
)
from tests.examples import ROOT
from tests.logs.drawn import MadeLog

F = Fraction
MAINS = Span(F(190), F(270))
START_US = int(datetime(2024, 2, 28, 23, 50, tzinfo=UTC).timestamp()) * SECOND_US


def recipe_of(kind: str = "sags", readings: int = 30_000, step_us: int = 10 * SECOND_US, **other: Any) -> Recipe:
    clock = TraceClock(start_us=START_US, step_us=step_us, readings=readings)
    return Recipe(scenario=scenarios.scenario_of(kind, MAINS), clock=clock, **other)


def all_of(recipe: Recipe) -> MadeRows:
    (rows,) = blocks(recipe, 1 << 30)
    return rows


def read_csv(path: Path) -> MadeRows:
    """The rows of a file as Python reads dates and numbers; none of them spoilt."""
    comment, head, *lines = path.read_text(encoding="ascii").splitlines()
    assert comment.startswith("# made: ")
    assert head == "time,volts"
    cells = [line.split(",") for line in lines]
    begin = datetime(1970, 1, 1, tzinfo=UTC)
    past = [datetime.fromisoformat(cell) - begin for cell, _ in cells]
    times = [(one.days * 86400 + one.seconds) * SECOND_US + one.microseconds for one in past]
    digits = len(cells[0][1].partition(".")[2])
    assert {len(cell.partition(".")[2]) for _, cell in cells} == {digits}
    counts = [int(F(cell) * 10**digits) for _, cell in cells]
    return MadeRows(np.array(times), np.array(counts), np.zeros(len(times), np.int64), digits)


# --- marked as made ---


@pytest.mark.parametrize("kind", KINDS)
def test_csv_begins_with_a_comment_that_says_what_was_made(kind: str, tmp_path: Path) -> None:
    recipe = recipe_of(kind, 10, seed=9)
    write_trace(str(tmp_path / "a.csv"), recipe, Writing("csv"))
    assert (tmp_path / "a.csv").read_text().splitlines()[0] == f"# made: {told(recipe)}"
    write_trace(str(tmp_path / "a.csv.gz"), recipe, Writing("csv.gz"))
    assert gzip.decompress((tmp_path / "a.csv.gz").read_bytes()) == (tmp_path / "a.csv").read_bytes()


@pytest.mark.parametrize("kind", KINDS)
def test_parquet_has_it_among_its_metadata(kind: str, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    recipe = recipe_of(kind, 10, seed=9)
    write_trace(str(tmp_path / "a.parquet"), recipe, Writing("parquet"))
    assert parquet.read_schema(tmp_path / "a.parquet").metadata[b"made"].decode() == told(recipe)


# --- the same samples ---


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("step_us", "digits"), [(10 * SECOND_US, 1), (20_000, 0), (333, 3), (DAY_US // 2, 6)])
def test_parquet_read_back_is_csv_read_back(kind: str, step_us: int, digits: int, tmp_path: Path) -> None:
    pa = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    recipe = recipe_of(kind, 3_000, step_us, digits=digits, gaps=0.02, seed=3)
    tallies = {form: write_trace(str(tmp_path / f"a.{form}"), recipe, Writing(form)) for form in FORMS}
    assert len(set(tallies.values())) == 1
    drawn, text = all_of(recipe), read_csv(tmp_path / "a.csv")
    assert np.array_equal(text.times, drawn.times)
    assert np.array_equal(text.counts, drawn.counts)
    assert text.digits == digits
    columns = parquet.read_table(tmp_path / "a.parquet")
    assert columns.schema.remove_metadata() == pa.schema(
        [("time", pa.timestamp("us", tz="UTC")), ("volts", pa.float32())]
    )
    assert np.array_equal(columns["time"].cast(pa.int64()).to_numpy(), text.times)
    assert np.array_equal(columns["volts"].to_numpy(), text.volts.astype(np.float32))


def test_a_second_reader_of_csv_agrees(tmp_path: Path) -> None:
    csv = pytest.importorskip("pyarrow.csv")
    parquet = pytest.importorskip("pyarrow.parquet")
    recipe = recipe_of("evening", 200_000, 20_000)
    for form in ("csv", "parquet"):
        write_trace(str(tmp_path / f"a.{form}"), recipe, Writing(form))
    text = csv.read_csv(tmp_path / "a.csv", csv.ReadOptions(skip_rows=1))
    columns = parquet.read_table(tmp_path / "a.parquet")
    assert text["time"].cast(columns["time"].type).equals(columns["time"])
    assert np.array_equal(text["volts"].to_numpy().astype(np.float32), columns["volts"].to_numpy())


def test_volts_below_ten_are_written_without_leading_noughts(tmp_path: Path) -> None:
    low = Recipe(
        scenario=scenarios.Rough(centres_v=(9.5, 99.8, 0.2, 1000), swing_v=1),
        clock=TraceClock(start_us=START_US, step_us=60 * SECOND_US, readings=2_000),
    )
    write_trace(str(tmp_path / "a.csv"), low, Writing("csv"))
    cells = [line.split(",")[1] for line in (tmp_path / "a.csv").read_text().splitlines()[2:]]
    assert {len(cell) for cell in cells} == {3, 4, 5, 6}
    assert [cell for cell in cells if cell[0] == "0" and cell[1] != "."] == []
    assert np.array_equal(read_csv(tmp_path / "a.csv").counts, all_of(low).counts)


@given(
    st.lists(st.tuples(st.integers(0, 2 * 10**15 * 3), st.integers(0, 10**9)), min_size=1, max_size=40),
    st.integers(0, 6),
)
def test_lines_are_what_python_writes(rows: list[tuple[int, int]], digits: int) -> None:
    times, counts = (np.array(column) for column in zip(*rows, strict=True))
    for decimals, unit in ((0, "seconds"), (3, "milliseconds"), (6, "microseconds")):
        lines = csv_lines(MadeRows(times, counts, np.zeros(len(times), np.int64), digits), decimals)
        expected = ""
        for at, count in rows:
            stamp = datetime.fromtimestamp(at // SECOND_US, UTC).replace(microsecond=at % SECOND_US, tzinfo=None)
            number = f"{count // 10**digits}.{count % 10**digits:0{digits}d}" if digits else f"{count}"
            expected += f"{stamp.isoformat(timespec=unit)}Z,{number}\n"
        assert lines.decode() == expected


@pytest.mark.parametrize(
    ("start_us", "step_us", "decimals"),
    [(0, 10**6, 0), (0, 10**7, 0), (10**6, 20_000, 3), (1_500_000, 10**6, 3), (0, 1_000_100, 6), (7, 10**6, 6)],
)
def test_times_have_no_more_decimals_than_they_need(start_us: int, step_us: int, decimals: int) -> None:
    assert second_decimals(TraceClock(start_us=start_us, step_us=step_us, readings=2)) == decimals


def test_spoilt_rows_stand_in_csv_as_they_were_spoilt(tmp_path: Path) -> None:
    recipe = recipe_of("quiet", 100_000, bad=0.2)
    rows = all_of(recipe)
    tally = write_trace(str(tmp_path / "a.csv"), recipe, Writing("csv"))
    lines = (tmp_path / "a.csv").read_text().splitlines()[2:]
    assert (tally.samples, tally.bad) == (int(rows.good.sum()), int((~rows.good).sum()))
    assert len(lines) == len(rows) == tally.samples + tally.bad
    words = {Spoilt.WORD: "fault", Spoilt.EMPTY: "", Spoilt.NAN: "nan"}
    for line, before, which, count in zip(lines[1:], lines[:-1], rows.spoilt[1:], rows.counts[1:], strict=True):
        stamp, cell = line.split(",")
        how = SPOILT[which - 1] if which else None
        assert cell == words.get(how, f"{count // 10}.{count % 10}")
        earlier = before.split(",")[0]
        assert (stamp == earlier, stamp < earlier) == (how is Spoilt.TWICE, how is Spoilt.BACKWARDS)


def test_spoilt_rows_stand_in_parquet_as_they_were_spoilt(tmp_path: Path) -> None:
    pa = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    recipe = recipe_of("quiet", 50_000, bad=0.2)
    rows = all_of(recipe)
    write_trace(str(tmp_path / "a.parquet"), recipe, Writing("parquet"))
    columns = parquet.read_table(tmp_path / "a.parquet")
    how = [SPOILT[which - 1] if which else None for which in rows.spoilt]
    assert columns["time"].cast(pa.int64()).to_numpy().tolist() == rows.times.tolist()
    volts = columns["volts"].to_pylist()
    assert [value is None for value in volts] == [one in (Spoilt.WORD, Spoilt.EMPTY) for one in how]
    assert [value != value for value in volts] == [one is Spoilt.NAN for one in how]
    kept = [place for place, one in enumerate(how) if one in (None, Spoilt.TWICE, Spoilt.BACKWARDS)]
    assert [volts[place] for place in kept] == rows.volts.astype(np.float32)[kept].tolist()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("form", FORMS)
def test_a_log_read_from_a_file_is_the_trace_and_its_spoilt_rows_are_called_what_they_are(
    kind: str, form: str, tmp_path: Path
) -> None:
    """The reader against what the recipe says: nothing that is written is taken for something else."""
    if form == "parquet":
        pytest.importorskip("pyarrow")
    recipe = recipe_of(kind, 150_000, 20_000, gaps=0.02, bad=0.02)
    write_trace(str(tmp_path / f"a.{form}"), recipe, Writing(form))
    (log,) = logs_in([str(tmp_path / f"a.{form}")], LogForm())
    assert log.made == told(recipe)
    drawn, read = (list(one.chunks()) for one in (MadeLog(recipe), log))
    times = [np.concatenate([chunk.times for chunk in chunks]) for chunks in (drawn, read)]
    assert np.array_equal(*times)
    volts = [
        np.concatenate([chunk.readings for chunk in chunks]) * float(scale)
        for chunks, scale in ((drawn, F(1, 10)), (read, log.scale))
    ]
    assert np.max(np.abs(volts[0] - volts[1])) < 1e-4  # a float32 of some hundred volts
    bad = [reduce(BadRows.joined, (chunk.bad for chunk in chunks), BadRows()) for chunks in (drawn, read)]
    assert bad[0].counts == bad[1].counts
    assert bad[0].count > 2000


def test_parquet_is_laid_out_to_be_read_fast(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    many = written.GROUP + 400_000
    write_trace(str(tmp_path / "a.parquet"), recipe_of("evening", many), Writing("parquet"))
    found = parquet.ParquetFile(tmp_path / "a.parquet").metadata
    assert [found.row_group(group).num_rows for group in range(found.num_row_groups)] == [written.GROUP, 400_000]
    time_column, volts_column = (found.row_group(0).column(column) for column in (0, 1))
    assert "DELTA_BINARY_PACKED" in time_column.encodings
    assert volts_column.has_dictionary_page
    assert {time_column.compression, volts_column.compression} == {"SNAPPY"}
    assert (tmp_path / "a.parquet").stat().st_size < 2 * many


@pytest.mark.parametrize("form", FORMS)
def test_the_same_trace_gives_the_same_bytes(form: str, tmp_path: Path) -> None:
    if form == "parquet":
        pytest.importorskip("pyarrow")
    files = [tmp_path / name for name in ("a", "b")]
    for file in files:
        write_trace(str(file), recipe_of(), Writing(form))
        time.sleep(1.1 if form == "csv.gz" else 0)  # gzip can hold the time, in seconds
    assert files[0].read_bytes() == files[1].read_bytes()


# --- what was written ---


def test_the_tally_is_that_of_the_good_rows(tmp_path: Path) -> None:
    recipe = recipe_of(readings=200_000, gaps=0.05, bad=0.1, digits=2)
    rows = all_of(recipe)
    good = rows.where(rows.good)
    tally = write_trace(str(tmp_path / "a.csv"), recipe, Writing("csv"))
    assert (tally.samples, tally.bad, tally.digits) == (len(good), len(rows) - len(good), 2)
    assert (tally.first_us, tally.last_us) == (good.times[0], good.times[-1])
    exact = [F(count, 100) for count in good.counts.tolist()]
    assert (tally.least_v, tally.most_v) == (min(exact), max(exact))
    assert tally.mean_v == sum(exact) / len(exact)


@given(st.lists(st.integers(0, 40), min_size=1, max_size=4))
def test_tallies_add_up_in_any_parts(cuts: list[int]) -> None:
    rows = all_of(recipe_of(readings=40, bad=0.5))
    ends = [0, *sorted(cuts), 40]
    parts = [rows.where(slice(first, last)) for first, last in itertools.pairwise(ends)]
    added = TraceTally(rows.digits)
    for part in parts:
        added = added.joined(tally_of(part))
    assert added == tally_of(rows)


@pytest.mark.parametrize("form", FORMS)
def test_every_row_is_told_of_as_it_is_written(form: str, tmp_path: Path) -> None:
    if form == "parquet":
        pytest.importorskip("pyarrow")
    seen: list[int] = []
    write_trace(str(tmp_path / "a"), recipe_of(readings=150_000), Writing(form, tell=seen.append))
    assert sum(seen) == 150_000
    assert len(seen) == (1 if form == "parquet" else 3)


# --- whole or not at all ---


def left(folder: Path) -> set[str]:
    return {one.name for one in folder.iterdir()}


def test_a_file_is_kept_unless_it_is_to_be_replaced(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("kept")
    with pytest.raises(OutputError, match="found a file of that name; it is kept unless --force is given"):
        write_trace(str(file), recipe_of(), Writing("csv"))
    assert file.read_text() == "kept"
    file.chmod(0o640)
    write_trace(str(file), recipe_of(), Writing("csv", force=True))
    assert file.read_text().startswith("# made: sags")
    assert file.stat().st_mode & 0o777 == 0o640
    assert left(tmp_path) == {"a.csv"}


def test_a_new_file_has_the_mode_of_any_other(tmp_path: Path) -> None:
    (tmp_path / "other").write_text("")
    write_trace(str(tmp_path / "a.csv"), recipe_of(readings=3), Writing("csv"))
    assert (tmp_path / "a.csv").stat().st_mode == (tmp_path / "other").stat().st_mode


def test_a_file_of_several_names_keeps_them_and_a_link_leads_to_it(tmp_path: Path) -> None:
    file, name, link = tmp_path / "a.csv", tmp_path / "b.csv", tmp_path / "c.csv"
    file.write_text("old")
    os.link(file, name)
    link.symlink_to(file)
    write_trace(str(link), recipe_of(readings=3), Writing("csv", force=True))
    assert link.is_symlink()
    assert name.samefile(file)
    assert file.read_text().startswith("# made: sags")
    assert left(tmp_path) == {"a.csv", "b.csv", "c.csv"}


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give a file away")
def test_a_file_of_somebody_else_stays_theirs(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("old")
    os.chown(file, 12345, 12346)
    write_trace(str(file), recipe_of(readings=3), Writing("csv", force=True))
    assert (file.stat().st_uid, file.stat().st_gid) == (12345, 12346)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (".", "found a directory; accepted: a file name"),
        ("no/such/folder/a.csv", "cannot be written (No such file or directory)"),
        ("a\0b.csv", "cannot be written (a name holds no NUL)"),
        ("x" * 300 + ".csv", "cannot be written (File name too long)"),
        ("pipe", "found a pipe or device; accepted: the name of an ordinary file"),
    ],
)
def test_what_is_no_place_for_a_file_is_refused(name: str, said: str, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OutputError) as caught:
        write_trace(str(tmp_path / name), recipe_of(readings=3), Writing("csv", force=True))
    assert str(caught.value).endswith(said)
    assert left(tmp_path) == {"pipe"}


def test_a_device_is_not_replaced() -> None:
    with pytest.raises(OutputError, match="found a pipe or device"):
        write_trace("/dev/full", recipe_of(readings=3), Writing("csv", force=True))


def broken_after(rows: int, error: BaseException) -> Any:
    """Who is told of rows, and stops the writing after so many."""
    seen = [0]

    def tell(more: int) -> None:
        seen[0] += more
        if seen[0] >= rows:
            raise error

    return tell


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("error", [RuntimeError("broken"), KeyboardInterrupt(), MemoryError(), GeneratorExit()])
def test_what_breaks_off_leaves_what_was_there(form: str, error: BaseException, tmp_path: Path) -> None:
    if form == "parquet":
        pytest.importorskip("pyarrow")
    for kept in (False, True):
        if kept:
            (tmp_path / "a").write_text("kept")
        how = Writing(form, force=True, tell=broken_after(100_000, error))
        with pytest.raises(type(error)):
            write_trace(str(tmp_path / "a"), recipe_of(readings=2_200_000), how)
        assert left(tmp_path) == ({"a"} if kept else set())
    assert (tmp_path / "a").read_text() == "kept"


def test_a_trace_that_cannot_be_drawn_to_its_end_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(recipe: Recipe, most: int = 1000) -> Iterator[MadeRows]:
        yield all_of(replace(recipe, clock=replace(recipe.clock, readings=1000)))
        raise ZeroDivisionError

    monkeypatch.setattr(written, "blocks", torn)
    for form in FORMS:
        if form == "parquet":
            pytest.importorskip("pyarrow")
        with pytest.raises(ZeroDivisionError):
            write_trace(str(tmp_path / "a"), recipe_of(), Writing(form))
    assert left(tmp_path) == set()


FULL = """
import resource, sys
from tapplan.errors import OutputError
from tests.logs.test_written import recipe_of
from tapplan.logs.written import Writing, write_trace
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
try:
    write_trace(sys.argv[1], recipe_of("evening", 2_500_000), Writing(sys.argv[2], force=True))
except OutputError as error:
    print(error)
"""


@pytest.mark.parametrize("form", FORMS)
def test_no_room_for_the_file_is_one_message_and_leaves_what_was_there(form: str, tmp_path: Path) -> None:
    """A limit on the size of files stands in for a full disk: writing fails in the middle, by the system."""
    if form == "parquet":
        pytest.importorskip("pyarrow")
    (tmp_path / "a").write_text("kept")
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path / "a"), form], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.stderr == ""
    assert done.stdout == f"{tmp_path / 'a'}: cannot be written (File too large)\n"
    assert left(tmp_path) == {"a"}
    assert (tmp_path / "a").read_text() == "kept"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("form", FORMS)
def test_a_full_disk_is_one_message_and_leaves_what_was_there(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if form == "parquet":
        pytest.importorskip("pyarrow")

    def full(path: str, flags: int) -> int:
        os.close(os.open(path, flags))
        return os.open("/dev/full", os.O_WRONLY)

    monkeypatch.setattr(wholefile, "_for_its_writer", full)
    (tmp_path / "a").write_text("kept")
    with pytest.raises(OutputError) as caught:
        write_trace(str(tmp_path / "a"), recipe_of(), Writing(form, force=True))
    assert str(caught.value) == f"{tmp_path / 'a'}: cannot be written (No space left on device)"
    assert left(tmp_path) == {"a"}
    assert (tmp_path / "a").read_text() == "kept"


ENDLESS = """
import sys
from tests.logs.test_written import recipe_of
from tapplan.logs.written import Writing, write_trace
write_trace(sys.argv[1], recipe_of("quiet", 10**9), Writing(sys.argv[2], force=True))
"""


def test_a_writer_that_is_killed_leaves_no_file_of_that_name(tmp_path: Path) -> None:
    process = subprocess.Popen([sys.executable, "-c", ENDLESS, str(tmp_path / "a.csv"), "csv"], cwd=ROOT)
    try:
        until = time.monotonic() + 60
        while not any(one.stat().st_size > 100_000 for one in tmp_path.iterdir()):
            assert time.monotonic() < until
            time.sleep(0.02)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
    assert "a.csv" not in left(tmp_path)


# --- forms ---


@pytest.mark.parametrize(
    ("name", "form"),
    [("a.csv", "csv"), ("A.CSV", "csv"), ("b.csv.gz", "csv.gz"), ("dir.x/c.parquet", "parquet"), ("d.b.csv", "csv")],
)
def test_the_form_is_what_a_name_ends_in(name: str, form: str) -> None:
    assert form_of(name) == form


@pytest.mark.parametrize("name", ["a", "a.gz", "csv", "a.txt", "a.csv.bz2", "a.csv/"])
def test_a_name_without_a_form_is_refused(name: str) -> None:
    with pytest.raises(UsageError) as caught:
        form_of(name)
    assert str(caught.value) == f"found {name}; accepted: a name ending in .csv, .csv.gz, .parquet"


def test_a_form_that_there_is_not_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match='found form "xls"; accepted: csv'):
        write_trace(str(tmp_path / "a"), recipe_of(), Writing("xls"))
    assert left(tmp_path) == set()


def test_parquet_without_pyarrow_is_refused_before_anything_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UsageError) as caught:
        write_trace(str(tmp_path / "a.parquet"), recipe_of(), Writing("parquet"))
    accepted = "pip install 'tapplan[logs]' for Parquet, or a name ending in .csv or .csv.gz"
    assert str(caught.value) == f"found no pyarrow; accepted: {accepted}"
    assert left(tmp_path) == set()


def test_csv_loads_no_pyarrow() -> None:
    code = (
        "import io, sys\nfrom tests.logs.test_written import recipe_of\nfrom tapplan.logs.written import write_csv\n"
        "write_csv(io.BytesIO(), recipe_of())\nprint('pyarrow' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout == "False\n"


def test_csv_into_a_stream_is_what_a_file_holds(tmp_path: Path) -> None:
    stream = io.BytesIO()
    tally = write_csv(stream, recipe_of(bad=0.1))
    assert tally == write_trace(str(tmp_path / "a.csv"), recipe_of(bad=0.1), Writing("csv"))
    assert stream.getvalue() == (tmp_path / "a.csv").read_bytes()
