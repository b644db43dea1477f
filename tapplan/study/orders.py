"""Every order in which a wiring's ratios may stand, by a linear program at each step; and what turns an order allows.

On the wiring's scale the next value is at most a concave function of the one before, which tangents bound from above:
a linear program, whose rows grow and shrink with the order that is tried (HiGHS). An order is extended only while its
ratios can still reach the top of the range with the room wanted. Ratios at both ends may stay unused; between the
ends none does, for one more only widens the rooms beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import inf

import highspy  # type: ignore[import-untyped,unused-ignore]  # some versions state types
import numpy as np

from tapplan.arrays import Floats
from tapplan.study.forms import StateForm, UnknownSum, plus
from tapplan.study.ladder import Ladder
from tapplan.study.scales import BoundLine, NextBound

CUTS = 16  # rounds of tangents for one program
RAISES = 60  # rounds in which the room of one order is raised
TIGHT = 1e-10  # how far a solution may pass a true bound, on the scale
NO_ROOM = 1e-6  # volts by which a bound in floating point may be too low
COARSE = 5e-3  # how exactly the room of what is left open is told, as a share of it
FAR = 10.0  # how far beyond the ends of the ladder ratios are looked for
StateOrder = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ServingOrder:
    """An order that serves the range, and the most room that it has with turns of any numbers."""

    order: StateOrder
    most: float


class OrderProgram:
    """The linear program of one wiring: rows for what always holds, and more for an order.

    The last variable is a slack in every tangent; it is nought but where the room is raised.
    """

    def __init__(self, form: StateForm, ladder: Ladder) -> None:
        self.form, self.ladder = form, ladder
        self.solved = 0
        self.lp = highspy.Highs()
        for option, value in (("output_flag", False), ("presolve", "off"), ("threads", 1)):
            self.lp.setOptionValue(option, value)
        for option in ("primal_feasibility_tolerance", "dual_feasibility_tolerance"):
            self.lp.setOptionValue(option, 1e-10)
        self.slack = form.size
        self.lp.addVars(form.size, form.least, form.most)
        self.lp.addVars(1, np.zeros(1), np.zeros(1))
        self._cost: UnknownSum = {}
        for one in form.held:
            self.row(one.entries, one.least, one.most)

    @property
    def depth(self) -> int:
        """How many rows there are."""
        return int(self.lp.getNumRow())

    def cut_back(self, depth: int) -> None:
        """Takes off the rows above so many."""
        rows = np.arange(depth, self.depth, dtype=np.int32)
        if rows.size:
            self.lp.deleteRows(rows.size, rows)

    def row(self, entries: UnknownSum, least: float, most: float) -> None:
        """A row more."""
        held = {place: value for place, value in entries.items() if value}
        places = np.array(list(held), dtype=np.int32)
        self.lp.addRow(least, most, places.size, places, np.array(list(held.values()), dtype=np.float64))

    def between_row(self, number: int, least_u: float, most_u: float) -> None:
        """Keeps a state's u between two numbers."""
        scale = self.form.scale
        self.row(self.form.states[number], scale.of(least_u) - TIGHT, scale.of(most_u) + TIGHT)

    def rising_row(self, number: int, following: int) -> None:
        """Keeps a state's u from standing above another's."""
        self.row(plus(self.form.states[following], self.form.states[number], -1.0), 0.0, inf)

    def let_slack(self, most: float) -> None:
        """How large the slack may be."""
        self.lp.changeColBounds(self.slack, 0.0, most)

    def largest(self, entries: UnknownSum) -> Floats | None:
        """The solution at which a sum is largest; None where there is none."""
        for place in self._cost:
            self.lp.changeColCost(place, 0.0)
        for place, value in entries.items():
            self.lp.changeColCost(place, -value)
        self._cost = entries
        self.solved += 1
        self.lp.run()
        if self.lp.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        return np.array(self.lp.getSolution().col_value)

    def most_of(self, order: StateOrder, room: float, entries: UnknownSum) -> Floats | None:
        """The same with the order's tangents at this room, as many as it takes."""
        bounds = self._bounds(room)
        found = self.largest(entries)
        for _ in range(CUTS):
            if found is None or not self._cut(order, bounds, found):
                break
            found = self.largest(entries)
        return found

    def _bounds(self, room: float) -> list[NextBound]:
        """The bounds of the next u whose least is the true one: with the sag of a boost, and of a buck."""
        ladder = self.ladder
        sag = ladder.share * ladder.low
        ends = ladder.first / FAR, ladder.last * FAR
        boost = NextBound(ladder.high, room + sag, ladder.low * (1 + ladder.always - ladder.share), *ends)
        if not sag:
            return [boost]
        return [boost, NextBound(ladder.high, room - sag, ladder.low * (1 + ladder.always + ladder.share), *ends)]

    def _cut(self, order: StateOrder, bounds: list[NextBound], found: Floats) -> bool:
        """Adds the tangents that a solution breaks; whether there was one."""
        scale, any_cut = self.form.scale, False
        for one, following in pairwise(order):
            low, high = self.form.value(found, one), self.form.value(found, following)
            u = scale.back(low)
            for bound in bounds:
                most = bound.of(u)
                if most <= 0 or high + found[self.slack] > scale.of(most) + TIGHT:
                    self._tangent(one, following, scale.tangent(bound, u), slack=1.0)
                    any_cut = True
            step = scale.step(self.ladder.step)
            if high > step.slope * low + step.level + TIGHT:
                self._tangent(one, following, step, slack=0.0)
                any_cut = True
        return any_cut

    def _tangent(self, one: int, following: int, line: BoundLine, slack: float) -> None:
        """V' + slack <= slope v + level."""
        states = self.form.states
        self.row({**plus(states[following], states[one], -line.slope), self.slack: slack}, -inf, line.level)


