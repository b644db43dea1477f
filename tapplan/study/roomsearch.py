"""The most room of a wiring: every order of its ratios, and for each the whole turns it allows.

For wirings of taps alone, and for those in which one side's turns are sums and the other's are the same in all
states; others are searched box by box (`search`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import ceil, inf

import numpy as np

from tapplan.arrays import Floats
from tapplan.study.forms import StateForm
from tapplan.study.ladder import Ladder, ladder_of
from tapplan.study.limits import TurnLimits, limits_of
from tapplan.study.orders import OrderProgram, Orders, ServingOrder, StateOrder
from tapplan.study.plans import Plan, plan_of
from tapplan.study.request import Request
from tapplan.study.search import Stop
from tapplan.study.sums import SummedTurns, TurnSums, sums_of
from tapplan.study.taps import TapPairs, pairs_of
from tapplan.study.whole import TappedTurns
from tapplan.study.wiring import Wiring

SHARES = (0.005, 0.03, 0.2, 1.0)  # by how much less room than an order can have whole turns are tried
TRIFLE = 1e-9  # volts
CLEAR = 1e-6  # volts that no rounding makes up for: what leaves so much more is other turns
Structure = TapPairs | TurnSums


def structure_of(request: Request, wiring: Wiring) -> Structure | None:
    """What the search leans on in a wiring; None where it has nothing to lean on.

    Where a direct ratio is a must it has to lie between the ratios that serve the ends, whatever the turns.
    """
    if request.require_direct and not request.last_most < 1 < request.first_least:
        return None
    pairs = pairs_of(wiring)
    if pairs is not None or request.fixed_taps:
        return pairs
    return sums_of(wiring)


@dataclass(frozen=True, slots=True)
class MostRoom:
    """The plans found, each with more room than those before, and the most room that what is left could have.

    `open_room` is -inf where nothing is left that could have more than the last plan; `programs` were solved.
    """

    plans: tuple[Plan, ...]
    open_room: float
    programs: int


@dataclass
class RoomSearch:
    """A search under way: what was found, and the room that a better plan must exceed; it ends at `enough`."""

    request: Request
    wiring: Wiring
    structure: Structure
    room: float
    stop: Stop = lambda: False
    enough: float = inf
    plans: list[Plan] = field(default_factory=list)
    open_room: float = -inf

    def run(self, most_programs: float = inf) -> MostRoom:
        """The best plan with more room than `room`."""
        limits, ladder = limits_of(self.request), ladder_of(self.request)
        form = _form(self.structure, limits, ladder)
        if form is None:
            return MostRoom((), -inf, 0)
        program = OrderProgram(form, ladder)
        self.room = max(self.room, -ladder.high * ladder.first)
        orders = Orders(program, self.room, most_programs, self.stop)
        for leaf in orders.walk():
            if self.room >= self.enough:
                return MostRoom(tuple(self.plans), leaf.most, program.solved)
            if leaf.most > self.room:
                self._round(limits, leaf, program)
                orders.room = self.room
        self.open_room = max(self.open_room, orders.open_room)
        open_room = self.open_room if self.open_room > self.room else -inf
        return MostRoom(tuple(self.plans), open_room, program.solved)

    def _round(self, limits: TurnLimits, leaf: ServingOrder, program: OrderProgram) -> None:
        """The best whole turns of an order."""
        if isinstance(self.structure, TapPairs):
            self._round_taps(TappedTurns(self.structure, program.ladder, limits), leaf, program)
        else:
            self._round_sums(SummedTurns(self.structure, program.ladder, limits), leaf, program)

    def _round_taps(self, turns: TappedTurns, leaf: ServingOrder, program: OrderProgram) -> None:
        self._near_first(leaf, program, lambda: self._every(turns, leaf.order, program))

    def _near_first(self, leaf: ServingOrder, program: OrderProgram, every: Callable[[], bool]) -> None:
        """All whole turns; begun near the most room that the order can have, where there are few to try."""
        for share in SHARES:
            wanted = max(self.room, leaf.most * (1 - share))
            before, self.room = self.room, wanted
            depth = program.depth
            found = every()
            program.cut_back(depth)  # tangents of more room than may be wanted next
            self.room = max(before, self.room) if found else before
            if found or wanted <= before or self.stop():
                return

    def _every(self, turns: TappedTurns, order: StateOrder, program: OrderProgram) -> bool:
        """Every choice of whole turns with more room than is had; whether there was one."""
        found, again = False, True
        while again:  # in narrower limits when better turns are found
            again = False
            for tried in turns.blocks(order, program, self.room):
                if self.stop():
                    return found
                if self._better_taps(turns, tried, order):
                    found = again = True
                    break
        return found

    def _better_taps(self, turns: TappedTurns, tried: Floats, order: StateOrder) -> bool:
        better = False
        while tried.size:
            found = turns.solved(tried, order, self.room + TRIFLE)
            if not found.size:
                break
            place = int(np.argmax(turns.rooms(found, order)))
            if self._took(found[place]):
                better = True
            else:
                better |= self._less(turns, found[[place]], order)
                found = np.delete(found, place, axis=0)
            tried = found[:, turns.tried]
        return better

    def _less(self, turns: TappedTurns, found: Floats, order: StateOrder) -> bool:
        """Goes on from turns that are no plan, such as two ratios alike, to others of the same choice."""
        room = self.room
        while found.size:
            room = max(room, float(turns.rooms(found, order)[0])) + CLEAR
            found = turns.solved(found[:, turns.tried], order, room)
            if found.size and self._took(found[0]):
                return True
        return False

    def _round_sums(self, turns: SummedTurns, leaf: ServingOrder, program: OrderProgram) -> None:
        depth = program.depth
        for found in turns.near(leaf.order, program, self.room):
            self._better_sums(turns, found, leaf.order)
        program.cut_back(depth)
        if leaf.most > self.room:
            self._near_first(leaf, program, lambda: self._every_sum(turns, leaf, program))

    def _every_sum(self, turns: SummedTurns, leaf: ServingOrder, program: OrderProgram) -> bool:
        """Every choice of whole turns with more room than is had; whether there was one."""
        better, again = False, True
        while again:  # in narrower limits when better turns are found
            again = False
            for found in turns.all(leaf.order, program, self.room):
                if self.stop():
                    return better
                if self._better_sums(turns, found, leaf.order):
                    better = again = True
                    break
        if turns.too_many:
            self.open_room = max(self.open_room, leaf.most)
        return better

    def _better_sums(self, turns: SummedTurns, found: Floats, order: StateOrder) -> bool:
        rooms = turns.rooms(found, order) if found.size else np.empty(0)
        better = False
        for place in np.argsort(-rooms):
            if rooms[place] <= self.room + TRIFLE:
                break
            better |= self._took(found[place])
        return better

    def _took(self, turns: Floats) -> bool:
        """Takes turns as the best plan so far, in exact numbers; whether they are."""
        values = tuple(int(one) * self.request.multiple for one in turns)
        plan = plan_of(self.request, self.wiring, values)
        if plan is None or plan.room is None or float(plan.room) <= self.room:
            return False
        self.plans.append(plan)
        self.room = float(plan.room)
        return True


def _form(structure: Structure, limits: TurnLimits, ladder: Ladder) -> StateForm | None:
    """The states for a linear program; None where no turns keep the limits."""
    if limits.line_least > limits.top or limits.output_least > limits.top or limits.top < 1:
        return None
    if isinstance(structure, TurnSums):
        return structure.form(limits, ladder)
    least, most = np.full(structure.size, limits.lowest), np.full(structure.size, limits.highest)
    for tap in structure.outputs:
        least[tap] = max(least[tap], ceil(limits.output_least))
    return None if (least > most).any() else structure.form(least, most)
