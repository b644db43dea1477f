"""Whole turns for an order of ratios: one side's taps in turn, the other's from them, as far as the room asks.

With the output's taps fixed each next line tap is at most a rising function of the one before, so that the solutions
have a greatest one: begin at the top and round down until nothing changes. With the line's taps fixed the outputs
have a least one. The taps of the smaller side are tried; how they may stand to one another the order's linear program
says. Many at once, in floating point that errs to the generous side: the caller settles what is found in exact
numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise, product
from math import exp

import numpy as np

from tapplan.arrays import Floats, Mask
from tapplan.study.ladder import Ladder
from tapplan.study.limits import GENEROUS, Between, TurnLimits
from tapplan.study.orders import OrderProgram, StateOrder
from tapplan.study.taps import TapPair, TapPairs

AT_ONCE = 4096
PAD = 1e-8  # of a logarithm, for what a linear program may be wrong by


class TappedTurns:
    """Whole turns for the orders of one wiring."""

    def __init__(self, pairs: TapPairs, ladder: Ladder, limits: TurnLimits) -> None:
        self.pairs, self.ladder, self.limits = pairs, ladder, limits
        self.by_output = len(pairs.outputs) <= len(pairs.lines)
        self.tried = sorted(pairs.outputs if self.by_output else pairs.lines)
        self.rest = sorted((pairs.lines if self.by_output else pairs.outputs) - set(self.tried))

    def _pairs(self, order: StateOrder) -> list[TapPair]:
        return [self.pairs.pairs[state] for state in order]

    def blocks(self, order: StateOrder, program: OrderProgram, room: float) -> Iterator[Floats]:
        """The turns of the taps that are tried, some thousands at a time, the largest first; shape (some, tried)."""
        used = {tap for pair in self._pairs(order) for tap in (pair.line, pair.output)}
        asked = [tap for tap in self.tried if tap in used]
        apart = self._apart(asked, order, program, room)
        if apart is None:
            return
        waiting: list[Floats] = []
        count = 0
        for first in reversed(self.limits.among(apart[0].low, apart[0].high)):
            choices = [self.limits.among(first * one.low, first * one.high) for one in apart[1:]]
            if all(choices):
                some = self._filled(asked, np.array(list(product([first], *choices)), dtype=np.float64))
                waiting.append(some)
                count += len(some)
                if count >= AT_ONCE:
                    yield np.concatenate(waiting)
                    waiting, count = [], 0
        if waiting:
            yield np.concatenate(waiting)

    def _filled(self, asked: list[int], some: Floats) -> Floats:
        """With taps that the order does not ask for: each as near as can be to what stands below it, or above it."""
        idle = [tap for tap in self.tried if tap not in asked]
        if not idle:
            return some
        both = []
        for upward in (True, False):
            turns = np.zeros((len(some), self.pairs.size))
            turns[:, asked] = some
            known = set(asked)
            for tap in idle if upward else reversed(idle):
                turns[:, tap] = self._beside(turns, tap, known, upward=upward)
                known.add(tap)
            both.append(turns[:, self.tried])
        return np.concatenate(both)

    def _beside(self, turns: Floats, tap: int, known: set[int], *, upward: bool) -> Floats:
        """The least turns above the known taps that stand below one, or the most below those above it."""
        if upward:
            below = [turns[:, one.low] for one in self.pairs.above if one.high == tap and one.low in known]
            least = np.full(len(turns), max(self.limits.lowest, self.limits.output_least) - 1)
            return self.limits.up(np.max([least, *below], axis=0) + 1)
        above = [turns[:, one.high] for one in self.pairs.above if one.low == tap and one.high in known]
        most = np.full(len(turns), self.limits.highest + 1)
        return self.limits.down(np.min([most, *above], axis=0) - 1)

    def _apart(self, asked: list[int], order: StateOrder, program: OrderProgram, room: float) -> list[Between] | None:
        """Of the first tap tried the turns between which it lies, of each other its share of the first."""
        found = []
        first = asked[0]
        for tap in asked:
            base = {} if tap == first else {first: -1.0}
            ends = [
                program.most_of(order, room, {place: sign * by for place, by in {tap: 1.0, **base}.items()})
                for sign in (-1.0, 1.0)
            ]
            if ends[0] is None or ends[1] is None:
                return None
            shares = [float(one[tap] - (0.0 if tap == first else one[first])) for one in ends if one is not None]
            found.append(Between(exp(shares[0] - PAD), exp(shares[1] + PAD)))
        return found

    def solved(self, tried: Floats, order: StateOrder, room: float) -> Floats:
        """All taps' turns, by the choices of those tried that leave so much room; shape (some, taps)."""
        turns = np.zeros((len(tried), self.pairs.size))
        turns[:, self.tried] = tried
        least = float(self.limits.up(np.array([max(self.limits.output_least, self.limits.lowest)]))[0])
        turns[:, self.rest] = self.limits.highest if self.by_output else least
        found = self._settled(self._of_one_order(turns), order, room)
        low = found[found.max(axis=1) < self.limits.bottom] if found.size else found
        if not self.by_output and low.size:  # the least outputs may be too low for the total: each in turn is raised
            raised = [self._settled(self._raised(low, tap), order, room) for tap in self.rest]
            found = np.concatenate([found, *raised])
        return found[self._kept(found)]

    def _raised(self, turns: Floats, tap: int) -> Floats:
        raised = turns.copy()
        raised[:, tap] = np.maximum(raised[:, tap], self.limits.up(np.full(len(turns), self.limits.bottom)))
        return raised

    def _settled(self, turns: Floats, order: StateOrder, room: float) -> Floats:
        """The choices that still serve the range when nothing changes any more."""
        while turns.size:
            before = turns.copy()
            good = self._down(turns, order, room) if self.by_output else self._up(turns, order, room)
            turns, before = turns[good], before[good]
            if (turns == before).all():
                break
        return turns

    def _of_one_order(self, turns: Floats) -> Floats:
        """Those whose tried taps stand in their order."""
        tried = set(self.tried)
        good = np.ones(len(turns), dtype=bool)
        for one in self.pairs.above:
            if one.low in tried and one.high in tried:
                good &= turns[:, one.low] < turns[:, one.high]
        return turns[good]

    def _down(self, turns: Floats, order: StateOrder, room: float) -> Mask:
        """Lowers the line's taps to what the order lets them have; which choices still serve the range."""
        good = np.ones(len(turns), dtype=bool)
        rest = set(self.rest)
        for one in self.pairs.above:
            low, high = one.low, one.high
            if low in rest:
                turns[:, low] = np.minimum(turns[:, low], self.limits.down(turns[:, high] - 1))
            elif high in rest:
                good &= turns[:, high] > turns[:, low]
        most = np.full(len(turns), self.ladder.first)
        for pair in self._pairs(order):
            bound = most * (1 + GENEROUS) * turns[:, pair.output]
            if pair.line in rest:
                turns[:, pair.line] = np.minimum(turns[:, pair.line], self.limits.down(bound))
            else:
                good &= turns[:, pair.line] <= bound
            most = self.ladder.onward_all(turns[:, pair.line] / turns[:, pair.output], room)
        last = turns[:, self.pairs.pairs[order[-1]].line] / turns[:, self.pairs.pairs[order[-1]].output]
        good &= (last >= self.ladder.last * (1 - GENEROUS)) & (turns[:, self.rest] >= 1).all(axis=1)
        return good

    def _up(self, turns: Floats, order: StateOrder, room: float) -> Mask:
        """Raises the output's taps to what the order asks of them; which choices still serve the range."""
        good = np.ones(len(turns), dtype=bool)
        rest = set(self.rest)
        for one in self.pairs.above:
            low, high = one.low, one.high
            if high in rest:
                turns[:, high] = np.maximum(turns[:, high], self.limits.up(turns[:, low] + 1))
            elif low in rest:
                good &= turns[:, high] > turns[:, low]
        most = np.full(len(turns), self.ladder.first)
        for pair in self._pairs(order):
            with np.errstate(divide="ignore", invalid="ignore"):
                bound = np.where(most > 0, turns[:, pair.line] / most, np.inf)
            if pair.output in rest:
                turns[:, pair.output] = np.maximum(turns[:, pair.output], self.limits.up(bound * (1 - GENEROUS)))
            else:
                good &= turns[:, pair.output] >= bound * (1 - GENEROUS)
            most = self.ladder.onward_all(turns[:, pair.line] / turns[:, pair.output], room)
        last = turns[:, self.pairs.pairs[order[-1]].line] / turns[:, self.pairs.pairs[order[-1]].output]
        good &= (last >= self.ladder.last * (1 - GENEROUS)) & np.isfinite(turns).all(axis=1)
        return good

    def _kept(self, turns: Floats) -> Mask:
        """Which keep the limits of all turns."""
        lines, outputs = turns[:, sorted(self.pairs.lines)], turns[:, sorted(self.pairs.outputs)]
        highest = turns.max(axis=1)
        return np.asarray(
            (highest <= self.limits.top)
            & (highest >= self.limits.bottom)
            & (outputs.min(axis=1) >= self.limits.output_least - GENEROUS)
            & (lines.max(axis=1) >= self.limits.line_least - GENEROUS)
        )

    def rooms(self, turns: Floats, order: StateOrder) -> Floats:
        """The least room between neighbours of the order, for each choice."""
        us = [turns[:, pair.line] / turns[:, pair.output] for pair in self._pairs(order)]
        rooms = [self.ladder.room_all(one, following) for one, following in pairwise(us)]
        return np.min(rooms, axis=0) if rooms else np.full(len(turns), np.inf)
