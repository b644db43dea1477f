"""Times of a clock on the wall, put back and forward by its zone, to times in UTC.

A zone's offset is looked up once a year and clock change, not once a sample. In the hour that a clock shows twice a
time is of the first pass, unless it would then lie before the last good one: from there on it is of the second. Times
that a clock leaves out when it is put forward are none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from tapplan.arrays import Mask, Micros, Wholes

SECOND_US = 1_000_000
FIRST_YEAR, LAST_YEAR = 2, 9998  # a zone's own arithmetic needs a year at either side
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class ClockChange:
    """When a zone's offset from UTC changes, and what it is before and after; all in microseconds.

    The beginning of a year stands among the changes too, with the same offset before and after.
    """

    at: int
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class InUtc:
    """Times in UTC, and which of them a clock on the wall never shows; what stands there in `times` means nothing."""

    times: Micros
    missing: Mask


def in_utc(local: Micros, zone: ZoneInfo, last: int | None) -> InUtc:
    """Times of a wall clock, in the order of their log, in UTC; `last` is the last good time before them, in UTC."""
    if not len(local):
        return InUtc(local, np.zeros(0, np.bool_))
    changes = _changes(zone, local)
    at, before, after = (np.array([getattr(one, name) for one in changes]) for name in ("at", "before", "after"))
    passed = np.searchsorted(at + after, local, side="right")  # changes after which a clock can show this time
    now = np.maximum(passed - 1, 0)
    later = np.minimum(passed, len(at) - 1)
    missing = (passed < len(at)) & (local >= (at + before)[later])
    twice = local < (at + before)[now]
    first = local - np.where(twice, before[now], after[now])
    second = _second_passes(first, np.where(twice & ~missing, now, -1), ~missing, last)
    return InUtc(np.where(second, local - after[now], first), missing)


def _second_passes(first: Micros, fold: Wholes, shown: Mask, last: int | None) -> Mask:
    """Which times are of a second pass; `fold` is the change whose repeated hour a time is in, or -1."""
    second = np.zeros(len(first), np.bool_)
    if not (fold >= 0).any():
        return second
    start = np.iinfo(np.int64).min if last is None else last
    highest = np.maximum.accumulate(np.concatenate(([start], np.where(shown, first, start))))[:-1]
    back = first < highest
    for one in np.unique(fold[fold >= 0]):
        inside = fold == one
        second |= inside & np.logical_or.accumulate(inside & back)
    return second


def _changes(zone: ZoneInfo, local: Micros) -> list[ClockChange]:
    """The clock changes of every year that times lie in, and of the years beside them, in order."""
    years = np.unique(local.view("datetime64[us]").astype("datetime64[Y]").astype(np.int64) + 1970)
    near = {min(max(int(year) + by, FIRST_YEAR), LAST_YEAR) for year in years for by in (-1, 0, 1)}
    return [change for year in sorted(near) for change in _changes_of(zone, year)]


@lru_cache(maxsize=4096)
def _changes_of(zone: ZoneInfo, year: int) -> tuple[ClockChange, ...]:
    return tuple(_changes_in(zone, year))


def _changes_in(zone: ZoneInfo, year: int) -> Iterator[ClockChange]:
    """The beginning of a year and its clock changes; no zone changes twice within a day."""
    day, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
    offset = _offset(zone, day)
    yield ClockChange(_micros(day), _us(offset), _us(offset))
    while day < end:
        offset, day = _offset(zone, day), day + _DAY
        if _offset(zone, day) != offset:
            at = _change_within(zone, day - _DAY, day)
            yield ClockChange(_micros(at), _us(offset), _us(_offset(zone, day)))


def _change_within(zone: ZoneInfo, low: datetime, high: datetime) -> datetime:
    """The first second of a new offset, by halving."""
    old = _offset(zone, low)
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
        low, high = (middle, high) if _offset(zone, middle) == old else (low, middle)
    return high


def _offset(zone: ZoneInfo, at: datetime) -> timedelta:
    return at.astimezone(zone).utcoffset() or timedelta(0)


def _us(offset: timedelta) -> int:
    return offset // timedelta(microseconds=1)


def _micros(at: datetime) -> int:
    return (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
