"""z3 asked about courses: can any sequence of inputs bring a band into force with the output outside the window?

The controller is written down again as logic over exact reals: one reading factor for the whole course, readings
r with V = r/F inside the mains range, the switch-on rule, and one decision a step. Answers must agree with the
findings and with the courses they carry.
"""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
import z3

from tapplan.checks.rules import findings
from tapplan.control.table import Row, control_table
from tapplan.design.file import load
from tapplan.design.model import Design, Sensing
from tests.engines.test_z3 import real, satisfiable
from tests.examples import PAIR, SHIPPED, TAPPED, design

F = Fraction
STEPS = 4  # inputs in a course: the switch-on and three changes


class Courses:
    """Every course of `STEPS` inputs, as constraints; row numbers are integers, -1 is outside all bands."""

    def __init__(self, made: Design) -> None:
        self.made, self.rows = made, control_table(made).rows
        self.factor = z3.Real("F")
        self.readings = [z3.Real(f"r{k}") for k in range(STEPS)]
        self.at = [z3.Int(f"at{k}") for k in range(STEPS)]
        low, high = made.mains.range_v
        error = made.sensing.error
        self.solver = z3.Solver()
        self.solver.add(self.factor >= real(1 - error), self.factor <= real(1 + error))
        for reading in self.readings:
            self.solver.add(reading >= real(low) * self.factor, reading <= real(high) * self.factor)
        self.solver.add(self.started(self.readings[0], self.at[0]))
        for k in range(1, STEPS):
            self.solver.add(self.decided(self.at[k - 1], self.readings[k], self.at[k]))

    def holds(self, row: Row, reading: z3.ArithRef) -> z3.BoolRef:
        hold = row.input_hold
        assert hold is not None
        return z3.And(reading >= real(hold.low), reading <= real(hold.high))

    def distance(self, row: Row, reading: z3.ArithRef) -> z3.ArithRef:
        off = reading * real(row.ratio or F(0)) - real(self.made.output.nominal_v)
        return z3.If(off >= 0, off, -off)

    def started(self, reading: z3.ArithRef, at: z3.ArithRef) -> z3.BoolRef:
        cases = [z3.And(at == -1, *[z3.Not(self.holds(row, reading)) for row in self.rows])]
        for number, row in enumerate(self.rows):
            no_nearer = []
            for other in self.rows:
                if other is not row:
                    mine, its = self.distance(row, reading), self.distance(other, reading)
                    lower = real(row.ratio or F(0)) <= real(other.ratio or F(0))
                    no_nearer.append(
                        z3.Or(z3.Not(self.holds(other, reading)), mine < its, z3.And(mine == its, lower))
                    )
            cases.append(z3.And(at == number, self.holds(row, reading), *no_nearer))
        return z3.Or(*cases)

    def decided(self, before: z3.ArithRef, reading: z3.ArithRef, after: z3.ArithRef) -> z3.BoolRef:
        cases = [z3.And(before == -1, self.started(reading, after))]
        for number, row in enumerate(self.rows):
            hold = row.input_hold
            assert hold is not None
            cases.append(z3.And(before == number, self.holds(row, reading), after == number))
            for above, out in ((True, reading > real(hold.high)), (False, reading < real(hold.low))):
                onward = range(number + 1, len(self.rows)) if above else range(number - 1, -1, -1)
                passed: list[z3.BoolRef] = []
                for other in onward:
                    held = self.holds(self.rows[other], reading)
                    cases.append(z3.And(before == number, out, *passed, held, after == other))
                    passed.append(z3.Not(held))
                cases.append(z3.And(before == number, out, *passed, after == -1))
        return z3.Or(*cases)

    def breaks(self, number: int) -> bool:
        """Whether some course ends in this row with the output, volts = ratio x r/F, outside the window."""
        low, high = self.made.output.window_v
        row = self.rows[number]
        last = self.readings[-1]
        self.solver.push()
        out = z3.Or(
            real(row.ratio or F(0)) * last > real(high) * self.factor,
            real(row.full or F(0)) * last < real(low) * self.factor,
        )
        self.solver.add(self.at[-1] == number, self.holds(row, last), out)
        answer = self.solver.check()
        self.solver.pop()
        assert answer != z3.unknown
        return bool(answer == z3.sat)


def agree(made: Design) -> tuple[int, int]:
    """Checks every band of a design; returns how many break and how many keep the promise."""
    asked, found = Courses(made), findings(made, ["out-of-window"])
    broken = 0
    for number, row in enumerate(asked.rows):
        named = [one for one in found if one.code == "out-of-window" and one.where == f'band "{row.name}"']
        reachable = any(one.witness.course_v is not None for one in named)
        assert asked.breaks(number) == reachable, row.name
        broken += reachable
    return broken, len(asked.rows) - broken


def random_table(chance: Random) -> Design:
    """Three or four bands whose ends lie about where they should, some too far out, some bands inside others."""
    order = [("b2", ["KO"]), ("b1", []), ("d", ["KL", "KO"]), ("k", ["KL"])]
    chosen = order if chance.random() < 0.6 else order[:3]
    ends = [165, 191, 214, 243, 275]
    bands = [
        (name, energised, ends[n] - chance.randint(-2, 6), ends[n + 1] + chance.randint(-2, 6))
        for n, (name, energised) in enumerate(chosen)
    ]
    if chance.random() < 0.3:
        place = chance.randrange(1, len(bands))
        name, energised, low, high = bands[place]
        middle = (low + high) // 2
        bands[place] = (name, energised, middle - chance.randint(1, 4), middle + chance.randint(1, 4))
    mains = (230, 160 + chance.randint(0, 20), 240 + chance.randint(0, 30))
    return design(TAPPED, PAIR, bands=bands, mains=mains, sensing=Sensing(error_pct=F(chance.randint(0, 4), 2)))


def test_random_tables() -> None:
    chance = Random(41)
    answers = [agree(random_table(chance)) for _ in range(200)]
    broken, kept = (sum(one[place] for one in answers) for place in (0, 1))
    assert broken > 60
    assert kept > 200


PLAIN = [made for made in map(load, SHIPPED) if made.sensing.at == "input" and made.backup is None]


@pytest.mark.parametrize("made", PLAIN, ids=lambda made: made.title)
def test_shipped_designs_that_read_the_input_and_have_no_backup(made: Design) -> None:
    agree(made)


def test_such_designs_are_shipped() -> None:
    assert len(PLAIN) >= 3


def test_hunting_of_output_readings() -> None:
    """Is there an input at which two neighbours each call for the other? 300 random pairs of thresholds."""
    chance = Random(43)
    yes = 0
    for _ in range(300):
        upper, lower = chance.randint(205, 253), chance.randint(200, 240)
        bands = [("up", [], 190, upper), ("down", ["KL", "KO"], lower, 260)]
        made = design(TAPPED, PAIR, bands=bands, sensing=Sensing(at="output"))
        volts = z3.Real("V")
        hunts = satisfiable(volts * real(F(227, 200)) > upper, volts < lower)
        named = bool(findings(made, ["hunting"]))
        assert hunts == named
        yes += named
    assert 60 < yes < 290
