"""The same question put to CP-SAT, a general-purpose constraint solver: is there a plan with so much room?

Written down from the definition alone: a state may follow another when the room between them is enough, and a
plan is a path of states from one that serves the bottom of the range to one that serves its top. (The order of
ratios need not be known: a path with enough room between its states leaves enough between all neighbours passed.)
With the load on, the lower of two neighbours has line over output turns u as (1 + always) u + share |u - 1|.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, lcm

from ortools.sat.python import cp_model

from tapplan.study.request import Request
from tapplan.study.wiring import TurnRow, Wiring


def whole(*numbers: Fraction) -> list[int]:
    """The numbers times their least common denominator."""
    scale = lcm(*(number.denominator for number in numbers))
    return [int(number * scale) for number in numbers]


class Model:
    """The wiring's unknowns, the turns of its states, and the path."""

    def __init__(self, request: Request, wiring: Wiring, room: Fraction) -> None:
        self.model, self.request = cp_model.CpModel(), request
        top = int(request.turns.high)
        self.most = top * wiring.unknowns
        self.values = [self.model.new_int_var(1, top, f"x{place}") for place in range(wiring.unknowns)]
        for row in wiring.rising:
            self.model.add(self.turns(row) >= 1)
        highest = self.model.new_int_var(1, top, "highest")
        self.model.add_max_equality(highest, [self.turns(row) for row in wiring.highest])
        self.model.add(highest >= int(request.turns.low))
        self.states = [[self.positive(row) for row in (rows.line, rows.output)] for rows in wiring.states]
        self.bear_the_volts()
        self.path(room)

    def bear_the_volts(self) -> None:
        """Some state's line, and every state's output, on so many turns that none carries too many volts."""
        lines = [line for line, _ in self.states]
        line_most = self.model.new_int_var(1, self.most, "most of the line")
        self.model.add_max_equality(line_most, lines)
        self.model.add(line_most >= ceil(self.request.line_least))
        if self.request.output_least > 1:
            for _, output in self.states:
                self.model.add(output >= ceil(self.request.output_least))

    def apart(self, one: cp_model.IntVar, two: cp_model.IntVar) -> cp_model.IntVar:
        """At least how far two differ; where it counts against a plan, just so far."""
        variable = self.model.new_int_var(0, 2 * self.most, "apart")
        self.model.add(variable >= one - two)
        self.model.add(variable >= two - one)
        return variable

    def turns(self, row: TurnRow) -> cp_model.LinearExpr:
        return cp_model.LinearExpr.weighted_sum(self.values, row)

    def positive(self, row: TurnRow) -> cp_model.IntVar:
        """Turns as a variable; states whose turns are not above nought are excluded by the path, not here."""
        variable = self.model.new_int_var(-self.most, self.most, "turns")
        self.model.add(variable == self.turns(row))
        return variable

    def product(self, a: cp_model.IntVar, b: cp_model.IntVar) -> cp_model.IntVar:
        variable = self.model.new_int_var(-(self.most**2), self.most**2, "product")
        self.model.add_multiplication_equality(variable, [a, b])
        return variable

    def path(self, room: Fraction) -> None:
        """One arc out of the start, one into the end, and those between as a circuit through the states used."""
        request, arcs = self.request, []
        first = whole(request.first_least, Fraction(1))
        last = whole(request.last_most, Fraction(1))
        sag, away = request.sag, request.sag.share * request.low
        high, low, drop, least = whole(request.high, (1 + sag.always) * request.low, away, room)
        count = len(self.states)
        for one, (line, output) in enumerate(self.states):
            starts, ends, idle = (self.model.new_bool_var(f"{what}{one}") for what in ("starts", "ends", "idle"))
            self.model.add(first[1] * output >= first[0] * line).only_enforce_if(starts)
            self.model.add(last[1] * output <= last[0] * line).only_enforce_if(ends)
            self.model.add(line >= 1).only_enforce_if(~idle)
            self.model.add(output >= 1).only_enforce_if(~idle)
            arcs += [(count, one, starts), (one, count, ends), (one, one, idle)]
            for two, (line_two, output_two) in enumerate(self.states):
                if one == two:
                    continue
                follows = self.model.new_bool_var(f"{one} to {two}")
                between = high * self.product(line, output_two) - low * self.product(line_two, output)
                if drop:
                    between -= drop * self.product(self.apart(line_two, output_two), output)
                self.model.add(between >= least * self.product(output, output_two)).only_enforce_if(follows)
                arcs.append((one, two, follows))
        self.model.add_circuit(arcs)


def possible(request: Request, wiring: Wiring, room: Fraction, seconds: float = 60) -> tuple[int, ...] | None:
    """Turns that leave the room, or None when there are none; RuntimeError when there is no answer in time."""
    made = Model(request, wiring, room)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(made.model)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return tuple(solver.value(value) for value in made.values)
    if status != cp_model.INFEASIBLE:
        raise RuntimeError(f"no answer: {solver.status_name(status)}")
    return None
