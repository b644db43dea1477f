"""Paths to logs: files, folders, stores; parts that are joined; what is told when something is missing."""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import fsspec
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tapplan.errors import LogError
from tapplan.logs import places
from tapplan.logs.form import LogForm
from tapplan.logs.samples import Log, RowFault
from tapplan.logs.sources import FileLog, Portions, logs_in
from tests.logs.reading import read, written

FORM = LogForm()


def day(first: int, count: int = 3) -> str:
    return "time,voltage\n" + "".join(f"{second},{230 + second / 10}\n" for second in range(first, first + count))


def names(logs: tuple[FileLog, ...], folder: Path) -> list[str]:
    return [log.name.removeprefix(f"{folder}/") for log in logs]


@pytest.fixture
def store() -> Iterator[fsspec.AbstractFileSystem]:
    memory = fsspec.filesystem("memory")
    yield memory
    memory.rm("/", recursive=True)


def test_files_are_logs_under_their_own_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written(tmp_path, day(0), "b.csv")
    written(tmp_path, day(5), "a.log")
    monkeypatch.chdir(tmp_path)
    logs = logs_in(["b.csv", "./a.log"], FORM)
    assert [log.name for log in logs] == ["b.csv", "./a.log"]
    assert [read(log).times[0] for log in logs] == [0, 5_000_000]


def test_a_log_is_what_the_replay_asks_for(tmp_path: Path) -> None:
    log: Log = logs_in(
        [str(written(tmp_path, "# made: of wool\n" + day(0)))], LogForm(unit="kV", scale=1 / FORM.scale)
    )[0]
    assert (log.scale, log.made) == (1000, "of wool")


def test_a_folder_has_a_log_in_each_file_and_in_each_folder(tmp_path: Path) -> None:
    for name in (
        "site10.csv",
        "site9.csv",
        "north/2.csv",
        "north/10.csv",
        "north/deep/1.txt",
        "big/x.TSV",
        "x.csv.gz",
    ):
        written(tmp_path, day(0), name)
    for name in (".hidden.csv", "north/.cache/1.csv", "notes.md", "north/readme", "empty/picture.png"):
        written(tmp_path, "no log", name)
    logs = logs_in([f"{tmp_path}/"], FORM)
    assert names(logs, tmp_path) == ["big", "north", "site9.csv", "site10.csv", "x.csv.gz"]
    parts = [part.removeprefix(f"{tmp_path}/") for part in logs[1].parts]
    assert parts == ["north/2.csv", "north/10.csv", "north/deep/1.txt"]


def test_parts_are_one_log_over_which_time_goes_on(tmp_path: Path) -> None:
    for number in (1, 2, 10):
        written(tmp_path, day(10 * number), f"site/part-{number}.csv")
    written(tmp_path, day(21, 12), "site/part-3.csv")
    (log,) = logs_in([str(tmp_path)], FORM)
    for portions in (Portions(), Portions(samples=2), Portions(characters=7, samples=1)):
        found = read(log, portions)
        assert found.times == [
            1_000_000 * second for second in (10, 11, 12, 20, 21, 22, *range(23, 33), 100, 101, 102)
        ]
        assert [(Path(one.file).name, one.row) for one in found.bad.told] == [("part-3.csv", 2), ("part-3.csv", 3)]
        assert set(found.bad.counts) == {RowFault.BACKWARDS, RowFault.SAME_TIME}


def test_joined_paths_are_parts_in_the_order_given(tmp_path: Path) -> None:
    paths = [str(written(tmp_path, day(first), f"{name}.csv")) for name, first in (("z", 0), ("a", 10))]
    paths.append(str(written(tmp_path, day(20), "more/m.csv").parent))
    (log,) = logs_in(paths, FORM, joined=True)
    assert log.name == f"{paths[0]} + 2 more"
    assert [Path(part).name for part in log.parts] == ["z.csv", "a.csv", "m.csv"]
    assert len(read(log).times) == 9
    assert logs_in(paths[:2], FORM, joined=True)[0].name == f"{paths[0]} + 1 more"
    (one,) = logs_in([str(tmp_path)], FORM, joined=True)
    assert (one.name, len(one.parts)) == (str(tmp_path), 3)


def test_parts_may_differ_in_their_layout(tmp_path: Path) -> None:
    written(tmp_path, "time,voltage\n2024-06-05T00:00:00Z,230\n", "site/1.csv")
    written(tmp_path, "Spannung;x;Time\n231,5;1;2024-06-05 02:00:01+02:00\n", "site/2.csv")
    stamps = pa.array([1_717_545_602_000_000, 1_717_545_603_000_000]).cast(pa.timestamp("us", "UTC"))
    pq.write_table(pa.table({"t": stamps, "v": np.array([232, 233], np.float32)}), tmp_path / "site/3.parquet")
    (log,) = logs_in([str(tmp_path)], FORM)
    found = read(log)
    assert found.times == [1_717_545_600_000_000 + 1_000_000 * second for second in range(4)]
    assert found.volts == [230, 231.5, 232, 233]
    assert found.chunks == 2  # float32 stays float32
    assert log.made is None


