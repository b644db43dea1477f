"""A plan: a wiring with its turns, the ratios it uses, and what it costs; all in exact numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import inf

from tapplan.design.model import Arrangement
from tapplan.study.request import Request, in_whole, used
from tapplan.study.wiring import Code, SideRows, TurnRow, Wiring

Cost = tuple[Fraction, ...]


@dataclass(frozen=True)
class Plan:
    """One way to meet a request. `values` are the turns of the wiring's unknowns.

    `ratios` are those it uses, falling; `room` is the smallest room between neighbours in volts, None for a
    single band. `open_score` is what turns of this arrangement, with as many relays, poles and taps, that were not
    looked at could score at most (room in volts, else minus the objective's measure); -inf: none is better.
    """

    wiring: Wiring
    values: tuple[int, ...]
    ratios: tuple[Fraction, ...]
    room: Fraction | None
    request: Request = field(repr=False)
    open_score: float = -inf

    @property
    def proven(self) -> bool:
        """Whether no turns of this arrangement, with as many relays, poles and taps, are better."""
        return self.open_score == -inf

    @property
    def score(self) -> float:
        """Its own score."""
        if self.request.objective in ("room", "moves"):
            return inf if self.room is None else float(self.room)
        return -float(self.cost(self.request.objective)[0])

    @property
    def arrangement(self) -> Arrangement:
        """Whose wiring it is."""
        return self.wiring.arrangement

    @property
    def relays(self) -> int:
        """How many relays it takes."""
        return self.wiring.relays

    @property
    def poles(self) -> int:
        """How many changeover contacts its relays have in all."""
        return len(self.wiring.poles)

    @property
    def taps(self) -> tuple[int, ...]:
        """Every tap of the main winding, by its turns from neutral, rising."""
        return tuple(sorted({turns(tap.row, self.values) for tap in self.wiring.taps}))

    @property
    def sections(self) -> tuple[int, ...]:
        """The turns of windings of their own, in series."""
        return tuple(self.values[one.unknown] for one in self.wiring.sections)

    @property
    def points(self) -> int:
        """What must be brought out: taps, and one more for each section."""
        return len(self.taps) + len(self.sections)

    @property
    def transformed(self) -> Fraction:
        """The largest share of the power that the core transforms: |1 - 1/g| in boost, |1 - g| in buck."""
        return max(1 - min(ratio, 1 / ratio) for ratio in self.ratios)

    @cached_property
    def deviation(self) -> Fraction:
        """The weighted mean distance of the output from the target, as a share of the target's middle.

        Each input takes the ratio that brings it nearest.
        """
        weights, target = self.request.whole_weights, self.request.target
        made = in_whole(self.ratios)  # whole numbers: thousands of plans may have the same room
        wanted = in_whole((target.low, target.high))
        bottom, top = (end * weights.per_volt * made.per_one for end in wanted.numbers)
        total = 0
        for volts, count in zip(weights.volts, weights.counts, strict=True):
            twice = min(abs(2 * volts * wanted.per_one * ratio - bottom - top) for ratio in made.numbers)
            total += count * max(twice - (top - bottom), 0)
        mean = Fraction(total, 2 * weights.per_volt * made.per_one * wanted.per_one * sum(weights.counts))
        return mean / ((target.low + target.high) / 2)

    @cached_property
    def codes(self) -> tuple[Code, ...]:
        """For each ratio the relays to drive: the fewest move from band to band, then the fewest are driven."""
        choices: dict[Fraction, list[Code]] = {}
        for rows, codes in self.wiring.states.items():
            ratio = ratio_of(rows, self.values)
            if ratio is not None:
                choices.setdefault(ratio, []).extend(codes)
        ways = [_Way(0, len(one), [one]) for one in choices[self.ratios[0]]]
        for ratio in self.ratios[1:]:
            ways = [min((way.to(one) for way in ways), key=_Way.order) for one in choices[ratio]]
        return tuple(min(ways, key=_Way.order).codes)

    @property
    def moves(self) -> tuple[int, ...]:
        """Relays that move at each step between neighbouring bands, from the highest ratio on."""
        return tuple(len(a ^ b) for a, b in pairwise(self.codes))

    def cost(self, objective: str) -> Cost:
        """What is to be small, the objective first; then more room, fewer moves, less deviation, less power."""
        return tuple(part for measure in _measures(objective) for part in measure(self))


MEASURES: dict[str, Callable[[Plan], Cost]] = {
    "room": lambda plan: (Fraction(-(10**9)) if plan.room is None else -plan.room,),
    "moves": lambda plan: (Fraction(max(plan.moves, default=0)), Fraction(sum(plan.moves))),
    "deviation": lambda plan: (plan.deviation,),
    "transformed": lambda plan: (plan.transformed,),
    "turns": lambda plan: tuple(map(Fraction, plan.values)),
}  # what each objective wants small, in the order in which they settle ties


@dataclass(frozen=True, slots=True)
class _Way:
    """Codes one after the other: the relays moved between them in all, the coils driven in all."""

    moved: int
    driven: int
    codes: list[Code]

    def to(self, code: Code) -> _Way:
        return _Way(self.moved + len(self.codes[-1] ^ code), self.driven + len(code), [*self.codes, code])

    def order(self) -> tuple[int, int, list[list[int]]]:
        return self.moved, self.driven, [sorted(code) for code in self.codes]


def turns(form: TurnRow, values: tuple[int, ...]) -> int:
    """The turns a row stands for."""
    return sum(a * b for a, b in zip(form, values, strict=True))


def ratio_of(rows: SideRows, values: tuple[int, ...]) -> Fraction | None:
    """Output turns by line turns; None where that is no positive number."""
    line, output = turns(rows.line, values), turns(rows.output, values)
    return Fraction(output, line) if line > 0 and output > 0 else None


def best_plan(request: Request, wiring: Wiring, points: tuple[tuple[int, ...], ...]) -> Plan | None:
    """The best of some points, settled in exact numbers."""
    plans = [plan for values in points if (plan := plan_of(request, wiring, values)) is not None]
    for measure in _measures(request.objective):
        least = min(map(measure, plans), default=())
        plans = [plan for plan in plans if measure(plan) == least]
    return plans[0] if plans else None


def _measures(objective: str) -> list[Callable[[Plan], Cost]]:
    first = sorted(MEASURES, key=lambda name: name != objective)
    return [MEASURES[name] for name in first]


def plan_of(request: Request, wiring: Wiring, values: tuple[int, ...]) -> Plan | None:
    """The plan with these turns; None when it does not serve the range or a wish that is a must."""
    made = [ratio for rows in wiring.states if (ratio := ratio_of(rows, values)) is not None]
    found = used(request, made)
    if found is None or len(found.ratios) < wiring.least_used or (request.require_direct and 1 not in found.ratios):
        return None
    at = {tap.point: turns(tap.row, values) for tap in wiring.taps}
    ends = [(one.rest, one.driven) for one in wiring.poles]
    if any(rest in at and driven in at and at[rest] == at[driven] for rest, driven in ends):
        return None  # a relay between equal turns chooses nothing
    line_most = max(turns(rows.line, values) for rows in wiring.states)
    output_least = min(turns(rows.output, values) for rows in wiring.states)
    if line_most < request.line_least or output_least < request.output_least:
        return None
    steps = max((a / b - 1 for a, b in pairwise(found.ratios)), default=Fraction(0))
    if request.largest_step is not None and steps > request.largest_step:
        return None
    return Plan(wiring, values, found.ratios, found.room, request)
