"""The marks of an axis of time: fine ones at round times on the wall's clock, coarse ones where what is above begins.

Fine marks are told by hour, day or month, coarse ones by date, month or year, so that no label repeats another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from tapplan.replay.clock import DAY, HOUR, MINUTE, SECOND
from tapplan.replay.zone import Zone

EPOCH = datetime(1970, 1, 1)
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
CLOCK_STEPS = (
    *(size * unit for unit in (1, 10, 100, 1000, 10_000, 100_000) for size in (1, 2, 5)),
    *(size * SECOND for size in (1, 2, 5, 10, 15, 30)),
    *(size * MINUTE for size in (1, 2, 5, 10, 15, 30)),
    *(size * HOUR for size in (1, 2, 3, 6, 12)),
)
DAY_STEPS = (1, 2, 5, 10)
MONTH_STEPS = (1, 3, 6)
YEAR_STEPS = (1, 2, 5, 10, 20, 50, 100)
MONTH, YEAR = 30 * DAY, 365 * DAY


@dataclass(frozen=True, slots=True)
class TimeMark:
    """A time in microseconds and what is told of it."""

    time: int
    told: str


@dataclass(frozen=True, slots=True)
class TimeMarks:
    """The marks between two times; the first coarse one stands at the begin and tells what that lies in."""

    fine: tuple[TimeMark, ...]
    coarse: tuple[TimeMark, ...]


@dataclass(frozen=True, slots=True)
class _Row:
    """Times on the wall, and how they are told."""

    walls: Sequence[datetime]
    told: Callable[[datetime], str]


@dataclass(frozen=True, slots=True)
class TimeRange:
    """From when to when, in microseconds, and the clock on the wall then."""

    begin: int
    end: int
    zone: Zone

    def wall(self, time: int) -> datetime:
        """A time on the wall."""
        return EPOCH + timedelta(microseconds=int(self.zone.local(np.array([time], np.int64))[0]))

    def instant(self, wall: datetime) -> int:
        """A time on the wall as one of the log; what the clock skips or shows twice is taken one way."""
        local = (wall - EPOCH) // timedelta(microseconds=1)
        found = local
        for _ in range(2):
            found = local - (int(self.zone.local(np.array([found], np.int64))[0]) - found)
        return found

    def skips(self, wall: datetime) -> bool:
        """Whether the clock never shows a time of a day."""
        return wall.hour + wall.minute > 0 and self.wall(self.instant(wall)) != wall


def time_marks(over: TimeRange, most: int) -> TimeMarks:
    """At most some `most` fine marks, and the coarse ones."""
    lasting = over.end - over.begin
    step = next((one for one in CLOCK_STEPS if lasting <= one * most), None)
    if step is not None:
        return _both(over, _Row(_clocked(over, step), _clock_told(step)), _Row(_days(over, 1), date_told))
    days = next((one for one in DAY_STEPS if lasting <= one * DAY * most), None)
    if days is not None:
        return _both(over, _Row(_days(over, days), lambda one: str(one.day)), _Row(_months(over, 1), month_told))
    months = next((one for one in MONTH_STEPS if lasting <= one * MONTH * most), None)
    if months is not None:
        return _both(over, _Row(_months(over, months), _month_name), _Row(_months(over, 12), _year_told))
    years = next((one for one in YEAR_STEPS if lasting <= one * YEAR * most), YEAR_STEPS[-1])
    return TimeMarks(_marks(over, _Row(_months(over, 12 * years), _year_told)), ())


def _both(over: TimeRange, fine: _Row, coarse: _Row) -> TimeMarks:
    first = TimeMark(over.begin, coarse.told(over.wall(over.begin)))
    later = tuple(one for one in _marks(over, coarse) if one.time > over.begin)
    return TimeMarks(_marks(over, fine), (first, *later))


def _marks(over: TimeRange, wanted: _Row) -> tuple[TimeMark, ...]:
    found = (TimeMark(over.instant(one), wanted.told(one)) for one in wanted.walls if not over.skips(one))
    return tuple(one for one in found if over.begin <= one.time <= over.end)


def _clocked(over: TimeRange, step: int) -> list[datetime]:
    """Whole multiples of a step since midnight; a step divides a day."""
    around = 2 * HOUR if step >= MINUTE else 0  # the clock may be put back or on
    first = over.wall(over.begin) - timedelta(microseconds=around)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    skipped = (first - midnight) // timedelta(microseconds=step)
    count = (over.end - over.begin + 2 * around) // step + 2
    return [midnight + timedelta(microseconds=(skipped + place) * step) for place in range(count)]


def _clock_told(step: int) -> Callable[[datetime], str]:
    if step >= MINUTE:
        return lambda one: f"{one:%H:%M}"
    return lambda one: f"{one:%H:%M:%S}" if step >= SECOND else f"{one:%S.%f}".rstrip("0")


def _days(over: TimeRange, each: int) -> list[datetime]:
    """Days of the month so far apart, counted from its first; none so near its end that the next first is near."""
    first = over.wall(over.begin).replace(hour=0, minute=0, second=0, microsecond=0)
    last = over.wall(over.end)
    count = (last - first).days + 2
    every = (first + timedelta(days=number) for number in range(count))
    return [one for one in every if (one.day - 1) % each == 0 and (each == 1 or one.day <= 31 - each)]


def _months(over: TimeRange, each: int) -> list[datetime]:
    return list(_every_month(over.wall(over.begin), over.wall(over.end), each))


def _every_month(first: datetime, last: datetime, each: int) -> Iterator[datetime]:
    number = (first.year * 12 + first.month - 1) // each * each
    while number <= last.year * 12 + last.month:
        yield datetime(number // 12, number % 12 + 1, 1)
        number += each


def date_told(day: datetime) -> str:
    """A day."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def month_told(day: datetime) -> str:
    """A month."""
    return f"{MONTHS[day.month - 1]} {day.year}"


def _month_name(day: datetime) -> str:
    return MONTHS[day.month - 1]


def _year_told(day: datetime) -> str:
    return str(day.year)
