"""Wirings with one side's turns fixed: the same in all states, and the other's are sums of its unknowns.

Over the common turns every state is a sum of shares, so that one order of the states makes a linear program. Whole
turns are tried between the shares that the program leaves; first those beside its best solution.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise, product
from math import ceil, inf

import numpy as np

from tapplan.arrays import Floats, Mask
from tapplan.study.forms import FixedRow, StateForm, plus
from tapplan.study.ladder import Ladder
from tapplan.study.limits import Between, TurnLimits
from tapplan.study.orders import OrderProgram, StateOrder
from tapplan.study.scales import INVERSE, PLAIN
from tapplan.study.wiring import TurnRow, Wiring

PAD = 1e-8
MOST_AT_ONCE = 2_000_000
BESIDE = (-1, 0, 1)


@dataclass(frozen=True)
class TurnSums:
    """The sums of a wiring's states; `common` is the row of the side that they share, which is the line or not."""

    size: int
    common: TurnRow
    sums: tuple[TurnRow, ...]
    common_is_line: bool
    rising: tuple[TurnRow, ...]
    highest: tuple[TurnRow, ...]
    least_used: int

    @cached_property
    def settled(self) -> int:
        """The unknown that follows from the common turns and the others."""
        return self.common.index(1)

    def form(self, limits: TurnLimits, ladder: Ladder) -> StateForm:
        """The states for a linear program in shares of the common turns."""
        sign = -1.0 if self.common_is_line else 1.0
        states = tuple(_entries(row, sign) for row in self.sums)
        apart = 1 / limits.top
        held = [FixedRow(_entries(self.common), 1.0, 1.0)]
        held += [FixedRow(_entries(row), apart, inf) for row in self.rising]
        held += self._within(limits)
        least, most = np.full(self.size, apart), np.full(self.size, float(limits.top))
        bare = StateForm(
            INVERSE if self.common_is_line else PLAIN,
            states,
            tuple(frozenset[int]() for _ in states),
            least,
            most,
            tuple(held),
            self.least_used,
        )
        return replace(bare, earlier=_earlier(OrderProgram(bare, ladder)))

    def _within(self, limits: TurnLimits) -> Iterator[FixedRow]:
        """What the limits of turns say of shares: none above the top, no output below its least."""
        least = max(self.least_common(limits), 1.0)
        for row in self.highest:
            yield FixedRow(_entries(row), -inf, limits.top / least)
        if self.common_is_line:
            for row in self.sums:
                yield FixedRow(_entries(row), limits.output_least / limits.top, inf)

    def least_common(self, limits: TurnLimits) -> float:
        """The least that the common turns may be."""
        return limits.line_least if self.common_is_line else limits.output_least


def sums_of(wiring: Wiring) -> TurnSums | None:
    """The sums of a wiring; None where both sides change."""
    rows = list(wiring.states)
    lines, outputs = {one.line for one in rows}, {one.output for one in rows}
    if len(lines) > 1 and len(outputs) > 1:
        return None
    by_line = len(lines) == 1
    common = next(iter(lines if by_line else outputs))
    sums = tuple(dict.fromkeys(one.output if by_line else one.line for one in rows))
    return TurnSums(wiring.unknowns, common, sums, by_line, wiring.rising, wiring.highest, wiring.least_used)


def _entries(turns: TurnRow, sign: float = 1.0) -> dict[int, float]:
    return {place: sign * by for place, by in enumerate(turns) if by}


