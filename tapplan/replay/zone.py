"""The clock on the wall where a log was taken: its days and hours, summer time included."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np

from tapplan.arrays import Micros, Wholes
from tapplan.logs.stamps import END_US, FIRST_US
from tapplan.replay.clock import DAY, HOUR, SECOND

QUARTER = HOUR // 4
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# The days that every zone's clock can tell; a log may begin or end just outside, where the shift is that of these.
FIRST_DAY = (datetime(1, 1, 3, tzinfo=UTC) - EPOCH).days
LAST_DAY = (datetime(9999, 12, 29, tzinfo=UTC) - EPOCH).days


@dataclass(frozen=True)
class Zone:
    """A time zone by its name; without one, days and hours are those of the log's own clock."""

    name: str | None = None

    @cached_property
    def _info(self) -> ZoneInfo | None:
        return None if self.name is None else ZoneInfo(self.name)

    def local(self, times: Micros) -> Micros:
        """Times on the wall, counted as if that clock ran in UTC."""
        if self._info is None or not len(times):
            return times
        found = self._shifts(int(times[0]), int(times[-1]))
        wall = times + found.by[np.searchsorted(found.since, times, side="right") - 1]
        told: Micros = np.clip(wall, FIRST_US, END_US - 1)  # no calendar has the hours beyond
        return told

    def midnights(self, begin: int, end: int) -> Micros:
        """Where a day begins on the wall, between two times."""
        if self._info is None:
            return np.arange(-(-begin // DAY) * DAY, end, DAY)
        days = range((begin - DAY) // DAY, (end + DAY) // DAY + 1)
        found = [self._midnight(day) for day in days]
        return np.array([one for one in found if begin <= one < end], np.int64)

    def _midnight(self, day: int) -> int:
        if not FIRST_DAY <= day <= LAST_DAY:
            return day * DAY - self._shift(day * DAY)
        wall = (EPOCH + timedelta(days=day)).replace(tzinfo=self._info)
        return int(wall.timestamp()) * SECOND

    def _shifts(self, begin: int, end: int) -> _Shifts:
        """The shifts of the wall's clock from one time to another; it changes on a quarter of an hour."""
        days = [day * DAY for day in range(begin // DAY, end // DAY + 2)]
        since, by = [days[0]], [self._shift(days[0])]
        for day in days[1:]:
            if self._shift(day) != by[-1]:
                times = range(day - DAY + QUARTER, day + QUARTER, QUARTER)
                since.append(next(time for time in times if self._shift(time) != by[-1]))
                by.append(self._shift(since[-1]))
        return _Shifts(np.array(since, np.int64), np.array(by, np.int64))

    def _shift(self, time: int) -> int:
        inside = min(max(time, FIRST_DAY * DAY), LAST_DAY * DAY)
        offset = (EPOCH + timedelta(microseconds=inside)).astimezone(self._info).utcoffset()
        return 0 if offset is None else int(offset.total_seconds()) * SECOND


@dataclass(frozen=True)
class _Shifts:
    """How far the wall's clock is ahead of UTC, and since when."""

    since: Micros
    by: Wholes
