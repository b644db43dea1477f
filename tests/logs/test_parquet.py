"""Parquet logs of every type, held against pyarrow's own table and against exact arithmetic."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.errors import LogError
from tapplan.logs.form import LogForm
from tapplan.logs.samples import BadRow, RowFault
from tapplan.logs.sources import FileLog, Portions, logs_in
from tests.logs.reading import read, us

START = us("2024-06-05T00:00:00")


def log_of(folder: Path, columns: dict[str, Any], made: str | None = None, **form: Any) -> FileLog:
    path = folder / "log.parquet"
    table = pa.table(columns)
    pq.write_table(table.replace_schema_metadata({"made": made}) if made else table, path, row_group_size=700)
    (log,) = logs_in([str(path)], LogForm(**form))
    return log


def times(count: int, kind: Any = None) -> Any:
    stamps = pa.array(START + 1_000_000 * np.arange(count), pa.int64()).cast(pa.timestamp("us"))
    return stamps.cast(kind or pa.timestamp("us", "UTC"))


def test_the_same_as_pyarrow(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    volts = rng.normal(230, 3, 10_000).astype(np.float32)
    log = log_of(tmp_path, {"current": volts, "time": times(10_000), "voltage": volts})
    theirs = pq.read_table(log.parts[0])
    for samples in (1 << 20, 3000, 1):
        found = read(log, Portions(samples=samples))
        assert found.times == theirs["time"].cast(pa.int64()).to_pylist()
        assert found.volts == theirs["voltage"].to_pylist()
        assert found.bad.count == 0
        assert found.chunks == -(-10_000 // samples)


@pytest.mark.parametrize("dtype", ["f4", "f8", "i1", "u1", "i2", "u2", "i4", "u4", "i8", "u8"])
def test_numbers_stay_as_they_are_stored(tmp_path: Path, dtype: str) -> None:
    stored = np.array([0, 100, 120], dtype)
    (chunk,) = log_of(tmp_path, {"time": times(3), "v": stored}).chunks()
    assert chunk.readings.dtype == np.dtype(dtype)
    assert chunk.readings.tolist() == [0, 100, 120]
    assert not chunk.readings.flags.owndata


@pytest.mark.parametrize("steps", [[5, 5, 5], [1, 2, 70_000_000], [1, 0, 1], [1, -1, 9]])
@pytest.mark.parametrize("samples", [1, 2, 3, 1 << 20])
def test_what_reading_has_shown_of_the_times_is_so(tmp_path: Path, steps: list[int], samples: int) -> None:
    stamps = START + np.cumsum([0, *steps * 3])
    table = {"time": pa.array(stamps, pa.timestamp("us", "UTC")), "v": np.full(10, 230.0)}
    log = replace(log_of(tmp_path, table), portions=Portions(samples=samples))
    for chunk in log.chunks():
        if chunk.spacing is not None:
            apart = np.diff(chunk.times)
            assert (chunk.spacing.least, chunk.spacing.most) == (apart.min(), apart.max())
    if samples > 3:
        (chunk,) = log.chunks()
        assert (chunk.spacing is None) is (min(steps) <= 0)


def test_times_that_go_round_the_end_of_their_numbers_are_no_times(tmp_path: Path) -> None:
    """Thirty-two steps of 2^59 come to where they began, and each seems to lead on."""
    stamps = (np.arange(65, dtype=np.uint64) * np.uint64(2**59)).view(np.int64)[:33]
    found = read(log_of(tmp_path, {"time": pa.array(stamps, pa.timestamp("us", "UTC")), "v": np.full(33, 230.0)}))
    assert found.times == [0]
    assert found.bad.counts == {RowFault.NO_TIME: 31, RowFault.SAME_TIME: 1}


def test_half_floats_become_floats(tmp_path: Path) -> None:
    (chunk,) = log_of(tmp_path, {"time": times(2), "v": np.array([230.25, 0.5], np.float16)}).chunks()
    assert (chunk.readings.dtype, chunk.readings.tolist()) == (np.float32, [230.25, 0.5])


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("zone", ["UTC", "Europe/Paris", "+05:30", None])
def test_timestamps_of_every_unit_and_zone(tmp_path: Path, unit: str, zone: str | None) -> None:
    kind = pa.timestamp(unit, zone)
    columns = {"time": pa.array([0, 7], pa.int64()).cast(kind), "v": [1.5, 2.5]}
    per = {"s": 10**6, "ms": 1000, "us": 1, "ns": 0}[unit]
    if unit == "ns":
        columns["time"] = pa.array([1001, 2999], pa.int64()).cast(kind)
        assert read(log_of(tmp_path, columns)).times == [1, 2]
    else:
        assert read(log_of(tmp_path, columns)).times == [0, 7 * per]
    (log,) = logs_in([log_of(tmp_path, columns).name], LogForm(zone="Asia/Kolkata"))
    assert (read(log).times[0] < 0) is (zone is None)


def test_nanoseconds_before_1970_are_cut_downwards(tmp_path: Path) -> None:
    stamps = pa.array([-1, 1], pa.int64()).cast(pa.timestamp("ns"))
    assert read(log_of(tmp_path, {"time": stamps, "v": [1.5, 2.5]})).times == [-1, 0]


@pytest.mark.parametrize(
    ("stored", "meant"),
    [
        (pa.array([date(2024, 6, 5), date(2024, 6, 6)], pa.date32()), [START, START + 86_400 * 10**6]),
        (pa.array([date(2024, 6, 5), date(2024, 6, 6)], pa.date64()), [START, START + 86_400 * 10**6]),
        (pa.array(["2024-06-05T00:00:00Z", "2024-06-05 02:00:01+02:00"]), [START, START + 10**6]),
        (pa.array(["2024-06-05", "2024-06-06"], pa.large_string()), [START, START + 86_400 * 10**6]),
        (pa.array(["2024-06-05", "2024-06-06"]).dictionary_encode(), [START, START + 86_400 * 10**6]),
        (pa.array([1_717_545_600, 1_717_545_601]), [START, START + 10**6]),
        (pa.array([1_717_545_600, 1_717_545_601], pa.uint32()), [START, START + 10**6]),
        (pa.array([1_717_545_600_000, 1_717_545_600_001]), [START, START + 1000]),
        (pa.array([1_717_545_600_000_000_001, 1_717_545_600_000_001_999]), [START, START + 1]),
        (pa.array([1_717_545_600.1, 1_717_545_600.25]), [START + 100_000, START + 250_000]),
        (pa.array([Decimal("1717545600.1"), Decimal("1717545600.2")]), [START + 100_000, START + 200_000]),
        (pa.array([0, 5], pa.int16()), [0, 5 * 10**6]),
    ],
)
def test_times_of_other_types(tmp_path: Path, stored: Any, meant: list[int]) -> None:
    assert read(log_of(tmp_path, {"time": stored, "v": [1.5, 2.5]})).times == meant


def test_the_unit_of_plain_numbers_can_be_said(tmp_path: Path) -> None:
    assert read(log_of(tmp_path, {"time": [5, 6], "v": [1.5, 2.5]}, epoch="ms")).times == [5000, 6000]
    assert read(log_of(tmp_path, {"time_us": [5, 6], "v": [1.5, 2.5]})).times == [5, 6]
    assert read(log_of(tmp_path, {"time": [0.5, 1.5], "v": [1.5, 2.5]}, epoch="ms")).times == [500, 1500]


def test_plain_numbers_know_their_zone(tmp_path: Path) -> None:
    for stored in ([5, 6], [5.0, 6.0]):
        found = read(log_of(tmp_path, {"time": stored, "v": [1.5, 2.5]}, zone="Asia/Kolkata"))
        assert found.times == [5 * 10**6, 6 * 10**6]


def test_a_log_with_a_step(tmp_path: Path) -> None:
    found = read(log_of(tmp_path, {"v": [230.0, None, 231.0]}, step_us=200), Portions(samples=2))
    assert (found.times, found.faults) == ([0, 400], {2: RowFault.NO_NUMBER})


@given(st.lists(st.decimals(0, 10**8, allow_nan=False, places=10), min_size=1, max_size=30))
def test_decimals_become_the_nearest_floats(tmp_path_factory: pytest.TempPathFactory, volts: list[Decimal]) -> None:
    folder = tmp_path_factory.mktemp("decimals")
    for kind in (pa.decimal128(38, 10), pa.decimal256(50, 10)):
        found = read(log_of(folder, {"time": times(len(volts)), "v": pa.array(volts, kind)}))
        assert found.volts == [float(Fraction(one)) for one in volts]


def test_decimals_of_either_sign_and_of_any_size(tmp_path: Path) -> None:
    volts = [
        Decimal("-1.5"),
        Decimal("230.1"),
        None,
        Decimal("90071992547409.93"),
        Decimal("0.3"),
        Decimal("12345678901234567.8"),
        Decimal(2**64 + 5) / 1000,
    ]
    found = read(
        log_of(tmp_path, {"time": times(7), "v": pa.array(volts, pa.decimal128(30, 3))}, scale=Fraction(1, 10**8))
    )
    assert found.volts == [230.1, 90071992547409.93, 0.3, 12345678901234567.8, (2**64 + 5) / 1000]
    assert found.faults == {1: RowFault.NEGATIVE, 3: RowFault.NO_NUMBER}


def test_texts_as_volts(tmp_path: Path) -> None:
    cells = ["230.1", "230.2 V", "5 A", "off", None, "231\0"]
    found = read(log_of(tmp_path, {"time": times(6), "v": cells}))
    assert found.volts == [230.1, 230.2]
    assert found.faults == {
        3: RowFault.OTHER_UNIT,
        4: RowFault.NO_NUMBER,
        5: RowFault.NO_NUMBER,
        6: RowFault.NO_NUMBER,
    }
    assert read(log_of(tmp_path, {"time": times(1), "v": ["230,1"]}, decimal=",")).volts == [230.1]


def test_rows_that_are_none_are_told(tmp_path: Path) -> None:
    stamps = pa.array([10, None, 12, 13, 14, 13, 14, 15], pa.int64()).cast(pa.timestamp("s", "UTC"))
    volts = pa.array([230.0, 230.0, None, float("nan"), 231.0, 232.0, -1.0, 2e9], pa.float32())
    log = log_of(tmp_path, {"time": stamps, "voltage": volts})
    file = log.name
    for samples in (100, 3, 1):
        found = read(log, Portions(samples=samples))
        assert found.bad.told == (
            BadRow(file, 2, RowFault.NO_TIME, "null"),
            BadRow(file, 3, RowFault.NO_NUMBER, "null"),
            BadRow(file, 4, RowFault.NOT_FINITE, "nan"),
            BadRow(file, 6, RowFault.BACKWARDS, "1970-01-01T00:00:13.000000Z"),
            BadRow(file, 7, RowFault.NEGATIVE, "-1.0"),
            BadRow(file, 8, RowFault.TOO_HIGH, "2000000000.0"),
        )
        assert (found.times, found.volts) == ([10 * 10**6, 14 * 10**6], [230.0, 231.0])


def test_times_outside_the_years_are_bad_rows(tmp_path: Path) -> None:
    stamps = pa.array([-(2**62), 5, 2**62], pa.int64()).cast(pa.timestamp("ms"))
    found = read(log_of(tmp_path, {"time": stamps, "v": [1.5, 1.5, 1.5]}))
    assert found.times == [5000]
    assert found.bad.told[1].found == f"{2**62} timestamp[ms]"
    numbers = read(log_of(tmp_path, {"time": pa.array([5, 2**63 + 1], pa.uint64()), "v": [1.5, 1.5]}))
    assert (numbers.times, numbers.faults) == ([5 * 10**6], {2: RowFault.NO_TIME})
    floats = read(log_of(tmp_path, {"time": [5.0, float("nan"), 1e300], "v": [1.5, 1.5, 1.5]}))
    assert (floats.times, floats.faults) == ([5 * 10**6], {2: RowFault.NO_TIME, 3: RowFault.NO_TIME})


def test_wall_clock_times_with_a_zone(tmp_path: Path) -> None:
    stamps = pa.array([us(f"2024-03-31T{one}") for one in ("01:59", "02:30", "03:00")]).cast(pa.timestamp("us"))
    found = read(log_of(tmp_path, {"time": stamps, "v": [1.5, 1.5, 1.5]}, zone="Europe/Paris"))
    assert found.times == [us("2024-03-31T00:59"), us("2024-03-31T01:00")]
    assert found.bad.told[0].found == "2024-03-31T02:30:00.000000"


def test_what_it_says_of_its_making(tmp_path: Path) -> None:
    assert log_of(tmp_path, {"time": times(1), "v": [1.5]}, made="of wool").made == "of wool"
    assert log_of(tmp_path, {"time": times(1), "v": [1.5]}).made is None


def test_names_with_a_point_and_the_only_column_of_timestamps(tmp_path: Path) -> None:
    log = log_of(tmp_path, {"index": times(2), "V.rms": [1.5, 2.5], "note": ["a", "b"]})
    assert read(log).volts == [1.5, 2.5]


def refused(log: FileLog) -> str:
    with pytest.raises(LogError) as error:
        list(log.chunks())
    assert "\n" not in str(error.value)
    return str(error.value).removeprefix(log.name)


def test_columns_that_cannot_be_meant(tmp_path: Path) -> None:
    assert refused(log_of(tmp_path, {"time": times(1), "v": [True]})) == (
        ': column "v" holds bool; accepted: whole numbers, floating numbers, decimal numbers, texts'
    )
    assert refused(log_of(tmp_path, {"time": [[1]], "v": [1.5]})).startswith(
        ': column "time" holds list<element: int64>;'
    )
    assert refused(log_of(tmp_path, {"time": times(1), "voltage": [1.5]}, column="volt")) == (
        ': has no column "volt" for the volts (nearest known: "voltage"); accepted: its columns "time", "voltage"'
    )
    assert refused(log_of(tmp_path, {"a": ["x"], "b": ["y"], "v": [1.5]}, time="a+b")).startswith(
        ": times in several"
    )
    assert refused(log_of(tmp_path, {"time": ["x"], "v": [1.5]})).startswith(
        ': found no time in the first 1 rows, but "x"'
    )
    empty = {"time": pa.array([], pa.timestamp("s")), "v": pa.array([], pa.float64())}
    assert refused(log_of(tmp_path, empty)) == ": it has 0 rows of 2 columns; accepted: rows with times and volts"
    nulls = {"time": pa.array([None], pa.timestamp("s")), "v": [1.5]}
    assert "none of its 1 rows is a sample: " in refused(log_of(tmp_path, nulls))


def test_two_columns_of_one_name(tmp_path: Path) -> None:
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table([times(1), [1.5], [2.5]], names=["time", "v", "v"]), path)
    (log,) = logs_in([str(path)], LogForm(column="2"))
    assert refused(log) == ': two columns are called "v"; accepted: one of this name'


def test_a_file_that_ends_too_soon_or_is_none(tmp_path: Path) -> None:
    log = log_of(tmp_path, {"time": times(5000), "v": np.arange(5000.0)})
    whole = Path(log.name).read_bytes()
    for count in (4, 100, len(whole) // 2, len(whole) - 1):
        Path(log.name).write_bytes(whole[:count])
        assert refused(log).startswith(": cannot be read: ")
    for content in (b"", b"time,v\n1,2\n"):
        Path(log.name).write_bytes(content)
        assert refused(log) == ": it does not begin as a Parquet file does; accepted: Parquet under this name"


@given(st.data())
def test_a_damaged_file_is_an_error_or_still_a_log(
    tmp_path_factory: pytest.TempPathFactory, draw: st.DataObject
) -> None:
    log = log_of(tmp_path_factory.mktemp("damage"), {"time": times(50), "v": np.arange(50.0)})
    content = bytearray(Path(log.name).read_bytes())
    content[draw.draw(st.integers(4, len(content) - 1))] = draw.draw(st.integers(0, 255))
    Path(log.name).write_bytes(bytes(content))
    try:
        read(log)
    except LogError as error:
        assert "\n" not in str(error)


def test_a_page_with_another_checksum_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "log.parquet"
    table = pa.table({"time": times(50), "v": np.arange(50.0)})
    pq.write_table(table, path, write_page_checksum=True, compression="none", use_dictionary=False)
    content = path.read_bytes()
    number = np.float64(37.0).tobytes()
    assert content.count(number) == 1
    path.write_bytes(content.replace(number, np.float64(38.0).tobytes()))
    (log,) = logs_in([str(path)], LogForm())
    assert refused(log).startswith(": cannot be read: ")


def test_without_pyarrow_it_is_said_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = log_of(tmp_path, {"time": times(1), "v": [1.5]})
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert refused(log) == ": a log in Parquet needs pyarrow: pip install 'tapplan[logs]'"


def test_how_far_it_is_read(tmp_path: Path) -> None:
    log = log_of(tmp_path, {"time": times(5000), "v": np.arange(5000.0)})
    log.portions = Portions(samples=1000)
    seen = [log.read_bytes for _ in log.chunks()]
    assert seen == [sum(stand.bytes for stand in log.stands) * fifth // 5 for fifth in range(1, 6)]