class Orders:
    """The orders of a wiring that leave more than `room`; whoever walks them may raise it as better turns are found.

    After `most_programs` the walk ends; `open_room` is then the most room that what was not looked at could have.
    """

    def __init__(self, program: OrderProgram, room: float, most_programs: float, stop: Callable[[], bool]) -> None:
        self.program, self.form, self.ladder = program, program.form, program.ladder
        self.count = len(self.form.states)
        self.room = room
        self.most_programs, self.stop = most_programs, stop
        self.open_room = -inf

    @property
    def spent(self) -> bool:
        """Whether the work allowed is done."""
        return self.program.solved >= self.most_programs or self.stop()

    def walk(self) -> Iterator[ServingOrder]:
        """Every order that can have more than `room`; its rows stand in the program until the next is asked for."""
        base = self.program.depth
        for unused in self._unused():
            if self.count - len(unused) >= self._fewest():
                yield from self._extended((), unused, base)
        self.program.cut_back(base)

    def _fewest(self) -> int:
        return max(self.ladder.fewest(self.room, self.count), self.form.least_used)

    def _unused(self) -> Iterator[frozenset[int]]:
        """Sets of states below the first one used: with each all that is surely below it; the smallest sets first."""
        waiting, seen = [frozenset[int]()], {frozenset[int]()}
        while waiting:
            unused = waiting.pop(0)
            yield unused
            for one in range(self.count):
                more = unused | {one}
                if one in unused or not self.form.earlier[one] <= unused or more in seen:
                    continue
                if self.count - len(more) >= self._fewest():
                    seen.add(more)
                    waiting.append(more)

    def _extended(self, order: StateOrder, unused: frozenset[int], depth: int) -> Iterator[ServingOrder]:
        """All that follows an order whose rows stand in the program."""
        placed = frozenset(order) | unused
        able: list[tuple[float, int]] = []
        for state in range(self.count):
            if state not in placed and self.form.earlier[state] <= placed:
                if self.spent:
                    self._leave((*order, state), unused, depth)
                    continue
                reach = self._reach((*order, state), unused, depth)
                if reach is not None:
                    able.append((reach, state))
        for _, state in sorted(able, reverse=True):
            longer = (*order, state)
            if self.spent:
                self._leave(longer, unused, depth)
                continue
            reach = self._reach(longer, unused, depth)  # its rows again, and the room may have grown
            if reach is None:
                continue
            below = self.program.depth
            if len(longer) >= self.form.least_used and reach >= self.ladder.last * (1 - TIGHT):
                leaf = self._leaf(longer)
                if leaf is not None:
                    yield leaf
                self.program.cut_back(below)
            yield from self._extended(longer, unused, below)
            self.program.cut_back(depth)

    def _reach(self, order: StateOrder, unused: frozenset[int], depth: int) -> float | None:
        """How large the last u of an order can be; None where it cannot be part of a ladder. Leaves its rows."""
        program, left = self.program, self.count - len(unused) - len(order)
        program.cut_back(depth)
        last = order[-1]
        most = self.ladder.most(self.room, len(order))[-1]
        least = max(self.ladder.least(self.room, left + 1)[-1], self.ladder.first / FAR)
        if not least <= most * (1 + TIGHT):
            return None
        if len(order) > 1:
            program.rising_row(order[-2], last)
        else:
            for one in unused:
                if not any(one in self.form.earlier[other] for other in unused):
                    program.rising_row(one, last)
        program.between_row(last, min(least, most), most)
        found = program.most_of(order, self.room, self.form.states[last])
        return None if found is None else self.form.u(found, last)

    def _leaf(self, order: StateOrder) -> ServingOrder | None:
        """An order that ends here, with the most room it has; None where that is no more than is wanted."""
        self.program.row(self.form.states[order[-1]], self.form.scale.of(self.ladder.last) - TIGHT, inf)
        most = self._raised(order)
        return ServingOrder(order, most) if most > self.room else None

    def _raised(self, order: StateOrder) -> float:
        """The most room of an order, a trifle more than it really is; its rows are left as they were."""
        program, depth = self.program, self.program.depth
        room = self.room
        program.let_slack(1.0)
        try:
            for _ in range(RAISES):
                found = program.most_of(order, room, {program.slack: 1.0})
                if found is None:
                    return -inf if room == self.room else room + NO_ROOM
                us = [self.form.u(found, one) for one in order]
                reached = min((self.ladder.room(a, b) for a, b in pairwise(us)), default=inf)
                if found[program.slack] <= TIGHT or reached == inf:
                    return max(room, reached) + NO_ROOM
                if reached <= room + NO_ROOM / 10:
                    break
                room = reached
            return self._bounded(order, room)
        finally:
            program.cut_back(depth)
            program.let_slack(0.0)

    def _bounded(self, order: StateOrder, low: float) -> float:
        """A room that an order cannot have, by halving: where tangents do not settle it."""
        program, depth = self.program, self.program.depth
        high = self.ladder.ideal_room(len(order))
        program.let_slack(0.0)
        while high - low > NO_ROOM:
            middle = (low + high) / 2
            program.cut_back(depth)
            if program.most_of(order, middle, self.form.states[order[-1]]) is None:
                high = middle
            else:
                low = middle
        return high

    def _leave(self, order: StateOrder, unused: frozenset[int], depth: int) -> None:
        """Notes how much room an order that is not gone into could have."""
        kept, low = self.room, max(self.room, self.open_room)
        high = self.ladder.ideal_room(self.count - len(unused))
        try:
            self.room = low
            if low >= high:
                return
            if self.stop():
                self.open_room = high
                return
            if self._reach(order, unused, depth) is None:
                return
            while high - low > COARSE * high and not self.stop():
                self.room = (low + high) / 2
                if self._reach(order, unused, depth) is None:
                    high = self.room
                else:
                    low = self.room
            self.open_room = high
        finally:
            self.room = kept
            self.program.cut_back(depth)