def test_the_clock_of_the_first_part_is_that_of_all(tmp_path: Path) -> None:
    written(tmp_path, "time,v\n13/02/2024 00:00:00,230\n", "site/1.csv")
    written(tmp_path, "time,v\n05/03/2024 00:00:00,231\n06/03/2024 00:00:00,231\n", "site/2.csv")
    (log,) = logs_in([str(tmp_path)], FORM)
    assert [np.datetime64(time, "us").item().month for time in read(log).times] == [2, 3, 3]


def test_one_file_of_many_without_the_column_is_named_before_anything_is_read(tmp_path: Path) -> None:
    for number in range(40):
        written(tmp_path, day(10 * number) if number != 31 else "time,current\n1,2\n", f"site/{number}.csv")
    (log,) = logs_in([str(tmp_path)], LogForm(column="voltage"))
    said = f'{tmp_path}/site/31.csv: has no column "voltage" for the volts; accepted: its columns "time", "current"'
    for ask in (log.check, lambda: read(log)):
        with pytest.raises(LogError) as refused:
            ask()
        assert str(refused.value) == said


@pytest.mark.parametrize(
    ("paths", "message"),
    [
        ([], "logs: no path is given; accepted: files or folders of logs"),
        (
            ["none.csv"],
            "none.csv: there is no such file or folder; accepted: a CSV or Parquet file, or a folder of them",
        ),
        (["*.dat"], "*.dat: nothing there has such a name; accepted: files and folders of logs"),
        (["empty"], "empty: it has nothing in it; accepted: files that end in .csv, .txt, .tsv, .gz, .parquet, .pq"),
        (
            ["other"],
            'other: it has only ".b.csv", "a.png" in it; accepted: files that end in .csv, .txt, .tsv, .gz, ',
        ),
        (["a.csv", "a.csv"], "a.csv: it is named more than once; accepted: each file once"),
        (["site", "site/1.csv"], "site/1.csv: it is named more than once; accepted: each file once"),
        (["odd://bucket/x.csv"], "odd://bucket/x.csv: cannot be read: Protocol not known: odd"),
        (["memory://none/x.csv"], "memory://none/x.csv: there is no such file or folder; accepted: "),
        (["memory://none/*.csv"], "memory://none/*.csv: nothing there has such a name; accepted: "),
    ],
)
def test_nothing_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, paths: list[str], message: str) -> None:
    written(tmp_path, day(0), "a.csv")
    written(tmp_path, day(0), "site/1.csv")
    written(tmp_path, "", "other/a.png")
    written(tmp_path, "", "other/.b.csv")
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path)
    with pytest.raises(LogError) as refused:
        logs_in(paths, FORM)
    assert str(refused.value).startswith(message)


def test_patterns_that_no_shell_has_spelt_out(tmp_path: Path) -> None:
    for name in ("s10.csv", "s9.csv", "t.csv", "[x].csv"):
        written(tmp_path, day(0), name)
    assert names(logs_in([f"{tmp_path}/s*.csv"], FORM), tmp_path) == ["s9.csv", "s10.csv"]
    assert names(logs_in([f"{tmp_path}/[x].csv"], FORM), tmp_path) == ["[x].csv"]


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(*_: object) -> None:
        raise PermissionError(13, "Permission denied", "log.csv")

    (log,) = logs_in([str(written(tmp_path, day(0)))], FORM)
    monkeypatch.setattr(places, "open", denied, raising=False)
    with pytest.raises(LogError, match=r"log\.csv: cannot be read: .*Permission denied"):
        read(log)


def test_a_file_that_is_gone_once_it_is_read(tmp_path: Path) -> None:
    path = written(tmp_path, day(0))
    (log,) = logs_in([str(path)], FORM)
    path.unlink()
    for ask in (log.check, lambda: read(log), lambda: log.stands):
        with pytest.raises(LogError, match="there is no such file or folder"):
            ask()
    path.mkdir()
    with pytest.raises(LogError, match="it is a folder; accepted: a file"):
        read(log)


def test_a_store(store: fsspec.AbstractFileSystem, tmp_path: Path) -> None:
    store.pipe("/logs/site/2.csv", day(0).encode())
    store.pipe("/logs/site/10.csv", day(10).encode())
    pq.write_table(pa.table({"time": [20, 21], "v": [230.5, 231.5]}), tmp_path / "x.parquet")
    store.pipe("/logs/a.parquet", (tmp_path / "x.parquet").read_bytes())
    store.pipe("/logs/b.csv.gz", (tmp_path / "x.parquet").read_bytes())
    logs = logs_in(["memory://logs"], FORM)
    assert [log.name for log in logs] == ["memory://logs/a.parquet", "memory://logs/b.csv.gz", "memory://logs/site"]
    assert [len(read(log).times) for log in logs] == [2, 2, 6]
    assert [log.name for log in logs_in(["memory://logs/site/*.csv"], FORM)] == [
        "memory:///logs/site/2.csv",
        "memory:///logs/site/10.csv",
    ]
    (log,) = logs_in(["memory://logs/site/2.csv"], FORM)
    before = log.stands
    assert (before[0].path, before[0].bytes) == ("memory://logs/site/2.csv", len(day(0)))
    store.rm("/logs/site/2.csv")
    store.pipe("/logs/site/2.csv", day(0).encode())
    assert log.stands != before


