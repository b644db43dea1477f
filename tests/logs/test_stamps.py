"""Times as logs write them, against datetime, one by one and many at once."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from fractions import Fraction
from math import floor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.errors import LogError
from tapplan.logs.conversion import converted
from tapplan.logs.form import LogForm
from tapplan.logs.stamps import Clock, Counted, Stamped, clock_of, micros, stamp_of
from tests.logs.reading import us

PLAIN = Stamped(None, zoned=False)
ZONED = Stamped(None, zoned=True)


def one(cell: str, clock: Clock) -> int:
    (time,) = micros([cell], clock)
    return int(time)


@pytest.mark.parametrize(
    ("cell", "meant"),
    [
        ("2020-10-17T12:00:00", "2020-10-17T12:00:00"),
        ("2020-10-17 12:00:00", "2020-10-17T12:00:00"),
        (" 2020-10-17 12:00:00 ", "2020-10-17T12:00:00"),
        ("2020-10-17  12:00", "2020-10-17T12:00:00"),
        ("2020-10-17", "2020-10-17T00:00:00"),
        ("2020/1/7 4:05:06", "2020-01-07T04:05:06"),
        ("2020.01.07 04:05:06", "2020-01-07T04:05:06"),
        ("2020-10-17T12:00:00.5", "2020-10-17T12:00:00.500000"),
        ("2020-10-17T12:00:00,123", "2020-10-17T12:00:00.123000"),
        ("2020-10-17T12:00:00.123456789", "2020-10-17T12:00:00.123456"),
        ("2020-10-17T12:00:00.9999999", "2020-10-17T12:00:00.999999"),
        ("1969-12-31T23:59:59.9999999", "1969-12-31T23:59:59.999999"),
        ("2020-02-29T00:00:00", "2020-02-29T00:00:00"),
        ("20201017T120000", "2020-10-17T12:00:00"),
        ("20201017120000", "2020-10-17T12:00:00"),
        ("20201017 12:00:00.25", "2020-10-17T12:00:00.250000"),
        ("2020-10-17 12:00:00 AM", "2020-10-17T00:00:00"),
        ("2020-10-17 12:30:00 pm", "2020-10-17T12:30:00"),
        ("2020-10-17 1:30:00PM", "2020-10-17T13:30:00"),
        ("0001-01-01T00:00:00", "0001-01-01T00:00:00"),
        ("9999-12-31T23:59:59", "9999-12-31T23:59:59"),
    ],
)
def test_a_stamp_without_a_zone(cell: str, meant: str) -> None:
    assert one(cell, PLAIN) == us(meant)


@pytest.mark.parametrize(
    ("cell", "meant"),
    [
        ("2020-10-17T12:00:00Z", "2020-10-17T12:00:00"),
        ("2020-10-17T12:00:00.000z", "2020-10-17T12:00:00"),
        ("2020-10-17 12:00:00 UTC", "2020-10-17T12:00:00"),
        ("2020-10-17T12:00:00+02:00", "2020-10-17T10:00:00"),
        ("2020-10-17T12:00:00-0330", "2020-10-17T15:30:00"),
        ("2020-10-17 12:00:00+05", "2020-10-17T07:00:00"),
        ("20201017T120000Z", "2020-10-17T12:00:00"),
    ],
)
def test_a_stamp_that_tells_its_zone(cell: str, meant: str) -> None:
    assert one(cell, ZONED) == us(meant)


@pytest.mark.parametrize(
    "cell",
    [
        *(
            "",
            "now",
            "NaT",
            "2020",
            "2020-10",
            "12:00:00",
            "2020-02-30T00:00:00",
            "2020-13-01",
            "2020-00-10",
            "2020-1-0",
        ),
        *(
            "2020-10-17T24:00:00",
            "2020-10-17T12:60:00",
            "2020-10-17T23:59:60",
            "2020-10-17T12",
            "0000-01-01T00:00:00",
        ),
        *(
            "2020-10/17",
            "+2020-10-17",
            "20201-10-17",
            "٢020-10-17T12:00:00",
            "2020-10-17T12:00:00é",
            "2020-10-17 13:00 PM",
        ),
        *("2020-10-17T12:00:00Z", "2020-10-17T12:00:00.1234567890123", "2020-10-17 0:30 am", "16/12/2006 17:24:00"),
    ],
)
def test_what_is_no_stamp_of_a_clock_without_zone_is_refused(cell: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        micros([cell], PLAIN)


@pytest.mark.parametrize("cell", ["2020-10-17T12:00:00", "2020-10-17T12:00:00+24:00", "2020-10-17T12:00:00+01:60"])
def test_a_log_whose_stamps_tell_a_zone_takes_no_others(cell: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        micros([cell], ZONED)


def test_dates_by_their_order() -> None:
    assert one("5/6/2024 17:24:00", Stamped("day-first", zoned=False)) == us("2024-06-05T17:24:00")
    assert one("5/6/2024 17:24:00", Stamped("month-first", zoned=False)) == us("2024-05-06T17:24:00")
    assert one("05.06.2024", Stamped("day-first", zoned=False)) == us("2024-06-05")
    assert one("12/31/2024 11:59:59 PM", Stamped("month-first", zoned=False)) == us("2024-12-31T23:59:59")


moments = st.datetimes(datetime(1, 1, 2), datetime(9999, 12, 30))
offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
shapes = st.sampled_from(["%Y-%m-%dT%H:%M:%S.%f", "%Y/%m/%d %H:%M:%S", "%d/%m/%Y %H:%M:%S", "%d.%m.%Y %I:%M:%S %p"])


@given(st.lists(moments, min_size=1, max_size=20), shapes)
def test_many_are_what_each_is_alone_and_what_datetime_says(times: list[datetime], shape: str) -> None:
    clock = Stamped("day-first", zoned=False)
    cells = [time.strftime(shape.replace("%Y", f"{time.year:04d}")) for time in times]
    meant = [us((time if "%f" in shape else time.replace(microsecond=0)).isoformat()) for time in times]
    assert [one(cell, clock) for cell in cells] == meant
    found = converted(cells, lambda some: micros(some, clock))
    assert (found.values.tolist(), found.bad) == (meant, ())
    if "%p" not in shape:
        assert micros(cells, clock).tolist() == meant


@given(st.lists(moments.filter(lambda time: 2 < time.year < 9998), min_size=1, max_size=20), offsets)
def test_stamps_with_an_offset_are_what_datetime_says(times: list[datetime], zone: timezone) -> None:
    cells = [time.replace(tzinfo=zone).isoformat() for time in times]
    found = converted(cells, lambda some: micros(some, ZONED))
    assert (found.values.tolist(), found.bad) == ([us(cell) for cell in cells], ())


def test_one_bad_stamp_among_many_is_not_taken_for_a_good_one() -> None:
    cells = ["2020-10-17T12:00:00"] * 5
    for bad in ("2020-10-17X12:00:00", "2020-10-17T12:0a:00", "now", "2020-10-17T12:00:0", "2020-10-17T12:00:000"):
        with pytest.raises(ValueError, match=r"."):
            micros([*cells, bad], PLAIN)


@pytest.mark.parametrize(("unit", "per"), [("s", 10**6), ("ms", 1000), ("us", 1), ("ns", Fraction(1, 1000))])
@given(st.decimals(-(10**10), 10**10, allow_nan=False, places=9))
def test_numbers_are_cut_to_whole_microseconds_exactly(unit: str, per: Fraction, number: Decimal) -> None:
    assert one(f"{number:f}", Counted(unit)) == floor(Fraction(number) * per)  # type: ignore[arg-type]


@given(st.lists(st.integers(0, 4 * 10**12), min_size=1, max_size=20))
def test_whole_numbers_many_at_once(numbers: list[int]) -> None:
    assert micros(list(map(str, numbers)), Counted("ms")).tolist() == [1000 * number for number in numbers]


@pytest.mark.parametrize(
    "cell", ["", "1_000", "nan", "inf", "1e999999999", "1e30", "99999999999999999999999", "12a", "٣"]
)
def test_what_is_no_number_of_seconds_is_refused(cell: str) -> None:
    with pytest.raises((ValueError, OverflowError)):
        micros([cell], Counted("s"))


def test_numbers_with_an_exponent_or_a_blank_are_numbers() -> None:
    assert one("1.6e9", Counted("s")) == 1_600_000_000_000_000
    assert one(" 1600000000", Counted("s")) == 1_600_000_000_000_000


@pytest.mark.parametrize(
    ("cell", "unit"),
    [
        ("0", "s"),
        ("1602936000", "s"),
        ("1602936000.25", "s"),
        ("1602936000000", "ms"),
        ("1602936000000000", "us"),
        ("1602936000000000000", "ns"),
        ("-5", "s"),
        ("99999999999", "s"),
        ("100000000000", "ms"),
        ("99999999999999.5", "ms"),
        ("100000000000000.5", "us"),
        ("99999999999999999", "us"),
        ("100000000000000000", "ns"),
    ],
)
def test_the_unit_of_numbers_is_that_in_which_they_lie_in_this_age(cell: str, unit: str) -> None:
    assert clock_of(["", "off", cell], LogForm(), None, "f") == Counted(unit)  # type: ignore[arg-type]


def test_what_is_said_of_numbers_goes_before_their_size() -> None:
    assert clock_of(["1000"], LogForm(), "ms", "f") == Counted("ms")
    assert clock_of(["1000"], LogForm(epoch="us"), "ms", "f") == Counted("us")


def test_the_first_time_settles_what_all_are() -> None:
    assert clock_of(["?", "2020-10-17T12:00:00Z", "5"], LogForm(), None, "f") == Stamped(None, zoned=True)
    assert clock_of(["5", "2020-10-17T12:00:00Z"], LogForm(), None, "f") == Counted("s")
    assert isinstance(clock_of(["20201017120000"], LogForm(), None, "f"), Stamped)


def test_the_order_of_dates_is_known_once_a_number_is_above_12() -> None:
    assert clock_of(["5/6/2024", "13/6/2024"], LogForm(), None, "f") == Stamped("day-first", zoned=False)
    assert clock_of(["5/6/2024", "5/13/2024"], LogForm(), None, "f") == Stamped("month-first", zoned=False)


@pytest.mark.parametrize("cells", [["5/6/2024 10:00"], ["13/6/2024 10:00", "6/13/2024 10:00"]])
def test_an_order_that_cannot_be_known_is_asked_for(cells: list[str]) -> None:
    with pytest.raises(LogError) as refused:
        clock_of(cells, LogForm(), None, "dir/f.csv")
    expected = (
        f'dir/f.csv: found dates as "{cells[0]}", which can be read in two ways; accepted: --dates with the order'
    )
    assert str(refused.value) == expected
    assert clock_of(cells, LogForm(dates="month-first"), None, "f") == Stamped("month-first", zoned=False)


def test_no_time_at_all_is_told_with_what_is_there() -> None:
    with pytest.raises(
        LogError, match=r'f: found no time in the first 2 rows, but "abc", "d\\x1bf"; accepted: ISO 8601'
    ):
        clock_of(["abc", "d\x1bf"], LogForm(), None, "f")


def test_a_stamp_is_none_without_its_day() -> None:
    assert stamp_of("17:24:00") is None
    assert stamp_of("230.1") is None
    assert datetime.now(UTC).year > 2000  # the clock of the machine plays no part
