"""The times of a move, bound by differences: how far any one can follow any other.

An event follows the one before it within a span, and "this before that" is a limit of the same kind. All of them
close into a matrix (shortest paths, in whole numbers here); the two ends of a stay are two more times in it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import reduce
from math import lcm
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Mask
from tapplan.control.flights import FlightStage, RelayFlight
from tapplan.exact import Span

Matrix = NDArray[Any]  # int64, or whole numbers of Python when those could run over
Places = tuple[int, ...]  # a vector of stages as an index


class Limit(NamedTuple):
    """Two times by number, and the most by which the second follows the first.

    A NamedTuple: each search makes, unpacks and compares tens of thousands of them.
    """

    start: int
    end: int
    most: int


@dataclass(frozen=True, slots=True)
class _Follows:
    """One time follows another by so many ms, both by number."""

    start: int
    end: int
    by: Span


# The times by number: a fixed instant, the two ends of the stay, then three events of each relay.
ZERO, BEGIN, END = range(3)


def event(relay: int, stage: int) -> int:
    """The number of the time at which the relay enters a stage later than OLD."""
    return END + 3 * relay + stage


@dataclass(frozen=True, slots=True)
class FlightTimes:
    """The times of a move: `matrix[a, b]` is the most by which time b follows time a, with every path taken in.

    Spans are multiples of `steps` in it, `unit` to the ms, so that "before" can be "by at least 1": a shortest path
    passes each time once and takes fewer than `steps` of these, so rounding up to a multiple undoes them.
    """

    matrix: Matrix
    unit: int
    steps: int
    relays: int

    @classmethod
    def of(cls, flights: Sequence[RelayFlight], within: Span | None = None) -> FlightTimes:
        """The times of these flights, and a stay within a span, or else between first opening and last rest."""
        size = event(len(flights), 1)
        steps = size + 1
        follows = list(_follows(flights, within or _moving(flights)))
        ends = [end for one in follows for end in (one.by.low, one.by.high)]
        unit = steps * lcm(*(end.denominator for end in ends))
        far = int(unit * sum(abs(end) for end in ends))
        matrix: Matrix = np.full((size, size), far, dtype=np.int64 if far < 2**60 else object)
        np.fill_diagonal(matrix, 0)
        for one in follows:
            matrix[one.start, one.end] = int(one.by.high * unit)
            matrix[one.end, one.start] = int(-one.by.low * unit)
        matrix[END, BEGIN] = 0
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

    def touched(self, timing: Sequence[int], when: int) -> tuple[Places, Places]:
        """The first and the last stage that each relay is in at an instant of one timing."""
        events = [timing[event(relay, 1) : event(relay, 4)] for relay in range(self.relays)]
        return tuple(bisect_left(own, when) for own in events), tuple(bisect_right(own, when) for own in events)


def _moving(flights: Sequence[RelayFlight]) -> Span:
    return Span(min(flight.entered[0].low for flight in flights), max(flight.settled for flight in flights))


def _follows(flights: Sequence[RelayFlight], within: Span) -> Iterator[_Follows]:
    """What the flights say of two times each."""
    for relay, flight in enumerate(flights):
        opens, touches, rests = (
            event(relay, stage) for stage in (FlightStage.OPEN, FlightStage.BOUNCING, FlightStage.NEW)
        )
        begun, (first, second) = flight.entered[0], flight.lasting
        yield _Follows(ZERO, opens, begun)
        yield _Follows(opens, touches, first)
        yield _Follows(touches, rests, second)
    yield _Follows(ZERO, BEGIN, within)
    yield _Follows(ZERO, END, within)


def left_under(matrix: Matrix, limit: Limit) -> int:
    """The longest stay that is left under one more limit; 0 when no timing is."""
    start, end, most = limit
    if matrix[end, start] + most < 0:
        return 0
    return int(min(matrix[BEGIN, END], matrix[BEGIN, start] + most + matrix[end, END]))


def tightened(matrix: Matrix, limits: Sequence[Limit]) -> Matrix | None:
    """The matrix under more limits; None when they leave no timing."""
    for start, end, most in limits:
        if matrix[end, start] + most < 0:
            return None
        matrix = np.minimum(matrix, matrix[:, start, None] + most + matrix[None, end, :])
    return matrix