def test_without_fsspec_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fsspec.core", None)
    with pytest.raises(LogError) as refused:
        logs_in(["memory://logs"], FORM)
    assert str(refused.value) == "memory://logs: a log in a store needs fsspec: pip install 'tapplan[logs]'"


def test_a_log_can_be_sent_to_a_worker_also_while_it_is_read(tmp_path: Path) -> None:
    (log,) = logs_in([str(written(tmp_path, day(0, 1000)))], LogForm(zone="Europe/Paris"))
    log.portions = Portions(characters=100, samples=5)
    chunks = log.chunks()
    next(chunks)
    assert log.read_bytes > 0
    other = pickle.loads(pickle.dumps(log))  # noqa: S301 - our own
    assert other == log
    assert read(other).times == read(log).times


def test_a_log_is_read_anew_each_time(tmp_path: Path) -> None:
    (log,) = logs_in([str(written(tmp_path, day(0)))], FORM)
    assert read(log) == read(log)


def test_how_far_a_log_is_read(tmp_path: Path) -> None:
    paths = [str(written(tmp_path, day(10_000 * part, 10_000), f"{part}.csv")) for part in range(3)]
    (log,) = logs_in(paths, FORM, joined=True)
    log.portions = Portions(characters=1 << 14, samples=1000)
    whole = sum(stand.bytes for stand in log.stands)
    seen = [log.read_bytes for _ in log.chunks()]
    assert seen == sorted(seen)
    assert 0 < seen[0] < whole / 2
    assert seen[-1] == log.read_bytes == whole


def test_how_the_files_lie_there(tmp_path: Path) -> None:
    path = written(tmp_path, day(0))
    (log,) = logs_in([str(path)], FORM)
    before = log.stands
    assert (before[0].path, before[0].bytes) == (str(path), path.stat().st_size)
    os.utime(path, ns=(1, 1))
    assert log.stands[0].changed == "1" != before[0].changed


def test_reading_is_stopped_without_a_trace(tmp_path: Path) -> None:
    (log,) = logs_in([str(written(tmp_path, day(0, 5000)))], FORM)
    log.portions = Portions(characters=100, samples=5)
    chunks = log.chunks()
    next(chunks)
    del chunks  # an open file would be a ResourceWarning, and so an error here


def test_shares_are_the_log_in_order_and_know_what_its_times_mean(tmp_path: Path) -> None:
    """The first part shows that days come first; 05/03 in the second would be asked about alone."""
    (tmp_path / "a.csv").write_text("time,volts\n25/02/2024 00:00,230\n25/02/2024 00:01,231\n")
    (tmp_path / "b.csv").write_text("time,volts\n05/03/2024 00:00,232\n")
    (tmp_path / "c.csv").write_text("time,volts\n06/03/2024 00:00,233\n")
    (log,) = logs_in([str(tmp_path / name) for name in ("a.csv", "b.csv", "c.csv")], LogForm(), joined=True)
    assert log.shares(1) == ()
    shares = log.shares(2)
    assert [len(share.parts) for share in shares] == [1, 2]
    whole = np.concatenate([chunk.times for chunk in log.chunks()])
    apart = np.concatenate([chunk.times for share in shares for chunk in share.chunks()])
    assert apart.tolist() == whole.tolist()
    assert replace(log, form=LogForm(zone="Europe/Paris")).shares(2) == ()


def test_a_parquet_file_is_shared_at_its_row_groups_and_rows_keep_their_numbers(tmp_path: Path) -> None:
    times = (np.arange(10) * 1_000_000).astype("datetime64[us]")
    volts = [230.0 + number if number != 7 else None for number in range(10)]
    table = pa.table({"time": times, "volts": volts})
    pq.write_table(table, tmp_path / "a.parquet", row_group_size=3)
    (log,) = logs_in([str(tmp_path / "a.parquet")], LogForm())
    shares = log.shares(3)
    assert [share.groups for share in shares] == [range(1), range(1, 2), range(2, 4)]
    chunked = [list(share.chunks()) for share in shares]
    assert [reading for chunks in chunked for chunk in chunks for reading in chunk.readings.tolist()] == [
        one for one in volts if one is not None
    ]
    (bad,) = [row for chunks in chunked for chunk in chunks for row in chunk.bad.told]
    assert bad.row == 8
    assert log.shares(20)[-1].groups == range(3, 4)
