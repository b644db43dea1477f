"""The volts of a made-up trace, by its scenario: what is slow, noise, appliances, and what happens to them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, count, islice
from math import cos, exp, pi, sqrt

import numpy as np

from tapplan.arrays import Floats, Mask, Micros, Wholes
from tapplan.logs.happenings import happenings, met
from tapplan.logs.recipe import DrawnFor, Recipe, TraceClock
from tapplan.logs.scenarios import (
    APPLIANCES,
    DAY_US,
    DWELL_US,
    HIGH_H,
    HOUR_US,
    LONGEST_ON_US,
    SECOND_US,
    Evening,
    Quiet,
    Rough,
    Sags,
    busy,
)

KNOT_US = 300 * SECOND_US  # between two knots of what is slow; a day is a whole number of them


def made_volts(recipe: Recipe) -> Iterator[Floats]:
    """The volts of every part of the clock."""
    match recipe.scenario:
        case Quiet():
            return _quiet(recipe.scenario, recipe)
        case Evening():
            return _evening(recipe.scenario, recipe)
        case Sags():
            return _sagging(recipe.scenario, recipe)
        case Rough():
            return _rough(recipe.scenario, recipe)


def _quiet(quiet: Quiet, recipe: Recipe) -> Iterator[Floats]:
    noise = recipe.stream(DrawnFor.NOISE)
    for window in _windows(_knots(quiet, recipe), KNOT_US, recipe.clock):
        slow = np.interp(window.past, window.places, window.values)
        yield slow + quiet.noise_v * noise.standard_normal(len(slow))


def _knots(quiet: Quiet, recipe: Recipe) -> Iterator[Floats]:
    """Swing and drift at the knots from the start on, a day of them together."""
    a_day = DAY_US // KNOT_US
    keep = exp(-KNOT_US / (quiet.drift_h * HOUR_US))
    spread = sqrt(1 - keep * keep)
    places = [(recipe.clock.start_us + KNOT_US * number) % DAY_US / HOUR_US for number in range(a_day)]
    daily = np.array([quiet.around_v + quiet.swing_v * cos(2 * pi * (hour - HIGH_H) / 24) for hour in places])
    drawn = recipe.stream(DrawnFor.DRIFT)
    last = float(drawn.standard_normal())
    while True:
        fresh = drawn.standard_normal(a_day).tolist()
        drift = list(accumulate(fresh, lambda old, new: keep * old + spread * new, initial=last))
        last = drift.pop()
        yield daily + quiet.drift_v * np.array(drift)


@dataclass(frozen=True, slots=True)
class _Window:
    """The values at the knots around a part of the clock; `past` and `places` in microseconds since its start."""

    past: Micros
    first: int
    spacing_us: int
    values: Floats

    @property
    def places(self) -> Micros:
        """Where the values stand."""
        return self.spacing_us * np.arange(self.first, self.first + len(self.values), dtype=np.int64)


def _windows(drawn: Iterator[Floats], spacing_us: int, clock: TraceClock) -> Iterator[_Window]:
    """For every part of the clock the values from the knot at or before it to the one after it."""
    first, held = 0, np.empty(0)
    for times in clock.parts():
        past = times - clock.start_us
        begin, end = int(past[0]) // spacing_us, int(past[-1]) // spacing_us + 2
        more = [held]
        ready = first + len(held)
        while ready < end:
            more.append(next(drawn))
            ready += len(more[-1])
        held = np.concatenate(more)[begin - first :]
        first = begin
        yield _Window(past, first, spacing_us, held[: end - first])


def _rough(rough: Rough, recipe: Recipe) -> Iterator[Floats]:
    noise = recipe.stream(DrawnFor.NOISE)
    for window in _windows(_centres(rough, recipe), DWELL_US, recipe.clock):
        centre = window.values[window.past // DWELL_US - window.first]
        yield np.maximum(centre + rough.swing_v * (2 * noise.random(len(centre)) - 1), 0)


def _centres(rough: Rough, recipe: Recipe) -> Iterator[Floats]:
    drawn, centres = recipe.stream(DrawnFor.CENTRES), np.array(rough.centres_v)
    while True:
        yield centres[drawn.integers(len(centres), size=DAY_US // DWELL_US)]


@dataclass(frozen=True, slots=True)
class _Switchings:
    """When appliances are switched, and by how many milliampere the current changes then."""

    times: Micros
    changes: Wholes

    def where(self, mask: Mask) -> _Switchings:
        return _Switchings(self.times[mask], self.changes[mask])


def _together(some: Sequence[_Switchings]) -> _Switchings:
    return _Switchings(np.concatenate([one.times for one in some]), np.concatenate([one.changes for one in some]))


def _evening(evening: Evening, recipe: Recipe) -> Iterator[Floats]:
    for emf, load in zip(_quiet(evening.emf, recipe), _load(evening, recipe), strict=True):
        yield emf - evening.source_ohm / 1000 * load


def _load(evening: Evening, recipe: Recipe) -> Iterator[Floats]:
    """The current of the feeder in whole milliampere; sums of whole numbers, so exact in any order."""
    days = _days(evening, recipe)
    ready = recipe.clock.start_us - LONGEST_ON_US
    waiting = _Switchings(np.empty(0, np.int64), np.empty(0, np.int64))
    standing = 0.0
    for times in recipe.clock.parts():
        more = max(0, -((ready - int(times[-1]) - 1) // DAY_US))  # days, so that all up to the last time is there
        waiting, ready = _together([waiting, *islice(days, more)]), ready + more * DAY_US
        due = waiting.times <= times[-1]
        now, waiting = waiting.where(due), waiting.where(~due)
        changes = np.bincount(np.searchsorted(times, now.times), weights=now.changes, minlength=len(times))
        load = np.cumsum(changes, dtype=np.float64)
        load += standing
        standing = float(load[-1])
        yield load


def _days(evening: Evening, recipe: Recipe) -> Iterator[_Switchings]:
    """What is switched on in each day from 6 h before the start on, and when that is off again."""
    drawn = recipe.stream(DrawnFor.APPLIANCES)
    milliampere = np.array([one.milliampere for one in APPLIANCES])
    on_us = np.array([one.minutes * 60.0 * SECOND_US for one in APPLIANCES])
    ends = np.cumsum([one.share for one in APPLIANCES])
    begin = recipe.clock.start_us - LONGEST_ON_US
    hours = HOUR_US * np.arange(24)
    rates = [evening.switched_h * busy(int(begin + hour + HOUR_US // 2) % DAY_US / HOUR_US) for hour in hours]
    for first in count(begin, DAY_US):
        begins = np.repeat(first + hours, drawn.poisson(rates))
        on = begins + (HOUR_US * drawn.random(len(begins))).astype(np.int64)
        which = np.minimum(np.searchsorted(ends, drawn.random(len(on)), side="right"), len(APPLIANCES) - 1)
        lasts = np.minimum(on_us[which] * drawn.standard_exponential(len(on)), LONGEST_ON_US).astype(np.int64)
        changes = milliampere[which]
        yield _Switchings(np.concatenate([on, on + lasts]), np.concatenate([changes, -changes]))


def _sagging(sags: Sags, recipe: Recipe) -> Iterator[Floats]:
    during = met(happenings(recipe), recipe.clock)
    for volts, times, here in zip(_quiet(sags.quiet, recipe), recipe.clock.parts(), during, strict=True):
        for one in here:
            first, last = np.searchsorted(times, (one.begin_us, one.end_us))
            volts[first:last] *= one.left
        yield volts
