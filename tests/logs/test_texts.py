"""Whole CSV logs: written by Python's csv module, read back, and held against pandas."""

from __future__ import annotations

import csv
import gzip
import io
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.errors import LogError
from tapplan.logs.samples import BadRow, RowFault
from tapplan.logs.sources import Portions
from tests.logs.reading import Read, log_of, read, read_text, us, written

STEP_US = 1_000_000
START = us("2024-06-05T00:00:00")


@dataclass(frozen=True)
class Way:
    """A way of writing times: how, and what has to be said to read them."""

    name: str
    form: dict[str, Any]

    def cell(self, time: int) -> str:
        at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=time)
        match self.name:
            case "iso":
                return at.isoformat().replace("+00:00", "Z")
            case "offset":
                return at.astimezone(None).isoformat()
            case "plain":
                return at.replace(tzinfo=None).isoformat(" ", "milliseconds")
            case "day first":
                return f"{at:%d/%m/%Y %H:%M:%S.%f}"
            case "seconds":
                return f"{time // 10**6}.{time % 10**6:06}"
            case _:
                return str(time // 1000)


WAYS = [
    Way("iso", {}),
    Way("offset", {}),
    Way("plain", {}),
    Way("day first", {"dates": "day-first"}),
    Way("seconds", {}),
    Way("milliseconds", {}),
]
BAD_VOLTS = {
    "": RowFault.NO_NUMBER,
    "null": RowFault.NO_NUMBER,
    "off": RowFault.NO_NUMBER,
    "nan": RowFault.NOT_FINITE,
    "-1": RowFault.NEGATIVE,
    "2e9": RowFault.TOO_HIGH,
    "5 A": RowFault.OTHER_UNIT,
}
BAD_TIMES = ["", "later", "2024-06-31T00:00:00", "99/99/2024", "1e99"]


@dataclass(frozen=True)
class Drawn:
    """A table as a logger could have written it, and what is to come out."""

    content: str
    form: dict[str, Any]
    times: list[int]
    volts: list[float]
    faults: dict[int, RowFault]


@st.composite
def tables(draw: st.DrawFn) -> Drawn:
    way, mark = draw(st.sampled_from(WAYS)), draw(st.sampled_from([",", ";", "\t", "|"]))
    end, comma = draw(st.sampled_from(["\n", "\r\n", "\r"])), draw(st.booleans())
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    rows = draw(
        st.lists(st.sampled_from(["good"] * 8 + ["volts", "time", "same", "back", "short", "blank"]), max_size=25)
    )
    file = io.StringIO()
    writer = csv.writer(file, delimiter=mark, quoting=quoting, lineterminator=end)
    writer.writerow(["note", "time", "voltage"])
    times: list[int] = []
    volts: list[float] = []
    faults: dict[int, RowFault] = {}
    for line, kind in enumerate(["good", *rows], 2):
        time = times[-1] + STEP_US // 1000 * draw(st.integers(1, 5000)) if times else START
        number = draw(st.integers(1, 400_000)) / 1000
        cells = ["a b", way.cell(time), str(number).replace(".", ",") if comma else str(number)]
        if kind == "blank":
            file.write(end)
            continue
        if kind == "good":
            times.append(time)
            volts.append(number)
        elif kind == "volts":
            cells[2], faults[line] = draw(st.sampled_from(sorted(BAD_VOLTS.items())))
        elif kind == "time":
            cells[1], faults[line] = draw(st.sampled_from(BAD_TIMES)), RowFault.NO_TIME
        elif kind == "same":
            cells[1], faults[line] = way.cell(times[-1]), RowFault.SAME_TIME
        elif kind == "back":
            cells[1], faults[line] = way.cell(times[-1] - STEP_US), RowFault.BACKWARDS
        else:
            cells, faults[line] = cells[:2], RowFault.NO_NUMBER
        writer.writerow(cells)
    form = way.form | {"delimiter": mark, "decimal": "," if comma else "."}
    return Drawn(file.getvalue(), form, times, volts, faults)


def result(drawn: Drawn, folder: Path, portions: Portions) -> Read:
    log = log_of(folder, drawn.content, **drawn.form)
    log.portions = portions
    return read(log)


@given(tables(), st.integers(1, 300), st.integers(1, 12))
def test_what_a_logger_wrote_is_read_whatever_the_blocks(
    tmp_path_factory: pytest.TempPathFactory, drawn: Drawn, characters: int, samples: int
) -> None:
    folder = tmp_path_factory.mktemp("log")
    if 2 * sum(fault is RowFault.BACKWARDS for fault in drawn.faults.values()) > len(drawn.times) + len(drawn.faults):
        with pytest.raises(LogError, match="rows lie before the last good one"):
            result(drawn, folder, Portions())
        return
    whole = result(drawn, folder, Portions())
    assert (whole.times, whole.volts, whole.faults) == (drawn.times, drawn.volts, drawn.faults)
    assert whole.chunks == 1
    parts = result(drawn, folder, Portions(characters, samples))
    assert (parts.times, parts.volts, parts.bad) == (whole.times, whole.volts, whole.bad)
    assert parts.chunks >= len(whole.times) // (samples + characters)


def test_the_tables_drawn_have_every_fault() -> None:
    seen: set[RowFault] = set()

    @settings(max_examples=400)
    @given(tables())
    def draw(drawn: Drawn) -> None:
        seen.update(drawn.faults.values())

    draw()
    assert seen == set(RowFault)


@pytest.mark.parametrize("packed", [False, True])
def test_the_same_as_pandas(tmp_path: Path, packed: bool) -> None:
    pandas = pytest.importorskip("pandas")
    rng = np.random.default_rng(5)
    count = 30_000
    times = np.datetime64("2024-03-01T00:00:00.000", "us") + np.cumsum(rng.integers(1, 5000, count)) * np.timedelta64(
        1, "ms"
    )
    frame = pandas.DataFrame(
        {"time": times, "current": rng.normal(5, 1, count), "voltage": rng.normal(230, 3, count)}
    )
    content = frame.to_csv(index=False).encode()
    path = written(tmp_path, gzip.compress(content) if packed else content, "log.csv.gz" if packed else "log.csv")
    theirs = pandas.read_csv(path, parse_dates=["time"], float_precision="round_trip")
    found = read(log_of(tmp_path, path.read_bytes(), path.name), Portions(samples=7000))
    assert found.times == theirs["time"].to_numpy().astype("datetime64[us]").astype(np.int64).tolist()
    assert found.volts == theirs["voltage"].tolist() == frame["voltage"].tolist()
    assert found.bad.count == 0
    assert found.chunks > 3


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    content = "Zeit;Spannung (V);°C\n2024-06-05 00:00:00;230,1;21\n2024-06-05 00:00:01;230,2;é\n"
    assert read_text(tmp_path, content.encode(encoding)).volts == [230.1, 230.2]


def test_rows_that_are_none_are_told_with_line_and_text(tmp_path: Path) -> None:
    long = "x" * 200_000
    content = (
        "# logger 7\ntime,voltage\n2024-06-05T00:00:00Z,230.1\n\nlater,230\n2024-06-05T00:00:02Z,\n"
        f"2024-06-05T00:00:03Z,{long}\n2024-06-05T00:00:04Z\n2024-06-05T00:00:05Z,23\x1b[31m\n2024-06-05T00:00:06Z,\0\n"
        '2024-06-05T00:00:07Z,"231\n2024-06-05T00:00:08Z,232\n2024-06-05T00:00:08Z,233\n2024-06-05T00:00:01Z,234\n'
        "time,voltage\n2024-06-05T00:00:09,235\n"
    )
    log = log_of(tmp_path, content)
    told = read(log).bad.told
    file = log.parts[0]
    assert told == (
        BadRow(file, 5, RowFault.NO_TIME, "later"),
        BadRow(file, 6, RowFault.NO_NUMBER, ""),
        BadRow(file, 7, RowFault.NO_NUMBER, "x" * 37 + "..."),
        BadRow(file, 8, RowFault.NO_NUMBER, "2024-06-05T00:00:04Z"),
        BadRow(file, 9, RowFault.NO_NUMBER, "23\\x1b[31m"),
        BadRow(file, 10, RowFault.NO_NUMBER, "2024-06-05T00:00:06Z,\\x00"),
        BadRow(file, 11, RowFault.NO_NUMBER, '2024-06-05T00:00:07Z,"231'),
        BadRow(file, 13, RowFault.SAME_TIME, "2024-06-05T00:00:08Z"),
        BadRow(file, 14, RowFault.BACKWARDS, "2024-06-05T00:00:01Z"),
        BadRow(file, 15, RowFault.NO_TIME, "time"),
        BadRow(file, 16, RowFault.NO_TIME, "2024-06-05T00:00:09"),
    )
    assert read(log).volts == [230.1, 232]


@pytest.mark.parametrize(
    ("form", "cells", "volts"),
    [
        ({}, ["230.1 V", "230.2 V", "0.23 kV"], [230.1, 230.2]),
        ({"unit": "kV"}, ["0.2301", "0.2302 kV", "230 V"], [0.2301, 0.2302]),
        ({"unit": "mV"}, ["230100", "230200 mV", "1 V"], [230100, 230200]),
    ],
)
def test_units_in_cells(tmp_path: Path, form: dict[str, Any], cells: list[str], volts: list[float]) -> None:
    content = "time,voltage\n" + "".join(f"{place},{cell}\n" for place, cell in enumerate(cells))
    found = read_text(tmp_path, content, **form)
    assert found.volts == volts
    assert found.faults == {4: RowFault.OTHER_UNIT}


def test_times_on_a_wall_clock_stay_as_written_without_a_zone(tmp_path: Path) -> None:
    content = "time,v\n2024-03-31 02:30:00,230\n2024-07-01 00:00:00,231\n"
    assert read_text(tmp_path, content).times == [us("2024-03-31T02:30:00"), us("2024-07-01T00:00:00")]
    zoned = read_text(tmp_path, content, zone="Europe/Paris")
    assert zoned.times == [us("2024-06-30T22:00:00")]
    assert zoned.bad.told[0].found == "2024-03-31 02:30:00"
    assert zoned.faults == {2: RowFault.NO_TIME}


def test_a_zone_changes_no_time_that_tells_its_own(tmp_path: Path) -> None:
    for content in ("time,v\n2024-07-01T00:00:00Z,230\n", "time,v\n1719792000,230\n"):
        assert read_text(tmp_path, content, zone="Europe/Paris").times == [us("2024-07-01T00:00:00")]


def test_day_and_hour_in_two_columns(tmp_path: Path) -> None:
    content = "Date;Time;Global_active_power;Voltage\n16/12/2006;17:24:00;4.216;234.840\n16/12/2006;17:25:00;?;?\n"
    found = read_text(tmp_path, content + "16/12/2006;17:26:00;5.360;233.630\n")
    assert found.times == [us("2006-12-16T17:24:00"), us("2006-12-16T17:26:00")]
    assert found.volts == [234.84, 233.63]
    assert found.faults == {3: RowFault.NO_NUMBER}


def test_numbers_of_seconds_with_a_decimal_comma(tmp_path: Path) -> None:
    found = read_text(tmp_path, "unix_ts;v\n1717545600,25;230,1\n1717545601;231\n1717545602.5;232\n")
    assert found.times == [START + 250_000, START + STEP_US, START + 2_500_000]


def test_no_times_but_a_step(tmp_path: Path) -> None:
    content = "voltage\n230\noff\n\n231\n"
    assert read_text(tmp_path, content, step_us=200).times == [0, 400]
    assert read_text(tmp_path, "voltage,time\n230,x\n231,y\n", step_us=200).times == [0, 200]


def test_no_sample_at_all_is_an_error_with_the_first_rows(tmp_path: Path) -> None:
    log = log_of(tmp_path, "time,voltage\n1,off\n2,0.23 kV\n3,-5\n4,nan\n")
    with pytest.raises(LogError) as refused:
        read(log)
    assert str(refused.value) == (
        f'{log.name}: none of its 4 rows is a sample: {log.name}:2 has "off", no number; '
        f'{log.name}:3 has "0.23 kV", another unit; {log.name}:4 has "-5", below 0 V; accepted: a time and volts each'
    )


def test_a_gzip_file_that_ends_too_soon_is_an_error(tmp_path: Path) -> None:
    packed = gzip.compress(b"time,voltage\n" + b"".join(b"%d,230.1\n" % second for second in range(200_000)))
    log = log_of(tmp_path, packed[:-5000], "log.csv.gz")
    with pytest.raises(LogError, match="its gzip data are damaged or end too soon, somewhere after line"):
        read(log)


@given(st.binary(max_size=300))
def test_whatever_a_file_holds_it_is_a_log_or_one_clear_error(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    try:
        read_text(tmp_path_factory.mktemp("any"), content)
    except LogError as error:
        assert "\n" not in str(error)


@given(st.lists(st.text("0123456789.,;\"'-+:TZ eE\0Vk\t", max_size=30), max_size=12))
def test_whatever_lines_follow_a_heading_it_is_a_log_or_one_clear_error(
    tmp_path_factory: pytest.TempPathFactory, lines: list[str]
) -> None:
    try:
        read_text(tmp_path_factory.mktemp("any"), "\n".join(["time,voltage", "1,230", *lines]))
    except LogError as error:
        assert "\n" not in str(error)
