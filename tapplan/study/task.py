"""What a search is given: a wiring under a request, its rows as arrays, and when to stop."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np

from tapplan.arrays import Floats, Mask
from tapplan.study.request import Request
from tapplan.study.wiring import TurnRow, Wiring


@dataclass(frozen=True, slots=True)
class Known:
    """States whose ratio is 1, at least 1 and at most 1, whatever the turns, by the order of the unknowns."""

    same: Mask
    above: Mask
    below: Mask


@dataclass(frozen=True)
class Task:
    """A wiring under a request. Scores are to be large: room in volts, or minus deviation or share transformed.

    `least`: scores below it are not wanted. With `any_room` a plan may lack the room needed. The search ends early at
    a score of `enough`, or after so many boxes; both make it the same on every machine.
    """

    request: Request
    wiring: Wiring
    least: float = -np.inf
    any_room: bool = False
    enough: float = np.inf
    most_boxes: float = np.inf

    def limited(self, boxes: float) -> Task:
        """The same, with no more boxes than that."""
        return replace(self, most_boxes=min(boxes, self.most_boxes))

    def with_least(self, score: float) -> Task:
        """The same, with scores below one not wanted."""
        return replace(self, least=score)

    @cached_property
    def rows(self) -> tuple[Floats, Floats]:
        """Line and output rows of the states, shape (states, unknowns) each."""
        lines, outputs = ([rows.line for rows in self.wiring.states], [rows.output for rows in self.wiring.states])
        return np.array(lines, dtype=np.float64), np.array(outputs, dtype=np.float64)

    @cached_property
    def known(self) -> Known:
        """What the order of the unknowns says of the ratios."""
        rising = _closed(self.wiring.rising)
        size = self.wiring.unknowns
        differences = [
            tuple(o - x for x, o in zip(rows.line, rows.output, strict=True)) for rows in self.wiring.states
        ]
        positive = [row in rising or (min(row) >= 0 and max(row) > 0) for row in differences]
        negative = [tuple(-x for x in row) in rising or (max(row) <= 0 and min(row) < 0) for row in differences]
        same = [row == (0,) * size for row in differences]
        return Known(np.array(same), np.array(positive), np.array(negative))

    @cached_property
    def rising(self) -> Floats:
        """Rows that are at least 1."""
        return np.array(self.wiring.rising, dtype=np.float64).reshape(-1, self.wiring.unknowns)

    @cached_property
    def highest(self) -> Floats:
        """Rows of the points that can be the highest."""
        return np.array(self.wiring.highest, dtype=np.float64)

    @cached_property
    def throws(self) -> Floats:
        """Rows that are not nought: between the two taps that a relay chooses from."""
        at = {tap.point: tap.row for tap in self.wiring.taps}
        ends = [(one.rest, one.driven) for one in self.wiring.poles]
        pairs = [(at[rest], at[driven]) for rest, driven in ends if rest in at and driven in at]
        rows = [[x - y for x, y in zip(a, b, strict=True)] for a, b in pairs]
        return np.array(rows, dtype=np.float64).reshape(-1, self.wiring.unknowns)

    @cached_property
    def weighted(self) -> tuple[Floats, Floats]:
        """Volts and their shares, which add up to one."""
        volts, counts = np.array([[float(one.volts), float(one.counts)] for one in self.request.weights]).T
        return volts, counts / counts.sum()


def _closed(rising: tuple[TurnRow, ...]) -> set[TurnRow]:
    """All differences of two unknowns that follow from those given."""
    known = set(rising)
    while True:
        sums = {tuple(x + y for x, y in zip(a, b, strict=True)) for a, b in product(known, repeat=2)}
        more = {row for row in sums if max(row) == 1 and min(row) == -1 and sum(map(abs, row)) == 2} - known
        if not more:
            return known
        known |= more
