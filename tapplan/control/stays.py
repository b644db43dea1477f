"""How long a stage can stay in a bad way: the exact worst case over every timing.

Each relay of a move opens, touches its other throw, bounces and comes to rest, each within its own span of time and
free of the others. Timings are bound by differences of two times only (`differences`), the two ends of a stay among
them.

Every vector of stages that is not bad breaks a stay. So the search starts from what the spans alone allow, with a
timing that takes it all. Does that meet a good vector on its way? In every timing that vector is over before the
stay, or comes after it, or never comes: one relay leaves it before another enters it. Each of these ways is one more
limit. The case that allows most is looked at first, and the first whose timing meets nothing good is the answer;
until then what it allows is a bound from above.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from heapq import heappop, heappush
from itertools import count
from typing import NamedTuple

import numpy as np

from tapplan.arrays import Mask
from tapplan.control.differences import BEGIN, END, FlightTimes, Limit, Matrix, Places, event, left_under, tightened
from tapplan.control.flights import BadStages, FlightStage, RelayFlight, StageVector, Stay, meets
from tapplan.exact import Span

MOST_TIMES = 512  # of different flights, kept for the next question about them
MOST_NODES = 4000  # cases looked at in one search; a count, so that answers are the same on every machine


def longest_stay(
    flights: Sequence[RelayFlight], bad: BadStages, within: Span | None = None, most_nodes: int = MOST_NODES
) -> Stay:
    """The longest time for which a move can stay, without a break, in vectors of stages that are `bad`.

    `bad` is never asked about every relay OLD or every relay NEW: these stand before and after the move, and count
    as good. With `within`, in ms since the first command, they are asked about as well, and a stay lies in that span.
    Each other vector that the times allow is asked about once, at most `4**n`. After `most_nodes` cases the answer is
    a bound from above, with `exact` False; it is never too low.
    """
    if not flights:
        return Stay(Fraction(0), ())
    times = FlightTimes.of(flights, within)
    return _longest(flights, times, _asked(times, bad, resting=within is not None), most_nodes)


def longest_stay_in(flights: tuple[RelayFlight, ...], bad: Mask, within: Span) -> Stay:
    """As `longest_stay` with a span, what is bad given as a mask with an axis for each of one relay or more."""
    asked = _times_of(flights, within)
    return _longest(flights, asked.times, bad & asked.vectors, MOST_NODES)


@dataclass(frozen=True, slots=True)
class _AskedTimes:
    """The times of some flights, and the vectors that some timing touches, before and after the move included."""

    times: FlightTimes
    vectors: Mask


@lru_cache(maxsize=MOST_TIMES)
def _times_of(flights: tuple[RelayFlight, ...], within: Span) -> _AskedTimes:
    times = FlightTimes.of(flights, within)
    return _AskedTimes(times, _asking(times, resting=True))


def _longest(flights: Sequence[RelayFlight], times: FlightTimes, mask: Mask, most_nodes: int) -> Stay:
    met = next((vector for vector in _vectors(mask) if meets(flights, vector)), None)
    if met is None:
        return Stay(Fraction(0), ())
    found = _Search(times, mask).run(most_nodes)
    return Stay(found.most, tuple(vector for vector in found.at if mask[vector]) or (met,), found.exact)


class _WayRound(NamedTuple):
    """A limit that keeps a good vector out of the stay, and the stay in `steps` that it leaves; in that order."""

    bound: int
    limit: Limit


class _Stages(NamedTuple):
    """The first and the last stage of one relay in a box of vectors."""

    first: int
    last: int


_Cube = tuple[_Stages, ...]  # by relay


class _Case(NamedTuple):
    """A case yet to be looked at, in the order of its turn: less its bound, less its depth, its number.

    The number is its own, so that matrices are never compared. `limits` have yet to enter the matrix.
    """

    rank: int
    depth: int
    number: int
    matrix: Matrix
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True, slots=True)
class _Branch:
    """One way round a good vector, without those before it: the limits to enter, the stay in `steps` they allow."""

    bound: int
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True)
class _Course:
    """The vectors that a timing has for a time inside its stay, and good ones among all that it touches there."""

    vectors: tuple[StageVector, ...]
    good: list[Places]


def _asked(times: FlightTimes, bad: BadStages, *, resting: bool) -> Mask:
    """Which vectors are bad, with an axis for each relay; one that no timing touches may count as good."""
    possible = _asking(times, resting=resting)
    mask = np.zeros_like(possible)
    for vector in _vectors(possible):
        mask[vector] = bad(vector)
    return mask


def _asking(times: FlightTimes, *, resting: bool) -> Mask:
    """The vectors that count: those some timing touches, and, with `resting`, those before and after the move."""
    possible = times.possible()
    possible[(FlightStage.OLD,) * times.relays] = possible[(FlightStage.NEW,) * times.relays] = resting
    return possible


def _vectors(mask: Mask) -> Iterator[StageVector]:
    return (tuple(FlightStage(int(place)) for place in places) for places in np.argwhere(mask))


@dataclass(frozen=True, slots=True)
class _Search:
    """The cases of one question. `escapes` keeps, for a good vector, the limits that keep a box of good ones out."""

    times: FlightTimes
    bad: Mask
    escapes: dict[Places, tuple[Limit, ...]] = field(default_factory=dict)

    def run(self, most_nodes: int) -> Stay:
        """The longest stay, with all vectors in its course, bad or good."""
        numbers, nodes = count(), 0
        waiting = [_Case(-self.times.stay(self.times.matrix), 0, next(numbers), self.times.matrix)]
        while waiting and waiting[0][0] < 0:
            rank, depth, _, loose, limits = heappop(waiting)
            matrix = tightened(loose, limits)
            if matrix is None:
                continue
            if self.times.stay(matrix) < -rank:  # its turn comes later
                heappush(waiting, _Case(-self.times.stay(matrix), depth, next(numbers), matrix))
                continue
            course = self._course(matrix[BEGIN].tolist())
            if not course.good or nodes >= most_nodes:
                return Stay(self.times.ms(-rank), course.vectors, not course.good)
            nodes += 1
            for branch in self._branches(matrix, course.good):
                heappush(waiting, _Case(-branch.bound, depth - 1, next(numbers), matrix, branch.limits))
        return Stay(Fraction(0), ())

    def _course(self, timing: Sequence[int]) -> _Course:
        """What one timing goes through inside its stay."""
        inside = sorted({time for time in timing[END + 1 :] if timing[BEGIN] < time < timing[END]})
        vectors, good = [], []
        for when in (timing[BEGIN], *inside):
            before, after = self.times.touched(timing, when)
            vectors.append(tuple(map(FlightStage, after)))
            # What is left at the stay's own first instant lies outside it.
            good += self._good(before if when > timing[BEGIN] else after, after)
        return _Course(tuple(vectors), good)

    def _good(self, low: Places, high: Places) -> list[Places]:
        """A good vector between two, if there is one: relays that change at one instant do so in any order.

        _Stages that a relay runs through just then last no time, and break nothing.
        """
        if low == high:
            return [] if self.bad[low] else [low]
        ends = [(first,) if first == last else (first, last) for first, last in zip(low, high, strict=True)]
        part = self.bad[np.ix_(*ends)]
        if part.all():
            return []
        chosen = np.unravel_index(int(part.argmin()), part.shape)
        return [tuple(end[int(one)] for end, one in zip(ends, chosen, strict=True))]

    def _branches(self, matrix: Matrix, good: Sequence[Places]) -> Iterator[_Branch]:
        """The ways round one of the good vectors, the one whose ways allow least."""
        found = [self._ways(matrix, vector) for vector in good]
        ways = min(found, key=lambda ways: [way.bound for way in ways])
        done: tuple[Limit, ...] = ()
        for bound, limit in ways:
            yield _Branch(bound, (*done, limit))
            done = (*done, Limit(limit.end, limit.start, -limit.most - 1))

    def _ways(self, matrix: Matrix, vector: Places) -> list[_WayRound]:
        """The limits that keep a good vector out of the stay, those that leave most of it first."""
        if vector not in self.escapes:
            self.escapes[vector] = tuple(_escapes(_grown(self.bad, vector)))
        bounds = ((self.times.rounded(left_under(matrix, limit)), limit) for limit in self.escapes[vector])
        return sorted((_WayRound(bound, limit) for bound, limit in bounds if bound > 0), reverse=True)


def _part(mask: Mask, low: Sequence[int], high: Sequence[int]) -> Mask:
    return mask[tuple(slice(first, last + 1) for first, last in zip(low, high, strict=True))]


def _grown(mask: Mask, vector: Places) -> _Cube:
    """A box of good vectors around one that cannot be larger; the larger, the fewer the ways round it."""
    ends = (list(vector), list(vector))
    for relay in range(len(vector)):
        for end, step, last in ((0, -1, FlightStage.OLD), (1, 1, FlightStage.NEW)):
            while ends[end][relay] != last:
                ends[end][relay] += step
                if _part(mask, *ends).any():
                    ends[end][relay] -= step
                    break
    return tuple(map(_Stages, *ends))


def _escapes(cube: _Cube) -> Iterator[Limit]:
    """What keeps a box of vectors out of the stay: over before, only after, run through, left before all entered."""
    leaving = [(relay, event(relay, last + 1)) for relay, (_, last) in enumerate(cube) if last < FlightStage.NEW]
    entering = [(relay, event(relay, first)) for relay, (first, _) in enumerate(cube) if first > FlightStage.OLD]
    for _, leave in leaving:
        yield Limit(BEGIN, leave, 0)
    for _, enter in entering:
        yield Limit(enter, END, 0)
    for relay, (first, last) in enumerate(cube):
        if first > FlightStage.OLD and last < FlightStage.NEW:
            yield Limit(event(relay, first), event(relay, last + 1), 0)
    for one, leave in leaving:
        for other, enter in entering:
            if one != other:
                yield Limit(enter, leave, -1)
