"""Days and hours on the wall, against the zone data base asked time by time."""

from __future__ import annotations

from datetime import UTC, datetime
from random import Random
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tapplan.replay.clock import DAY, HOUR, SECOND
from tapplan.replay.zone import Zone

ZONES = (
    "Europe/Paris",
    "America/New_York",
    "Asia/Kathmandu",
    "Australia/Lord_Howe",
    "Africa/Cairo",
    "America/St_Johns",
    "UTC",
)


@pytest.mark.parametrize("name", ZONES)
def test_local_time_is_that_of_the_data_base(name: str) -> None:
    chance, zone = Random(1), Zone(name)
    begin = int(datetime(2021, 1, 1, tzinfo=UTC).timestamp()) * SECOND
    times = np.array(sorted(begin + chance.randrange(3 * 365 * DAY) for _ in range(400)), np.int64)
    shifts = {
        datetime.fromtimestamp(time / SECOND, ZoneInfo(name)).utcoffset().total_seconds() * SECOND  # type: ignore[union-attr]
        for time in times.tolist()
    }
    for time, local in zip(times.tolist(), zone.local(times).tolist(), strict=True):
        wall = datetime.fromtimestamp(time // SECOND, ZoneInfo(name))
        assert local - time == wall.utcoffset().total_seconds() * SECOND  # type: ignore[union-attr]
    assert len(shifts) == (1 if name in ("UTC", "Asia/Kathmandu") else 2)


@pytest.mark.parametrize("name", ZONES)
def test_midnights_are_where_the_local_day_changes(name: str) -> None:
    zone = Zone(name)
    begin = int(datetime(2023, 3, 1, 1, tzinfo=UTC).timestamp()) * SECOND
    end = begin + 60 * DAY
    found = zone.midnights(begin, end)
    hours = np.arange(begin, end, HOUR // 4)
    days = zone.local(hours) // DAY
    assert found.tolist() == hours[1:][np.diff(days) > 0].tolist()
    assert len(found) in (59, 60)


def test_without_a_zone_the_log_s_own_clock_counts() -> None:
    times = np.array([5, DAY, 2 * DAY + 7])
    assert Zone().local(times) is times
    assert Zone().midnights(5, 2 * DAY + 7).tolist() == [DAY, 2 * DAY]


def test_a_clock_may_change_at_half_past_in_utc() -> None:
    """St John's went to summer time at 05:30 UTC on 2021-03-14."""
    change = int(datetime(2021, 3, 14, 5, 30, tzinfo=UTC).timestamp()) * SECOND
    times = np.array([change - DAY, change - SECOND, change, change + 20 * 60 * SECOND, change + DAY])
    shifts = (Zone("America/St_Johns").local(times) - times) / HOUR
    assert shifts.tolist() == [-3.5, -3.5, -2.5, -2.5, -2.5]
