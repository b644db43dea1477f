"""A log held in memory, so that many controllers can be tried on it: its parts, and how its samples stand."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from tapplan.arrays import Mask, Micros
from tapplan.control.decisions import Cut
from tapplan.errors import LogError
from tapplan.exact import Span
from tapplan.logs.samples import Chunk, Log
from tapplan.replay.cells import Stored, first_stored
from tapplan.replay.clock import DAY
from tapplan.replay.course import Stretch
from tapplan.replay.replayed import NO_BREAKS, USUAL_GAP, stored
from tapplan.replay.steps import Distances
from tapplan.replay.zone import Zone

MOST_SAMPLES = 20_000_000  # held in memory, all logs together: a third of a gigabyte
CHOSEN = Fraction(2, 3)  # of the time that samples stand for: what thresholds are chosen on; the rest is held out
LEAST_CHOSEN, LEAST_HELD_OUT = 2 * DAY, DAY  # of such time: what shows every hour of the day


@dataclass(frozen=True)
class Recording:
    """The samples of a log, or of a part of one, in memory; itself a log, and read as often as it is asked for.

    `held` are stretches of samples, each of one stored kind, in order of time. `step` is the usual one and `gap` the
    longest that is none, in microseconds. `cut`: the log goes on, and the rest of it was not taken.
    """

    name: str
    scale: Fraction
    made: str | None
    held: tuple[Chunk, ...]
    step: int
    gap: int
    cut: bool = False

    def chunks(self) -> Iterator[Chunk]:
        """The samples, as any log gives them."""
        return iter(self.held)

    @property
    def samples(self) -> int:
        """How many there are."""
        return sum(len(one.times) for one in self.held)

    @property
    def first(self) -> int:
        """When the first sample begins to stand, in microseconds."""
        return int(self.held[0].times[0])

    @property
    def end(self) -> int:
        """When the last one no longer does: it stands for a usual step."""
        return int(self.held[-1].times[-1]) + self.step

    def stood(self) -> Micros:
        """How long each sample stands, in microseconds: to the next one, before a gap for no time."""
        times = np.concatenate([one.times for one in self.held])
        lengths = np.diff(times, append=self.end)
        lengths[:-1][lengths[:-1] > self.gap] = 0
        return lengths

    def stretches(self) -> tuple[Stretch, ...]:
        """The same as a controller follows it: each stretch, what lies between two, and the last sample's step."""
        found: list[Stretch] = []
        for number, one in enumerate(self.held):
            if number:
                before = self.held[number - 1]
                found.append(self._standing(before, np.array([before.times[-1], one.times[0]], np.int64)))
            if len(one.times) > 1:
                found.append(self._stretch(one.times, stored(one.readings)))
        if self.step:
            last = self.held[-1]
            end = self._standing(last, np.array([last.times[-1], self.end], np.int64))
            found.append(replace(end, breaks=NO_BREAKS))  # also where a gap is stated to be shorter than a usual step
        return tuple(found)

    def _standing(self, before: Chunk, times: Micros) -> Stretch:
        """The last sample from one time to another, as stored: the second reading of the two never stands."""
        return self._stretch(times, stored(before.readings[-1:].repeat(2)))

    def _stretch(self, times: Micros, readings: Stored) -> Stretch:
        return Stretch(times, readings, np.flatnonzero(np.diff(times) > self.gap))


def _same(one: Chunk, other: Chunk) -> bool:
    return one.readings.dtype == other.readings.dtype


def recorded(log: Log, most: int, gap: int | None = None, stop: Callable[[], bool] = lambda: False) -> Recording:
    """At most so many samples of a log, from its begin; fewer, but for those read together, when told to stop.

    `gap` in microseconds is the longest step that is none; left out, three usual steps, as in a replay.

    Raises:
        LogError: the log cannot be read, or holds no sample.
    """
    found: list[Chunk] = []
    count, cut = 0, False
    for chunk in log.chunks():
        cut = count + len(chunk.times) > most
        if len(chunk.times):
            kept = slice(most - count if cut else None)
            found.append(Chunk(chunk.times[kept], stored(chunk.readings[kept])))
            count += len(found[-1].times)
        if cut or (count and stop()):
            cut = True
            break
    if not count:
        raise LogError(f"{log.name}: found no sample; accepted: a log with at least one")
    held = _joined(found)
    step = usual_step(held)
    return Recording(log.name, log.scale, log.made, held, step, USUAL_GAP * step if gap is None else gap, cut)


