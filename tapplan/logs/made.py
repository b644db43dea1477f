"""Mains voltage that is made up: scenarios of our own, drawn from a seed, for demonstrations and tests.

No trace of this module was measured anywhere, and every form of it says so (`told`). A recipe says what is drawn; the
same recipe gives the same readings, bit by bit on one version of numpy, however many are asked for at a time. To that
end everything random has a stream of its own, PCG64 spawned from the seed, and samples are worked out in parts of
`PART`, whatever the blocks that are handed on. So gaps and spoilt rows leave the other samples as they are, and a
shorter trace is the beginning of a longer one.

Hours of the day are those of the written clock, which is UTC.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum, IntEnum
from fractions import Fraction
from itertools import accumulate, count, islice
from math import cos, exp, pi, sqrt

import numpy as np
from numpy.random import PCG64, Generator, SeedSequence

from tapplan.arrays import Floats, Mask, Micros, Wholes
from tapplan.errors import UsageError
from tapplan.logs.samples import RowFault
from tapplan.logs.scenarios import (
    APPLIANCES,
    DAY_US,
    DWELL_US,
    HIGH_H,
    HOUR_US,
    LONGEST_ON_US,
    SAGS,
    SECOND_US,
    YEAR_US,
    Evening,
    Quiet,
    Rough,
    Sags,
    Scenario,
    busy,
)

PART = 1 << 16  # samples worked out together; even, so that a spoilt row and the one before it are in one part
KNOT_US = 300 * SECOND_US  # between two knots of what is slow; a day is a whole number of them
GAP_US = 20 * 60 * SECOND_US  # a gap on average, or `GAP_STEPS` where those last longer
GAP_STEPS = 10
MOST_DIGITS, MOST_GAPS, MOST_BAD = 6, 0.9, 0.5
MOST_READINGS = 10**10


class _Stream(IntEnum):
    """What is drawn apart from everything else; the numbers are part of what a seed means."""

    DRIFT = 0
    NOISE = 1
    APPLIANCES = 2
    EVENTS = 3
    GAPS = 4
    SPOILT = 5
    CENTRES = 6


# --- when it is read, and what is spoilt ---


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceClock:
    """When a trace is read: `readings` times, every `step_us` from `start_us` on, in microseconds since 1970 UTC."""

    start_us: int
    step_us: int
    readings: int

    def __post_init__(self) -> None:
        if self.step_us < 1:
            raise UsageError(f"found a step of {self.step_us} us; accepted: whole microseconds above 0")
        if not 1 <= self.readings <= MOST_READINGS:
            raise UsageError(f"found {self.readings} readings; accepted: from 1 to {MOST_READINGS}")

    def parts(self) -> Iterator[Micros]:
        """The times, `PART` of them together."""
        for first in range(0, self.readings, PART):
            yield self.start_us + self.step_us * np.arange(first, min(first + PART, self.readings), dtype=np.int64)


def clock_for(start: datetime, step: Fraction, days: Fraction) -> TraceClock:
    """The clock of so many days, a step in seconds, from a moment on (UTC where it names no zone).

    Raises:
        UsageError: the step is no whole number of microseconds, or longer than the days.
    """
    step_us = step * SECOND_US
    if step_us.denominator != 1 or step_us < 1:
        raise UsageError(f"found a step of {float(step):g} s; accepted: a whole number of microseconds above 0")
    readings = int(days * DAY_US / step_us)
    if readings < 1:
        raise UsageError(f"found {float(days):g} days with a step of {float(step):g} s; accepted: at least one step")
    zoned = start if start.tzinfo is not None else start.replace(tzinfo=UTC)
    begin = (zoned - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    return TraceClock(start_us=begin, step_us=int(step_us), readings=readings)


class Spoilt(Enum):
    """How a row was spoilt on purpose, and what a reader of the log should call it."""

    WORD = RowFault.NO_NUMBER, "a word in place of the number"
    EMPTY = RowFault.NO_NUMBER, "an empty cell"
    NAN = RowFault.NOT_FINITE, "not a number, as floating point has it"
    TWICE = RowFault.SAME_TIME, "the time of the row before"
    BACKWARDS = RowFault.BACKWARDS, "one step before the row before"

    def __init__(self, fault: RowFault, words: str) -> None:
        self.fault, self.words = fault, words


SPOILT = tuple(Spoilt)  # `MadeRows.spoilt` counts them from 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """All that a trace is made from: what happens, when it is read, the seed, and what is lost or spoilt.

    Readings are rounded to `digits` decimals of a volt. About the share `gaps` of the time has no rows: gaps and
    the times between them last exponentially distributed times, a gap on average 20 minutes or ten steps, whichever
    is longer. About the share `bad` of the rows is spoilt, each in one of the ways of `Spoilt`; never the first row,
    and never two on end.
    """

    scenario: Scenario
    clock: TraceClock
    seed: int = 0
    digits: int = 1
    gaps: float = 0.0
    bad: float = 0.0

    def __post_init__(self) -> None:
        if self.seed < 0:
            raise UsageError(f"found seed {self.seed}; accepted: a whole number from 0")
        if not 0 <= self.digits <= MOST_DIGITS:
            raise UsageError(f"found {self.digits} digits; accepted: from 0 to {MOST_DIGITS} decimals of a volt")
        for name, share, most in (("gaps", self.gaps, MOST_GAPS), ("bad", self.bad, MOST_BAD)):
            if not 0 <= share <= most:
                raise UsageError(f"found {name} {share:g}; accepted: a share from 0 to {most:g}")

    @property
    def kind(self) -> str:
        """The name of its kind."""
        return type(self.scenario).__name__.lower()

    def stream(self, which: int) -> Generator:
        """A stream of random numbers that nothing else draws from."""
        return Generator(PCG64(SeedSequence(self.seed, spawn_key=(which,))))


def told(recipe: Recipe, last_seed: int | None = None) -> str:
    """What a trace was made from, in one sentence; with a last seed, that of many traces."""
    seeds = f"seed {recipe.seed}" if last_seed is None else f"seeds {recipe.seed} to {last_seed}, one a file"
    clock = recipe.clock
    said = (
        f"{recipe.kind}, {seeds}: {recipe.scenario.told()}; {clock.readings} readings to "
        f"{10.0**-recipe.digits:g} V, one every {clock.step_us / SECOND_US:g} s from {moment(clock.start_us)}"
    )
    if recipe.gaps:
        said += f"; about {100 * recipe.gaps:g} % of the time lost in gaps"
    if recipe.bad:
        said += f"; about {100 * recipe.bad:g} % of the rows spoilt on purpose"
    return said + "; invented, not measured"


def moment(micros: int) -> str:
    """A time as ISO 8601 has it, in UTC, with as many decimals of a second as it takes."""
    at = datetime(1970, 1, 1) + timedelta(microseconds=micros)
    told_as = "seconds" if micros % SECOND_US == 0 else "milliseconds" if micros % 1000 == 0 else "microseconds"
    return at.isoformat(timespec=told_as) + "Z"


# --- the volts ---


def _volts(recipe: Recipe) -> Iterator[Floats]:
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
    noise = recipe.stream(_Stream.NOISE)
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
    drawn = recipe.stream(_Stream.DRIFT)
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
    noise = recipe.stream(_Stream.NOISE)
    for window in _windows(_centres(rough, recipe), DWELL_US, recipe.clock):
        centre = window.values[window.past // DWELL_US - window.first]
        yield np.maximum(centre + rough.swing_v * (2 * noise.random(len(centre)) - 1), 0)


def _centres(rough: Rough, recipe: Recipe) -> Iterator[Floats]:
    drawn, centres = recipe.stream(_Stream.CENTRES), np.array(rough.centres_v)
    while True:
        yield centres[drawn.integers(len(centres), size=DAY_US // DWELL_US)]


# --- appliances ---


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
    drawn = recipe.stream(_Stream.APPLIANCES)
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


# --- events and gaps ---


@dataclass(frozen=True, slots=True)
class Happening:
    """From a time on until before another, what is left of the volts (a gap: nothing, not even a row)."""

    begin_us: int
    end_us: int
    left: float = 0.0


def _sagging(sags: Sags, recipe: Recipe) -> Iterator[Floats]:
    during = _met(happenings(recipe), recipe.clock)
    for volts, times, met in zip(_quiet(sags.quiet, recipe), recipe.clock.parts(), during, strict=True):
        for one in met:
            first, last = np.searchsorted(times, (one.begin_us, one.end_us))
            volts[first:last] *= one.left
        yield volts


def happenings(recipe: Recipe) -> Iterator[Happening]:
    """The sags, swells and interruptions of a trace, one after the other without end; of other kinds none."""
    if not isinstance(recipe.scenario, Sags):
        return
    drawn, waits = recipe.stream(_Stream.EVENTS), YEAR_US / recipe.scenario.rate_y
    ends = list(accumulate(one.share for one in SAGS))
    now = recipe.clock.start_us
    while True:
        begin = now + 1 + int(waits * drawn.standard_exponential())
        at = drawn.random()
        which = next((one for one, end in zip(SAGS, ends, strict=True) if at < end), SAGS[-1])
        left, seconds = which.left, which.seconds
        share = float(left.low) + float(left.high - left.low) * drawn.random()
        lasts = float(seconds.low) * float(seconds.high / seconds.low) ** drawn.random()
        now = begin + int(SECOND_US * lasts)
        yield Happening(begin, now, share)


def _gaps(recipe: Recipe) -> Iterator[Happening]:
    """The gaps, one after the other without end; none where none are asked for."""
    if not recipe.gaps:
        return
    drawn = recipe.stream(_Stream.GAPS)
    lost = max(GAP_US, GAP_STEPS * recipe.clock.step_us)
    kept = lost * (1 - recipe.gaps) / recipe.gaps
    now = recipe.clock.start_us
    while True:
        begin = now + 1 + int(kept * drawn.standard_exponential())
        now = begin + 1 + int(lost * drawn.standard_exponential())
        yield Happening(begin, now)


def _met(drawn: Iterator[Happening], clock: TraceClock) -> Iterator[list[Happening]]:
    """For every part of the clock what happens at any of its times."""
    near: list[Happening] = list(islice(drawn, 1))
    for times in clock.parts():
        begin, end = int(times[0]), int(times[-1])
        while near and near[-1].begin_us <= end:
            near.append(next(drawn))
        near = [one for one in near if one.end_us > begin]
        yield [one for one in near if one.begin_us <= end]


# --- the rows ---


@dataclass(frozen=True, slots=True)
class MadeRows:
    """Rows of a trace, as a file has them: `counts` times 10^-digits are volts.

    `spoilt` is 0 for a good row, else the number, from 1, of what was done to it in `SPOILT`; its time or its number
    is then not to be believed.
    """

    times: Micros
    counts: Wholes
    spoilt: Wholes
    digits: int

    def __len__(self) -> int:
        return len(self.times)

    @property
    def good(self) -> Mask:
        """Which rows are samples."""
        good: Mask = self.spoilt == 0
        return good

    @property
    def volts(self) -> Floats:
        """The volts of every row, each the double nearest to its decimal number."""
        return self.counts / 10.0**self.digits

    def where(self, chosen: Mask | slice) -> MadeRows:
        """Some of these rows."""
        return MadeRows(self.times[chosen], self.counts[chosen], self.spoilt[chosen], self.digits)


def blocks(recipe: Recipe, most: int = PART) -> Iterator[MadeRows]:
    """The rows of a trace in order, `most` of them together and the rest at the end, in bounded memory.

    The rows are the same whatever `most` is.

    Raises:
        UsageError: blocks of no row are asked for.
    """
    if most < 1:
        raise UsageError(f"found blocks of {most} rows; accepted: a whole number above 0")
    return _regrouped(_parts(recipe), most)


def _regrouped(parts: Iterator[MadeRows], most: int) -> Iterator[MadeRows]:
    held: list[MadeRows] = []
    many = 0
    for part in parts:
        held.append(part)
        many += len(part)
        if many < most:
            continue
        whole = _joined(held)
        full = many - many % most
        yield from (whole.where(slice(first, first + most)) for first in range(0, full, most))
        held, many = [whole.where(slice(full, many))], many - full
    if many:
        yield _joined(held)


def _joined(some: Sequence[MadeRows]) -> MadeRows:
    if len(some) == 1:
        return some[0]
    return MadeRows(
        np.concatenate([one.times for one in some]),
        np.concatenate([one.counts for one in some]),
        np.concatenate([one.spoilt for one in some]),
        some[0].digits,
    )


def _parts(recipe: Recipe) -> Iterator[MadeRows]:
    """The rows of every part of the clock: fewer where a gap takes some, none where it takes all."""
    spoiling = recipe.stream(_Stream.SPOILT) if recipe.bad else None
    gaps = _met(_gaps(recipe), recipe.clock)
    for volts, times, met in zip(_volts(recipe), recipe.clock.parts(), gaps, strict=True):
        counts = np.rint(np.maximum(volts, 0) * 10.0**recipe.digits).astype(np.int64)
        kept = _kept(times, met)
        spoilt = np.zeros(len(times), np.int64)
        if spoiling is not None:
            spoilt = _spoilt(kept, recipe.bad, spoiling)
            times = _mistimed(times, spoilt, recipe.clock.step_us)
        rows = MadeRows(times, counts, spoilt, recipe.digits)
        yield rows.where(kept) if met else rows


def _kept(times: Micros, gaps: Sequence[Happening]) -> Mask:
    kept = np.ones(len(times), np.bool_)
    for one in gaps:
        first, last = np.searchsorted(times, (one.begin_us, one.end_us))
        kept[first:last] = False
    return kept


def _spoilt(kept: Mask, share: float, drawn: Generator) -> Wholes:
    """What is done to each row; only every second row can be chosen, and none whose row before is lost."""
    spoilt = np.zeros(len(kept), np.int64)
    at = drawn.random(PART // 2)[: len(kept) // 2]  # as many draws for a short part
    places = 1 + 2 * np.flatnonzero((at < 2 * share) & kept[1::2] & kept[: 2 * len(at) : 2])
    spoilt[places] = drawn.integers(1, len(SPOILT) + 1, size=len(places))
    return spoilt


def _mistimed(times: Micros, spoilt: Wholes, step_us: int) -> Micros:
    """The times as written: of spoilt rows that of the row before, or one step before it."""
    written = times.copy()
    for how, back in ((Spoilt.TWICE, 0), (Spoilt.BACKWARDS, step_us)):
        places = np.flatnonzero(spoilt == 1 + SPOILT.index(how))
        written[places] = times[places - 1] - back
    return written
