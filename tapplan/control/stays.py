"""How long a stage can stay in a bad way while its relays change over: the exact worst case over every timing.

Each relay of a move opens, touches its other throw, bounces and comes to rest, each within its own span of time and
free of the others. Timings are bound by differences of two times only: an event follows the one before it within a
span, and "this before that". Such limits close into a matrix of the most by which any time can follow any other
(shortest paths, in whole numbers here), and the two ends of a stay are two more times in that matrix.

Every vector of stages that is not bad breaks a stay. So the search starts from what the spans alone allow, with a
timing that takes it all. Does that meet a good vector on its way? In every timing that vector is over before the
stay, or comes after it, or never comes: one relay leaves it before another enters it. Each of these ways is one more
limit. The case that allows most is looked at first, and the first whose timing meets nothing good is the answer;
until then what it allows is a bound from above.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import reduce
from heapq import heappop, heappush
from itertools import count
from math import lcm
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapplan.control.flights import Bad, Flight, Stage, Stay, Vector, meets
from tapplan.exact import Span

Box = Sequence[Sequence[Stage]]  # for each relay the stages it may be in
MOST_NODES = 4000  # cases looked at in one search; a count, so that answers are the same on every machine


def longest_stay(
    flights: Sequence[Flight], bad: Bad, within: Span | None = None, most_nodes: int = MOST_NODES
) -> Stay:
    """The longest time for which a move can stay, without a break, in vectors of stages that are `bad`.

    `bad` is never asked about every relay OLD or every relay NEW: these stand before and after the move, and count
    as good. With `within`, in ms since the first command, they are asked about as well, and a stay lies in that span.
    Each other vector that the times allow is asked about once, at most `4**n`. After `most_nodes` cases the answer is
    a bound from above, with `exact` False; it is never too low.
    """
    if not flights:
        return Stay(Fraction(0), ())
    times = _Times.of(flights, within)
    return _longest(flights, times, _asked(times, bad, ends=within is not None), most_nodes)


def longest_stay_in(
    flights: Sequence[Flight], boxes: Sequence[Box], within: Span | None = None, most_nodes: int = MOST_NODES
) -> Stay:
    """As `longest_stay`, what is bad given as boxes: for each relay the stages it may be in."""
    if not flights:
        return Stay(Fraction(0), ())
    times = _Times.of(flights, within)
    possible = _asking(times, ends=within is not None)
    mask = np.zeros_like(possible)
    for box in boxes:
        mask[np.ix_(*box)] = True
    return _longest(flights, times, mask & possible, most_nodes)


def _longest(flights: Sequence[Flight], times: _Times, mask: Mask, most_nodes: int) -> Stay:
    met = next((vector for vector in _vectors(mask) if meets(flights, vector)), None)
    if met is None:
        return Stay(Fraction(0), ())
    most, course, exact = _Search(times, mask).run(most_nodes)
    return Stay(most, tuple(vector for vector in course if mask[vector]) or (met,), exact)


Matrix = NDArray[Any]  # int64, or whole numbers of Python when those could run over
Mask = NDArray[np.bool_]
Limit = tuple[int, int, int]  # two times by number, and the most by which the second follows the first
Places = tuple[int, ...]  # a vector of stages as an index
Cube = tuple[tuple[int, int], ...]  # the first and the last stage of each relay
Case = tuple[int, int, int, Matrix, tuple[Limit, ...]]  # less its bound, less its depth, number; limits yet to enter

# The times by number: a fixed instant, the two ends of the stay, then three events of each relay.
ZERO, BEGIN, END = range(3)


def _event(relay: int, stage: int) -> int:
    """The number of the time at which the relay enters a stage later than OLD."""
    return END + 3 * relay + stage


@dataclass(frozen=True, slots=True)
class _Times:
    """The times of a move: `matrix[a, b]` is the most by which time b follows time a, with every path taken in.

    Spans are multiples of `steps` in it, `unit` to the ms, so that "before" can be "by at least 1": a shortest path
    passes each time once and takes fewer than `steps` of these, so rounding up to a multiple undoes them.
    """

    matrix: Matrix
    unit: int
    steps: int
    relays: int

    @classmethod
    def of(cls, flights: Sequence[Flight], within: Span | None = None) -> _Times:
        """The times of these flights, and a stay within a span, or else between first opening and last rest."""
        size = _event(len(flights), 1)
        steps = size + 1
        limits = list(_limits(flights, within or _moving(flights)))
        unit = steps * lcm(*(most.denominator for _, _, most in limits))
        far = int(unit * sum(abs(most) for _, _, most in limits))
        matrix: Matrix = np.full((size, size), far, dtype=np.int64 if far < 2**60 else object)
        np.fill_diagonal(matrix, 0)
        for start, end, most in limits:
            matrix[start, end] = int(most * unit)
        for middle in range(size):
            matrix = np.minimum(matrix, matrix[:, middle, None] + matrix[None, middle, :])
        return cls(matrix, unit, steps, len(flights))

    def stay(self, matrix: Matrix) -> int:
        """The longest stay that a matrix allows, in `steps`."""
        return self.rounded(int(matrix[BEGIN, END]))

    def rounded(self, value: int) -> int:
        """A length in `steps`, without what "before" took from it."""
        return -(-value // self.steps)

    def ms(self, stay: int) -> Fraction:
        """A stay in ms."""
        return Fraction(stay * self.steps, self.unit)

    def possible(self) -> Mask:
        """For every vector, whether some timing so much as touches it: no relay must leave before another enters."""
        events = np.arange(END + 1, len(self.matrix)).reshape(self.relays, 3)
        ever = np.full((self.relays, 1), self.matrix.max(), dtype=self.matrix.dtype)
        entries = np.hstack([-ever, -self.matrix[events, ZERO]])
        leaves = np.hstack([self.matrix[ZERO, events], ever])
        found: Mask = reduce(np.maximum.outer, entries) <= reduce(np.minimum.outer, leaves)
        return found.astype(np.bool_)

    def touched(self, at: Sequence[int], when: int) -> tuple[Places, Places]:
        """The first and the last stage that each relay is in at an instant of one timing."""
        events = [at[_event(relay, 1) : _event(relay, 4)] for relay in range(self.relays)]
        return tuple(bisect_left(own, when) for own in events), tuple(bisect_right(own, when) for own in events)


def _moving(flights: Sequence[Flight]) -> Span:
    return Span(min(flight.opens.low for flight in flights), max(flight.settled for flight in flights))


def _limits(flights: Sequence[Flight], within: Span) -> Iterator[tuple[int, int, Fraction]]:
    """What the flights say, in ms: two times by number, and the most by which the second follows the first."""
    for start, end, span in _spans(flights, within):
        yield start, end, span.high
        yield end, start, -span.low
    yield END, BEGIN, Fraction(0)


def _spans(flights: Sequence[Flight], within: Span) -> Iterator[tuple[int, int, Span]]:
    for relay, flight in enumerate(flights):
        yield ZERO, _event(relay, Stage.OPEN), flight.opens
        yield _event(relay, Stage.OPEN), _event(relay, Stage.BOUNCING), flight.transfer
        yield _event(relay, Stage.BOUNCING), _event(relay, Stage.NEW), flight.bounce
    yield ZERO, BEGIN, within
    yield ZERO, END, within


def _asked(times: _Times, bad: Bad, *, ends: bool) -> Mask:
    """Which vectors are bad, with an axis for each relay; one that no timing touches may count as good."""
    possible = _asking(times, ends=ends)
    mask = np.zeros_like(possible)
    for vector in _vectors(possible):
        mask[vector] = bad(vector)
    return mask


def _asking(times: _Times, *, ends: bool) -> Mask:
    """The vectors that count: those that some timing touches, and, with `ends`, those before and after the move."""
    possible = times.possible()
    possible[(Stage.OLD,) * times.relays] = possible[(Stage.NEW,) * times.relays] = ends
    return possible


def _vectors(mask: Mask) -> Iterator[Vector]:
    return (tuple(Stage(int(place)) for place in places) for places in np.argwhere(mask))


@dataclass(frozen=True, slots=True)
class _Search:
    """The cases of one question. `cubes` keeps, for a good vector, a largest box of good ones around it."""

    times: _Times
    bad: Mask
    cubes: dict[Places, Cube] = field(default_factory=dict)

    def run(self, most_nodes: int) -> tuple[Fraction, tuple[Vector, ...], bool]:
        """The longest stay in ms, the vectors in its course, and whether it is exact."""
        numbers, nodes = count(), 0
        waiting: list[Case] = [(-self.times.stay(self.times.matrix), 0, next(numbers), self.times.matrix, ())]
        while waiting and waiting[0][0] < 0:
            rank, depth, _, loose, limits = heappop(waiting)
            matrix = _tightened(loose, limits)
            if matrix is None:
                continue
            if self.times.stay(matrix) < -rank:  # its turn comes later
                heappush(waiting, (-self.times.stay(matrix), depth, next(numbers), matrix, ()))
                continue
            course, met = self._course(matrix[BEGIN].tolist())
            if not met or nodes >= most_nodes:
                return self.times.ms(-rank), course, not met
            nodes += 1
            for bound, more in self._cases(matrix, met):
                heappush(waiting, (-bound, depth - 1, next(numbers), matrix, more))
        return Fraction(0), (), True

    def _course(self, at: Sequence[int]) -> tuple[tuple[Vector, ...], list[Places]]:
        """The vectors that a timing has for a time inside its stay, and good ones among all that it touches there."""
        inside = sorted({time for time in at[END + 1 :] if at[BEGIN] < time < at[END]})
        course, met = [], []
        for when in (at[BEGIN], *inside):
            before, after = self.times.touched(at, when)
            course.append(tuple(map(Stage, after)))
            # What is left at the stay's own first instant lies outside it.
            met += self._good(before if when > at[BEGIN] else after, after)
        return tuple(course), met

    def _good(self, low: Places, high: Places) -> list[Places]:
        """A good vector between two, if there is one: relays that change at one instant do so in any order.

        Stages that a relay runs through just then last no time, and break nothing.
        """
        ends = [(first,) if first == last else (first, last) for first, last in zip(low, high, strict=True)]
        part = self.bad[np.ix_(*ends)]
        if part.all():
            return []
        chosen = np.unravel_index(int(part.argmin()), part.shape)
        return [tuple(end[int(one)] for end, one in zip(ends, chosen, strict=True))]

    def _cases(self, matrix: Matrix, met: Sequence[Places]) -> Iterator[tuple[int, tuple[Limit, ...]]]:
        """The ways round one of the good vectors, each without those before it, and the stay in `steps` it allows.

        The vector is the one whose ways allow least.
        """
        found = [self._ways(matrix, vector) for vector in met]
        ways = min(found, key=lambda ways: [bound for bound, _ in ways])
        done: tuple[Limit, ...] = ()
        for bound, (start, end, most) in ways:
            yield bound, (*done, (start, end, most))
            done = (*done, (end, start, -most - 1))

    def _ways(self, matrix: Matrix, vector: Places) -> list[tuple[int, Limit]]:
        """The limits that keep a good vector out of the stay, those that leave most of it first."""
        if vector not in self.cubes:
            self.cubes[vector] = _grown(self.bad, vector)
        bounds = ((self.times.rounded(_left(matrix, limit)), limit) for limit in _escapes(self.cubes[vector]))
        return sorted(((bound, limit) for bound, limit in bounds if bound > 0), reverse=True)


def _part(bad: Mask, low: Sequence[int], high: Sequence[int]) -> Mask:
    return bad[tuple(slice(first, last + 1) for first, last in zip(low, high, strict=True))]


def _grown(bad: Mask, vector: Places) -> Cube:
    """A box of good vectors around one that cannot be larger; the larger, the fewer the ways round it."""
    ends = (list(vector), list(vector))
    for relay in range(len(vector)):
        for end, step, last in ((0, -1, Stage.OLD), (1, 1, Stage.NEW)):
            while ends[end][relay] != last:
                ends[end][relay] += step
                if _part(bad, *ends).any():
                    ends[end][relay] -= step
                    break
    return tuple(zip(*ends, strict=True))


def _escapes(cube: Cube) -> Iterator[Limit]:
    """What keeps a box of vectors out of the stay: over before, only after, run through, left before all entered."""
    leaving = [(relay, _event(relay, last + 1)) for relay, (_, last) in enumerate(cube) if last < Stage.NEW]
    entering = [(relay, _event(relay, first)) for relay, (first, _) in enumerate(cube) if first > Stage.OLD]
    for _, leave in leaving:
        yield BEGIN, leave, 0
    for _, enter in entering:
        yield enter, END, 0
    for relay, (first, last) in enumerate(cube):
        if first > Stage.OLD and last < Stage.NEW:
            yield _event(relay, first), _event(relay, last + 1), 0
    for one, leave in leaving:
        for other, enter in entering:
            if one != other:
                yield enter, leave, -1


def _left(matrix: Matrix, limit: Limit) -> int:
    """The longest stay that is left under one more limit; 0 when no timing is."""
    start, end, most = limit
    if matrix[end, start] + most < 0:
        return 0
    return int(min(matrix[BEGIN, END], matrix[BEGIN, start] + most + matrix[end, END]))


def _tightened(matrix: Matrix, limits: Sequence[Limit]) -> Matrix | None:
    """The matrix under more limits; None when they leave no timing."""
    for start, end, most in limits:
        if matrix[end, start] + most < 0:
            return None
        matrix = np.minimum(matrix, matrix[:, start, None] + most + matrix[None, end, :])
    return matrix
