"""Wall clocks to UTC, against zoneinfo and datetime, time by time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.logs.zones import in_utc
from tests.logs.reading import us

PARIS = ZoneInfo("Europe/Paris")
BACK = {  # when a clock was put back, in UTC
    "Europe/Paris": datetime(2024, 10, 27, 1, tzinfo=UTC),
    "America/New_York": datetime(2021, 11, 7, 6, tzinfo=UTC),
    "Australia/Lord_Howe": datetime(2023, 4, 1, 15, tzinfo=UTC),  # by half an hour
    "Africa/Casablanca": datetime(2024, 3, 10, 2, tzinfo=UTC),
}
EPOCH = datetime(1970, 1, 1)
ZONES = [
    "Europe/Paris",
    "America/New_York",
    "Australia/Lord_Howe",
    "Africa/Casablanca",
    "Pacific/Apia",
    "Asia/Kolkata",
    "UTC",
]


def local(*stamps: str) -> np.ndarray:
    return np.array([us(stamp) for stamp in stamps], np.int64)


def wall(moments: list[datetime], zone: ZoneInfo) -> np.ndarray:
    """What a clock on the wall shows at moments in UTC."""
    return np.array(
        [(at.astimezone(zone).replace(tzinfo=None) - EPOCH) // timedelta(microseconds=1) for at in moments]
    )


def test_winter_and_summer() -> None:
    found = in_utc(local("2024-01-15T12:00:00", "2024-07-15T12:00:00"), PARIS, None)
    assert found.times.tolist() == local("2024-01-15T11:00:00", "2024-07-15T10:00:00").tolist()
    assert not found.missing.any()


def test_a_clock_put_forward_never_shows_an_hour() -> None:
    stamps = ("01:59:59", "02:00:00", "02:59:59", "03:00:00")
    found = in_utc(local(*(f"2024-03-31T{one}" for one in stamps)), PARIS, None)
    assert found.missing.tolist() == [False, True, True, False]
    assert found.times[[0, 3]].tolist() == local("2024-03-31T00:59:59", "2024-03-31T01:00:00").tolist()


def test_a_clock_put_back_shows_an_hour_twice() -> None:
    stamps = ("01:59", "02:00", "02:30", "02:59", "02:00", "02:30", "02:59", "03:00")
    meant = ("23:59", "00:00", "00:30", "00:59", "01:00", "01:30", "01:59", "02:00")
    found = in_utc(local(*(f"2024-10-27T{one}" for one in stamps)), PARIS, None)
    days = ["2024-10-26", *["2024-10-27"] * 7]
    assert found.times.tolist() == local(*(f"{day}T{one}" for day, one in zip(days, meant, strict=True))).tolist()


def test_a_log_that_begins_in_the_repeated_hour_begins_in_its_first_pass() -> None:
    assert in_utc(local("2024-10-27T02:30"), PARIS, None).times.tolist() == [us("2024-10-27T00:30")]


def test_the_last_good_time_says_which_pass_it_is() -> None:
    last = us("2024-10-27T00:59:59")
    assert in_utc(local("2024-10-27T02:30"), PARIS, last).times.tolist() == [us("2024-10-27T01:30")]
    assert in_utc(local("2024-10-27T02:59:59"), PARIS, last).times.tolist() == [last]  # a row twice is no second pass


def test_no_time_at_all() -> None:
    assert in_utc(np.zeros(0, np.int64), PARIS, None).times.tolist() == []


@given(st.sampled_from(sorted(BACK)), st.integers(-90, 360), st.integers(1, 29), st.integers(2, 400), st.data())
def test_steps_of_less_than_half_an_hour_come_out_as_they_went_in(
    name: str, before: int, minutes: int, count: int, draw: st.DataObject
) -> None:
    zone = ZoneInfo(name)
    start = BACK[name] - timedelta(minutes=before)
    moments = [start + timedelta(minutes=minutes * place) for place in range(count)]
    shown, meant = wall(moments, zone), [us(at.isoformat()) for at in moments]
    if meant[0] != in_utc(shown[:1], zone, None).times[0]:
        assert before <= 0  # begins in the second pass of a repeated hour, which nothing shows
        return
    cut = draw.draw(st.integers(0, count))
    first = in_utc(shown[:cut], zone, None)
    rest = in_utc(shown[cut:], zone, int(first.times[-1]) if cut else None)
    assert [*first.times, *rest.times] == meant
    assert not first.missing.any()
    assert not rest.missing.any()


@pytest.mark.parametrize("year", [1970, 1987, 2011, 2024])
@pytest.mark.parametrize("name", ZONES)
def test_every_quarter_of_an_hour_of_a_year(name: str, year: int) -> None:
    """In order from the first: each is missing just where zoneinfo does not come back to it."""
    zone = ZoneInfo(name)
    walls = [datetime(year, 1, 1) + timedelta(minutes=15 * place) for place in range(366 * 96)]
    there = [at.replace(tzinfo=zone).astimezone(UTC) for at in walls]
    missing = [back.astimezone(zone).replace(tzinfo=None) != at for back, at in zip(there, walls, strict=True)]
    found = in_utc(np.array([(at - EPOCH) // timedelta(microseconds=1) for at in walls]), zone, None)
    assert found.missing.tolist() == missing
    shown = ~found.missing
    meant = np.array([us(at.isoformat()) for at in there])
    assert found.times[shown].tolist() == meant[shown].tolist()


def test_years_far_apart_do_not_hide_what_lies_between() -> None:
    found = in_utc(local("1800-07-01T00:00", "2024-07-01T00:00", "9999-07-01T00:00", "0001-07-01T00:00"), PARIS, None)
    assert found.times[1] == us("2024-06-30T22:00")
