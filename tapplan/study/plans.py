"""A plan: a wiring with its turns, the ratios it uses, and what it costs; all in exact numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from tapplan.design.model import Arrangement
from tapplan.study.request import Request, used
from tapplan.study.wiring import Code, Row, Wiring

Cost = tuple[Fraction, ...]


@dataclass(frozen=True)
class Plan:
    """One way to meet a request. `values` are the turns of the wiring's unknowns.

    `ratios` are those it uses, falling; `room` is the smallest room between neighbours in volts, None for a
    single band. `deviation`: mean distance of the output from what is wanted, as a share of that, each input at the
    ratio that brings it nearest. `proven`: no turns of this arrangement, with as many relays and taps, are better.
    """

    wiring: Wiring
    values: tuple[int, ...]
    ratios: tuple[Fraction, ...]
    room: Fraction | None
    deviation: Fraction
    proven: bool = True

    @property
    def arrangement(self) -> Arrangement:
        """Whose wiring it is."""
        return self.wiring.arrangement

    @property
    def relays(self) -> int:
        """How many relays it takes."""
        return len(self.wiring.relays)

    @property
    def taps(self) -> tuple[int, ...]:
        """Every tap of the main winding, by its turns from neutral, rising."""
        return tuple(sorted({turns(row, self.values) for _, row in self.wiring.taps}))

    @property
    def sections(self) -> tuple[int, ...]:
        """The turns of windings of their own, in series."""
        return tuple(self.values[unknown] for _, _, unknown in self.wiring.sections)

    @property
    def points(self) -> int:
        """What must be brought out: taps, and one more for each section."""
        return len(self.taps) + len(self.sections)

    @property
    def transformed(self) -> Fraction:
        """The largest share of the power that the core transforms: |1 - 1/g| in boost, |1 - g| in buck."""
        return max(1 - min(ratio, 1 / ratio) for ratio in self.ratios)

    @cached_property
    def codes(self) -> tuple[Code, ...]:
        """For each ratio the relays to drive: the fewest move from band to band, then the fewest are driven."""
        choices: dict[Fraction, list[Code]] = {}
        for rows, codes in self.wiring.states.items():
            ratio = ratio_of(rows, self.values)
            if ratio is not None:
                choices.setdefault(ratio, []).extend(codes)
        ways: list[tuple[int, int, list[Code]]] = [(0, len(one), [one]) for one in choices[self.ratios[0]]]
        for ratio in self.ratios[1:]:
            ways = [
                min(
                    ((moved + len(way[-1] ^ one), coils + len(one), [*way, one]) for moved, coils, way in ways),
                    key=_order,
                )
                for one in choices[ratio]
            ]
        return tuple(min(ways, key=_order)[2])

    @property
    def moves(self) -> tuple[int, ...]:
        """Relays that move at each step between neighbouring bands, from the highest ratio on."""
        return tuple(len(a ^ b) for a, b in pairwise(self.codes))

    def cost(self, objective: str) -> Cost:
        """What is to be small, the objective first; then more room, fewer moves, less deviation, less power."""
        room = Fraction(-(10**9)) if self.room is None else -self.room
        moves = Fraction(max(self.moves, default=0)), Fraction(sum(self.moves))
        first: dict[str, Cost] = {
            "room": (room,),
            "moves": moves,
            "deviation": (self.deviation,),
            "transformed": (self.transformed,),
        }
        return (*first[objective], room, *moves, self.deviation, self.transformed, *map(Fraction, self.values))


def _order(way: tuple[int, int, list[Code]]) -> tuple[int, int, list[list[int]]]:
    return way[0], way[1], [sorted(code) for code in way[2]]


def turns(row: Row, values: tuple[int, ...]) -> int:
    """The turns a row stands for."""
    return sum(a * b for a, b in zip(row, values, strict=True))


def ratio_of(rows: tuple[Row, Row], values: tuple[int, ...]) -> Fraction | None:
    """Output turns by line turns; None where that is no positive number."""
    line, output = (turns(row, values) for row in rows)
    return Fraction(output, line) if line > 0 and output > 0 else None


def best_plan(request: Request, wiring: Wiring, points: tuple[tuple[int, ...], ...], proven: bool) -> Plan | None:
    """The best of some points, settled in exact numbers."""
    plans = [plan for values in points if (plan := plan_of(request, wiring, values)) is not None]
    if not plans:
        return None
    return replace(
        min(_nearest(plans, request.objective), key=lambda plan: plan.cost(request.objective)), proven=proven
    )


def _nearest(plans: list[Plan], objective: str) -> list[Plan]:
    """Those that are best at the objective alone, where it costs little to tell."""
    if objective not in ("room", "moves"):
        return plans
    most = max(plan.room or Fraction(10**9) for plan in plans)
    return [plan for plan in plans if (plan.room or Fraction(10**9)) == most]


def plan_of(request: Request, wiring: Wiring, values: tuple[int, ...]) -> Plan | None:
    """The plan with these turns; None when it does not serve the range or a wish that is a must."""
    made = [ratio for rows in wiring.states if (ratio := ratio_of(rows, values)) is not None]
    found = used(request, made)
    if found is None or len(found[0]) < wiring.least_used or (request.require_direct and 1 not in found[0]):
        return None
    at = {point: turns(row, values) for point, row in wiring.taps}
    if any(rest in at and driven in at and at[rest] == at[driven] for _, rest, driven in wiring.relays):
        return None  # a relay between equal turns chooses nothing
    on_line, on_output = ([turns(rows[side], values) for rows in wiring.states] for side in (0, 1))
    if max(on_line) < request.line_least or min(on_output) < request.output_least:
        return None
    ratios, room = found
    steps = max((a / b - 1 for a, b in pairwise(ratios)), default=Fraction(0))
    if request.largest_step is not None and steps > request.largest_step:
        return None
    return Plan(wiring, values, ratios, room, deviation(request, ratios))


def deviation(request: Request, ratios: tuple[Fraction, ...]) -> Fraction:
    """The weighted mean distance of the output from the target, as a share of the target's middle."""
    target = request.target
    total = weight = Fraction(0)
    for volts, count in request.weights:
        off = (max(volts * ratio - target.high, target.low - volts * ratio) for ratio in ratios)
        total += count * max(min(off), Fraction(0))
        weight += count
    return total / weight / ((target.low + target.high) / 2)