def _earlier(program: OrderProgram) -> tuple[frozenset[int], ...]:
    """For each state those whose value is smaller, whatever the shares: asked of the program itself."""
    states = program.form.states

    def below(one: int, other: int) -> bool:
        gap = plus(states[one], states[other], -1.0)
        found = program.largest(gap)
        return found is not None and sum(by * found[place] for place, by in gap.items()) < -1e-9

    count = range(len(states))
    return tuple(frozenset(other for other in count if other != one and below(other, one)) for one in count)


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Two states that follow each other."""

    below: int
    above: int


@dataclass(frozen=True, slots=True)
class _Step:
    """An unknown that is set, and the neighbours of an order that then are settled."""

    unknown: int
    settles: tuple[Neighbours, ...]


class SummedTurns:
    """Whole turns for the orders of one wiring."""

    def __init__(self, sums: TurnSums, ladder: Ladder, limits: TurnLimits) -> None:
        self.sums, self.ladder, self.limits = sums, ladder, limits
        self.too_many = False
        self.free = [place for place in range(sums.size) if place != sums.settled]

    def near(self, order: StateOrder, program: OrderProgram, room: float) -> Iterator[Floats]:
        """All turns beside the best solution of an order, for every number of common turns."""
        program.let_slack(1.0)
        found = program.most_of(order, room, {program.slack: 1.0})
        program.let_slack(0.0)
        if found is None:
            return
        shares = found[self.free]
        beside = np.array(list(product(BESIDE, repeat=len(self.free))), dtype=np.float64)
        for common in self._commons():
            yield self._whole(float(common), np.rint(common * shares) + beside)

    def all(self, order: StateOrder, program: OrderProgram, room: float) -> Iterator[Floats]:
        """All turns between the shares that an order leaves, for one number of common turns after the other.

        The unknowns are set one after the other, those first that settle most neighbours, and what leaves too little
        room between these goes no further. Ends, and says so in `too_many`, where they are more than can be held.
        """
        self.too_many = False
        ends = self._ends(order, program, room)
        if ends is None:
            return
        steps = self._steps(order)
        for common in self._commons():
            turns = np.zeros((1, self.sums.size))
            for step in steps:
                between = ends[step.unknown]
                choices = np.arange(np.ceil(common * between.low), np.floor(common * between.high) + 1)
                if len(turns) * len(choices) > MOST_AT_ONCE:
                    self.too_many = True
                    return
                turns = np.repeat(turns, len(choices), axis=0)
                if turns.size:
                    turns[:, step.unknown] = np.tile(choices, len(turns) // len(choices))
                    turns = self._roomy(turns, float(common), step.settles, room)
            yield self._whole(float(common), turns[:, self.free])

    def _roomy(self, turns: Floats, common: float, settled: tuple[Neighbours, ...], room: float) -> Floats:
        """Those whose settled neighbours leave the room."""
        for one in settled:
            us = [self._u(self._summed(turns, state, common), common) for state in (one.below, one.above)]
            turns = turns[self.ladder.room_all(us[0], us[1]) >= room - PAD]
        return turns

    def _steps(self, order: StateOrder) -> list[_Step]:
        """In which order the unknowns are set, and the neighbours that each settles."""
        set_: set[int] = set()
        steps: list[_Step] = []
        pairs = [Neighbours(one, following) for one, following in pairwise(order)]
        while len(set_) < len(self.free):
            settles = {
                place: tuple(
                    pair for pair in pairs if self._needs(pair.below) | self._needs(pair.above) <= set_ | {place}
                )
                for place in self.free
                if place not in set_
            }
            place = max(settles, key=lambda one: (len(settles[one]), -one))
            steps.append(_Step(place, settles[place]))
            set_.add(place)
            pairs = [pair for pair in pairs if pair not in settles[place]]
        return steps

    def _summed(self, turns: Floats, number: int, common: float) -> Floats:
        """A state's sum of the free unknowns alone: the settled one is the common turns less the others of theirs."""
        by_settled = self.sums.sums[number][self.sums.settled]
        return np.asarray(by_settled * common + turns @ np.array(self._freed(number), dtype=np.float64))

    def _freed(self, number: int) -> TurnRow:
        row, common = self.sums.sums[number], self.sums.common
        by_settled = row[self.sums.settled]
        return tuple(by - by_settled * of_common for by, of_common in zip(row, common, strict=True))

    def _needs(self, number: int) -> frozenset[int]:
        return frozenset(place for place, by in enumerate(self._freed(number)) if by)

    def _commons(self) -> range:
        return range(self.limits.top, max(ceil(self.sums.least_common(self.limits)), 1) - 1, -1)

    def _ends(self, order: StateOrder, program: OrderProgram, room: float) -> dict[int, Between] | None:
        """Between what the share of each free unknown lies."""
        found = {}
        for place in self.free:
            low, high = (program.most_of(order, room, {place: sign}) for sign in (-1.0, 1.0))
            if low is None or high is None:
                return None
            found[place] = Between(float(low[place]) * (1 - PAD), float(high[place]) * (1 + PAD))
        return found

    def _whole(self, common: float, free: Floats) -> Floats:
        """All unknowns' turns, the settled one from the common turns; those that keep the wiring's limits."""
        turns = np.zeros((len(free), self.sums.size))
        turns[:, self.free] = free
        row = np.array(self.sums.common, dtype=np.float64)
        turns[:, self.sums.settled] = common - turns @ row
        return turns[self._kept(turns)]

    def _kept(self, turns: Floats) -> Mask:
        sums = self.sums
        good = (turns >= 1).all(axis=1)
        for row in sums.rising:
            good &= turns @ np.array(row, dtype=np.float64) >= 1
        highest = np.max([turns @ np.array(row, dtype=np.float64) for row in sums.highest], axis=0)
        common = turns @ np.array(sums.common, dtype=np.float64)
        every = np.array([turns @ np.array(row, dtype=np.float64) for row in sums.sums])
        lines, outputs = (common, every) if sums.common_is_line else (every, common)
        good &= (highest <= self.limits.top) & (highest >= self.limits.bottom)
        good &= np.min(np.atleast_2d(outputs), axis=0) >= self.limits.output_least - PAD
        return np.asarray(good & (np.max(np.atleast_2d(lines), axis=0) >= self.limits.line_least - PAD))

    def rooms(self, turns: Floats, order: StateOrder) -> Floats:
        """The least room between neighbours of the order; -inf where its ends do not serve the range."""
        sums = self.sums
        common = turns @ np.array(sums.common, dtype=np.float64)
        with np.errstate(divide="ignore"):
            us = [self._u(turns @ np.array(sums.sums[state], dtype=np.float64), common) for state in order]
        rooms = [self.ladder.room_all(one, following) for one, following in pairwise(us)]
        least = np.min(rooms, axis=0) if rooms else np.full(len(turns), np.inf)
        serves = (us[0] <= self.ladder.first * (1 + 1e-12)) & (us[-1] >= self.ladder.last * (1 - 1e-12))
        sound = serves & (np.min(us, axis=0) > 0) & np.isfinite(us).all(axis=0)
        return np.asarray(np.where(sound, least, -np.inf))

    def _u(self, summed: Floats, common: Floats | float) -> Floats:
        if self.sums.common_is_line:
            return np.asarray(np.where(summed > 0, common / summed, np.inf))
        return np.asarray(summed / common)