def _joined(chunks: Sequence[Chunk]) -> tuple[Chunk, ...]:
    """The same samples, those of one stored kind that follow one another together."""
    lots: list[list[Chunk]] = []
    for one in chunks:
        if lots and _same(lots[-1][0], one):
            lots[-1].append(one)
        else:
            lots.append([one])
    return tuple(
        lot[0]
        if len(lot) == 1
        else Chunk(np.concatenate([one.times for one in lot]), np.concatenate([one.readings for one in lot]))
        for lot in lots
    )


def usual_step(held: Sequence[Chunk]) -> int:
    """The median of the steps from sample to sample, in microseconds; 0 for a single sample."""
    distances = Distances()
    for number, one in enumerate(held):
        if number:
            distances.add(np.array([one.times[0] - held[number - 1].times[-1]], np.int64))
        distances.add(np.diff(one.times))
    return distances.median


@dataclass(frozen=True, slots=True)
class Parted:
    """A log in a part that thresholds are chosen on and one held out; None: it is too short for that."""

    chosen: Recording
    held_out: Recording | None


def parted(one: Recording, zone: Zone) -> Parted:
    """A log cut at the midnight on the wall that is nearest to two thirds of the time its samples stand for.

    Nothing is held out where there are less than three days: two to choose on, and one.
    """
    stood = one.stood()
    times = np.concatenate([chunk.times for chunk in one.held])
    before = np.cumsum(stood) - stood
    total = int(stood.sum())
    nights = zone.midnights(one.first, one.end)
    passed = before[np.minimum(np.searchsorted(times, nights), len(times) - 1)]
    fit = (passed >= LEAST_CHOSEN) & (total - passed >= LEAST_HELD_OUT)
    if not fit.any():
        return Parted(one, None)
    off = np.abs(passed[fit] - int(CHOSEN * total))
    cut = int(nights[fit][int(off.argmin())])
    return Parted(part_of_time(one, one.first, cut), part_of_time(one, cut, one.end + 1))


def part_of_time(one: Recording, begin: int, end: int) -> Recording:
    """The samples from one time to just before another, in microseconds; what a gap is stays.

    Raises:
        LogError: there is none.
    """
    held = tuple(part for chunk in one.held if len((part := _between(chunk, begin, end)).times))
    if not held:
        raise LogError(f"{one.name}: found no sample in a part of it; accepted: a log with at least one")
    return replace(one, held=held, step=usual_step(held))


def _between(chunk: Chunk, begin: int, end: int) -> Chunk:
    low, high = np.searchsorted(chunk.times, [begin, end])
    return Chunk(chunk.times[low:high], chunk.readings[low:high])


def distinct(one: Recording) -> tuple[Stored, ...]:
    """Its different readings, rising, for each stored kind."""
    kinds: dict[str, list[Stored]] = {}
    for chunk in one.held:
        found = stored(chunk.readings)
        kinds.setdefault(found.dtype.str, []).append(found)
    return tuple(np.unique(np.concatenate(lots)) for lots in kinds.values())


def within(chunk: Chunk, scale: Fraction, mains: Span) -> Mask:
    """Which readings, worth `scale` volts each, lie in a mains range, its ends included."""
    readings = stored(chunk.readings)
    low = first_stored(Cut(mains.low, above=False), scale, readings.dtype)
    beyond = first_stored(Cut(mains.high, above=True), scale, readings.dtype)
    found: Mask = (readings >= low) & (readings < beyond)
    return found


def of_these_mains(one: Recording, mains: Span) -> None:
    """Refuses a log of which no reading lies in the mains range.

    Raises:
        LogError: it is such a log.
    """
    if not any(within(chunk, one.scale, mains).any() for chunk in one.held):
        found = f"found no reading in the mains range, {float(mains.low):g} to {float(mains.high):g} V"
        raise LogError(f"{one.name}: {found}; accepted: a log of these mains, in volts or with --unit or --scale")
