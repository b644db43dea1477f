"""Which columns are meant: by name, by what they look like, or asked for."""

from __future__ import annotations

from typing import Any

import pytest

from tapplan.errors import LogError
from tapplan.logs.choice import LogColumn, Look, chosen, epoch_named
from tapplan.logs.form import LogForm

STAMP, NUMBER, OTHER = Look.STAMP, Look.NUMBER, Look.OTHER


def columns(*names: str, looks: tuple[Look, ...] = ()) -> list[LogColumn]:
    return [LogColumn(name, looks[place] if looks else NUMBER) for place, name in enumerate(names)]


def picked(listed: list[LogColumn], **form: Any) -> list[object]:
    found = chosen(listed, LogForm(**form), "f.csv")
    return [list(found.times), found.volts]


def refused(listed: list[LogColumn], **form: Any) -> str:
    with pytest.raises(LogError) as error:
        picked(listed, **form)
    return str(error.value)


@pytest.mark.parametrize(
    ("names", "times", "volts"),
    [
        (["time", "voltage"], [0], 1),
        (["Voltage", "Timestamp"], [1], 0),
        (["unix_ts", "V", "I", "f", "DPF", "APF", "P", "Pt", "Q", "Qt", "S", "St"], [0], 1),
        (["Date", "Time", "Global_active_power", "Voltage", "Global_intensity"], [0, 1], 3),
        (["Time", "Date", "U"], [1, 0], 2),
        (["time", "temperature", "u_l1"], [0], 2),
        (["date time", "Urms [V]", "I [A]"], [0], 1),
        (["t", "v"], [0], 1),
        (["t (s)", "x"], [0], 1),
        (["ts", "mains_voltage_v", "current_a", "power_va"], [0], 1),
        (["DateTime UTC", "L1-N (V)", "Current (A)"], [0], 1),
        (["time", "reading"], [0], 1),
        (["utc", "MainsVoltage", "T"], [0], 1),
        (["epoch", "Spannung", "Strom"], [0], 1),
    ],
)
def test_names_that_say_what_they_are(names: list[str], times: list[int], volts: int) -> None:
    assert picked(columns(*names)) == [times, volts]


def test_columns_by_name_by_number_and_joined() -> None:
    listed = columns("Day", "Hour", "a", "A", "b+c", "2")
    assert picked(listed, time="Day+Hour", column="a") == [[0, 1], 2]
    assert picked(listed, time="day + hour", column="A") == [[0, 1], 3]
    assert picked(listed, time="b+c", column="1") == [[4], 0]
    assert picked(listed, time="B+C", column="2") == [[4], 5]
    assert picked(listed, time="1+3", column="4") == [[0, 2], 3]


def test_a_name_goes_before_capitals_and_capitals_before_numbers() -> None:
    assert picked(columns("time", "V", "v"), column="v") == [[0], 2]
    assert picked(columns("time", "x", "1"), column="1") == [[0], 2]


def test_a_log_with_a_step_needs_no_times() -> None:
    assert picked(columns("voltage"), step_us=5) == [[], 0]
    assert picked(columns("time", "voltage"), step_us=5) == [[], 1]
    assert picked(columns(""), step_us=5) == [[], 0]


def test_what_only_looks_like_times_is_enough_where_nothing_else_does() -> None:
    assert picked(columns("when", "x", looks=(STAMP, NUMBER))) == [[0], 1]
    assert picked(columns("", "", looks=(NUMBER, STAMP))) == [[1], 0]
    assert picked([LogColumn("", NUMBER, rises=True), LogColumn("", NUMBER)]) == [[0], 1]


def test_two_candidates_are_listed() -> None:
    assert refused(columns("time", "v1", "v2")) == (
        'f.csv: the volts can be in "v1", "v2"; accepted: --column with one of its columns "time", "v1", "v2"'
    )
    assert refused(columns("timestamp", "unix_ts", "v")) == (
        'f.csv: the times can be in "timestamp", "unix_ts"; '
        'accepted: --time with one of its columns "timestamp", "unix_ts", "v"'
    )
    assert "the times can be in" in refused(columns("date", "time", "v", looks=(STAMP, STAMP, NUMBER)))
    assert "the times can be in" in refused(columns("", "", "", looks=(STAMP, STAMP, NUMBER)))


def test_what_cannot_be_told_is_asked_for() -> None:
    assert refused(columns("time", "a", "b")) == (
        "f.csv: it cannot be told which column has the volts; "
        'accepted: --column with one of its columns "time", "a", "b"'
    )
    assert refused(columns("a", "v")) == (
        'f.csv: it cannot be told which column has the times; accepted: --time with one of its columns "a", "v"'
    )
    assert refused([LogColumn("", NUMBER, rises=True), LogColumn("", NUMBER, rises=True)]) == (
        "f.csv: it cannot be told which column has the times; "
        "accepted: --time with one of its columns 1 to 2, which have no names"
    )
    assert "or --step for samples at a fixed distance" in refused(columns("voltage"))


def test_a_column_that_is_not_there_is_told_with_the_nearest() -> None:
    assert refused(columns("time", "voltage", "\x1b[2J"), column="voltags") == (
        'f.csv: has no column "voltags" for the volts (nearest known: "voltage"); '
        'accepted: its columns "time", "voltage", "\\x1b[2J"'
    )
    assert refused(columns("time", "v"), time="xyz") == (
        'f.csv: has no column "xyz" for the times; accepted: its columns "time", "v"'
    )
    assert 'has no column "3" for the volts' in refused(columns("time", "v"), column="3")
    assert 'has no column "0" for the volts' in refused(columns("time", "v"), column="0")
    assert 'has no column "" for the times' in refused(columns("time", "v"), time="time+")


def test_a_name_twice_is_asked_for_by_number() -> None:
    listed = columns("time", "v", "v", "W", "w", "w")
    assert refused(listed, column="v") == 'f.csv: found 2 columns "v"; accepted: a number, counted from 1'
    assert picked(listed, column="3") == [[0], 2]
    assert picked(listed, column="W") == [[0], 3]
    assert "found 2 columns" in refused(listed, column="w")


def test_one_column_is_not_both() -> None:
    assert "found both times and volts in column" in refused(columns("time", "v"), time="v", column="v")


@pytest.mark.parametrize(
    ("name", "unit"),
    [("voltage (mV)", "mV"), ("u_kv", "kV"), ("V [kV]", "kV"), ("voltage", ""), ("v", ""), ("u (V)", "")],
)
def test_a_name_that_tells_another_unit_asks_for_it(name: str, unit: str) -> None:
    listed = columns("time", name)
    if unit:
        said = f'f.csv: the column is called "{name}"; accepted: --unit {unit} for its unit, or --unit V'
        assert refused(listed) == said
        assert picked(listed, unit=unit) == picked(listed, unit="V") == [[0], 1]
    else:
        assert picked(listed) == [[0], 1]


@pytest.mark.parametrize(
    ("name", "unit"),
    [("time_ms", "ms"), ("t (s)", "s"), ("Time [µs]", "us"), ("ts", None), ("time", None), ("", None)],
)
def test_the_unit_in_the_name_of_times(name: str, unit: str | None) -> None:
    assert epoch_named(name) == unit
