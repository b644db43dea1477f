"""The course of the controller along a log: which standing is in force from when, and when the output is outside.

`follow` is one text for two engines. In Python it looks at blocks of readings that numpy has passed over
(`stretches`); compiled (`kernel`) it scans the readings themselves, with other functions of the names `cell_at`,
`leaves` and `standing_at` in place of those here.

A reading that keeps the standing ends a confirmation. One that does not begins it, at the first instant at which it
counts: not before every relay has settled and the blanking is over. When it has lasted, the reading standing at that
instant decides. Before a gap a reading stands for no time, and no confirmation outlasts a gap; settling does.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapplan.arrays import Mask, Micros, Wholes
from tapplan.replay.cells import NEVER, ReadingCells, Stored

# Where a course stands, as an array: the standing (-1 before the first reading), since when readings do not keep it,
# until when none counts, the sample and the instant reached, and the mark of the last piece.
STANDING, PENDING, BUSY, SAMPLE, HERE, MARKED = range(6)
PIECES = 1 << 16  # room for pieces in one call
STUCK = -1  # in place of a number of pieces: standings follow one another without any time passing


@dataclass(frozen=True)
class Stretch:
    """Samples to be followed: `readings[i]` stands from `times[i]` to `times[i + 1]`; the last only ends the others.

    `breaks` are the samples before a gap, in rising order. `step` is the distance from each sample to the next, where
    it is the same for all and is known; else 0.
    """

    times: Micros
    readings: Stored
    breaks: Wholes
    step: int = 0

    def begun(self, at: Micros) -> Wholes:
        """The last sample that has begun at each of some times, none of them before the first."""
        if self.step:
            found: Wholes = np.minimum((at - self.times[0]) // self.step, len(self.times) - 1)
            return found
        return np.searchsorted(self.times, at, side="right") - 1

    def before(self, at: Micros) -> Wholes:
        """The last sample that begins before each of some times, none of them after the last; -1 at the first."""
        if self.step:
            found: Wholes = (at - self.times[0] - 1) // self.step
            return found
        return np.searchsorted(self.times, at, side="left") - 1


@dataclass(frozen=True, slots=True)
class CarriedOn:
    """What a course carries from one sample to the next; before the first sample, `standing` is -1.

    `pending`: since when readings do not keep the standing, `NEVER` where they do; `busy`: until when none counts.
    """

    standing: int = -1
    pending: int = NEVER
    busy: int = NEVER

    def from_time(self, time: int) -> CarriedOn:
        """The same for what comes at a time or later: a settling that is over by then is none."""
        return self if self.busy > time else CarriedOn(self.standing, self.pending)


@dataclass(frozen=True)
class Pieces:
    """A course as pieces of time, each up to the next one's: standing, and whether the output is outside."""

    times: Micros
    standings: Wholes
    outside: Mask


@dataclass(frozen=True)
class Followed:
    """The pieces of a stretch, and what is carried on from its end."""

    pieces: Pieces
    carried: CarriedOn


@dataclass(frozen=True)
class Engine:
    """How a stretch is followed; `seen` makes of its readings what `follow` looks at."""

    follow: Callable[..., int]
    seen: Callable[[Stretch, ReadingCells], Any]
    law: Callable[[ReadingCells], Any]
    listed: Callable[[Any], Any]


def cell_at(seen: Any, number: int, sample: int) -> int:
    """The cell, in a standing, that a sample's reading lies in."""
    found: int = seen.cell(number, sample)
    return found


def leaves(seen: Any, number: int, cell: int, sample: int) -> int:
    """The first sample after one in a cell that lies in another; the number of samples, or more, where none does."""
    found: int = seen.leaves(number, cell, sample)
    return found


def standing_at(times: Any, time: int, low: int, high: int) -> int:
    """The last of the samples from one to another, both included, that has begun at a time."""
    return bisect_right(times, time, low, high + 1) - 1


def follow(seen: Any, times: Any, breaks: Any, law: Any, carry: Any, pieces: Any) -> int:
    """Writes pieces until the stretch ends or they are full; returns how many, or `STUCK`."""
    answers, waits, outside, busy, width, away = law
    at, into, beyond = pieces
    last, count, still, changed = len(times) - 1, 0, 0, NEVER
    standing, pending, free, i, here, marked = carry
    if standing < 0:
        standing = answers[away * width + cell_at(seen, away, i)]
        free = here + busy[away * (away + 1) + standing]
    b = 0
    while i < last and count < len(at):
        cell = cell_at(seen, standing, i)
        j = min(leaves(seen, standing, cell, i), last)
        law_at = standing * width + cell
        if outside[law_at] != marked:
            marked = outside[law_at]
            at[count], into[count], beyond[count] = here, standing, marked
            count += 1
        answer, due, k = answers[law_at], NEVER, i
        if answer == standing:
            pending = NEVER
        now = max(here, free)
        while answer != standing and k < j:
            k = standing_at(times, now, k, j)
            while b < len(breaks) and breaks[b] < k:
                b += 1
            gap = breaks[b] if b < len(breaks) else last
            if k < j and now > times[k] and gap == k:  # a time in a gap, where no reading stands
                pending, k, now = NEVER, k + 1, times[k + 1]
                continue
            if k >= j:
                break
            pending = now if pending == NEVER else pending
            due = max(pending + waits[law_at], now)
            if gap < j and due > times[gap]:
                pending, k, now, due = NEVER, gap + 1, times[gap + 1], NEVER
                continue
            break
        if due == NEVER or due >= times[j]:
            i, here = j, times[j]
            continue
        still = still + 1 if due == changed else 0
        if still > away + 1:
            carry[HERE] = due
            return STUCK
        changed, free, pending, marked = due, due + busy[standing * (away + 1) + answer], NEVER, -1
        i, here, standing = standing_at(times, due, k, j), due, answer
    carry[STANDING], carry[PENDING], carry[BUSY] = standing, pending, free
    carry[SAMPLE], carry[HERE], carry[MARKED] = i, here, marked
    return count


def followed(engine: Engine, cells: ReadingCells, stretch: Stretch, start: CarriedOn) -> Followed:
    """The course of a controller along a stretch.

    Raises:
        StandstillError: standings follow one another without any time passing.
    """
    seen, law = engine.seen(stretch, cells), engine.law(cells)
    times, breaks = engine.listed(stretch.times), engine.listed(stretch.breaks)
    carry = np.array([start.standing, start.pending, start.busy, 0, stretch.times[0], -1], np.int64)
    parts: list[Pieces] = []
    size = min(PIECES, 4 * (len(times) + len(cells.answers)))  # enough for every standing at one instant
    while carry[SAMPLE] < len(stretch.times) - 1:
        room = Pieces(np.empty(size, np.int64), np.empty(size, np.int64), np.empty(size, np.bool_))
        taken = (engine.listed(room.times), engine.listed(room.standings), engine.listed(room.outside))
        count = engine.follow(seen, times, breaks, law, carry, taken)
        if count == STUCK:
            raise StandstillError(int(carry[HERE]))
        parts.append(Pieces(room.times[:count], room.standings[:count], room.outside[:count]))
    standing, pending, busy = (int(one) for one in carry[:SAMPLE])
    return Followed(joined(parts), CarriedOn(standing, pending, busy).from_time(int(stretch.times[-1])))


def joined(parts: Sequence[Pieces]) -> Pieces:
    """Pieces one after the other."""
    if len(parts) == 1:
        return parts[0]
    return Pieces(
        *(np.concatenate([getattr(one, name) for one in parts]) for name in ("times", "standings", "outside"))
    )


@dataclass(frozen=True)
class StandstillError(Exception):
    """Standings follow one another at one instant, so that no course can be told: when, in microseconds."""

    time: int
