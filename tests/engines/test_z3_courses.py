"""z3 asked about courses: can any sequence of inputs bring a band into force with the output outside the window?

The controller is written down again as logic over exact reals: one error share for the whole course, noise that is
free at each reading, what a row reads of an input volt between full load and none, the rule of coming back from away,
and one decision a reading. With W = (1 + eps) V all of it is linear. Answers must agree with the findings, and the
courses that these carry must be such courses.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
import z3

from tapplan.checks import held, hunting
from tapplan.checks.finding import Finding
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Backup, Design, Sensing
from tapplan.errors import TableError
from tests.engines.test_z3 import READING, real, satisfiable, shares
from tests.engines.test_z3 import random_table as anywhere
from tests.examples import PAIR, SHIPPED, TAPPED, design

F = Fraction
STEPS = 4  # decisions in a course: the first at switch-on
AWAY = -1
ONE = F(1)


class Courses:
    """Every course of some decisions, as constraints; row numbers are integers, -1 is away.

    A course ends with one more reading, that the last row keeps. In a quiet one all readings but this one are without
    noise and without load.
    """

    def __init__(self, made: Design, steps: int = STEPS, *, quiet: bool = False) -> None:
        self.made, self.table = made, control_table(made)
        self.rows = self.table.rows
        self.half = made.sensing.noise_v / 2
        self.shares = [shares(made, row) for row in self.rows]
        self.error = z3.Real("s")
        self.inputs = [z3.Real(f"W{k}") for k in range(steps + 1)]
        self.readings = [z3.Real(f"m{k}") for k in range(steps + 1)]
        self.at = [z3.Int(f"at{k}") for k in range(steps)]
        share, (low, high) = made.sensing.error, made.mains.range_v
        self.solver = z3.Solver()
        self.solver.add(self.error >= real(1 - share), self.error <= real(1 + share))
        for scaled in self.inputs:
            self.solver.add(scaled >= real(low) * self.error, scaled <= real(high) * self.error)
        befores: list[z3.ArithRef | int] = [AWAY, *self.at]
        for place, (before, scaled, reading) in enumerate(zip(befores, self.inputs, self.readings, strict=True)):
            self.solver.add(self.read(before, scaled, reading, quiet=quiet and place < steps))
        for before, reading, after in zip(befores, self.readings, self.at, strict=False):
            self.solver.add(self.decided(before, reading, after))

    def ends(self, number: int) -> tuple[Fraction, Fraction]:
        hold, backup = self.rows[number].hold, self.made.backup
        low = backup.leave_v[0] if backup is not None and number == 0 else hold.low
        high = backup.leave_v[1] if backup is not None and number == len(self.rows) - 1 else hold.high
        return low, high

    def read(
        self, before: z3.ArithRef | int, scaled: z3.ArithRef, reading: z3.ArithRef, *, quiet: bool
    ) -> z3.BoolRef:
        """What can be read of an input in whatever row is in force."""
        away = self.table.away.sensed
        assert away is not None
        shares = [(row.sensed or F(0),) * 2 for row in self.rows] if quiet else self.shares
        half = real(F(0) if quiet else self.half)
        cases = []
        for number, (least, most) in enumerate([*shares, (away, away)]):
            code = AWAY if number == len(self.rows) else number
            low, high = real(least) * scaled - half, real(most) * scaled + half
            cases.append(z3.And(before == code, reading >= low, reading <= high))
        return z3.Or(*cases)

    def holds(self, number: int, reading: z3.ArithRef, share: Fraction = ONE) -> z3.BoolRef:
        """Whether a row's hold contains a reading times a share."""
        low, high = self.ends(number)
        return z3.And(reading * real(share) >= real(low), reading * real(share) <= real(high))

    def came_back(self, reading: z3.ArithRef, after: z3.ArithRef) -> z3.BoolRef:
        """From away: inside `return_v`, of the bands that would hold, the one with the output nearest nominal."""
        away, backup = self.table.away.sensed, self.made.backup
        assert away is not None
        back = [] if backup is None else [reading >= real(backup.return_v[0]), reading <= real(backup.return_v[1])]
        holding = [self.holds(number, reading, (row.sensed or F(0)) / away) for number, row in enumerate(self.rows)]
        off = [reading * real((row.ratio or F(0)) / away) - real(self.made.output.nominal_v) for row in self.rows]
        far = [z3.If(one >= 0, one, -one) for one in off]
        cases = [z3.And(after == AWAY, z3.Not(z3.And(*back, z3.Or(*holding))))]
        for number, row in enumerate(self.rows):
            best = []
            for other, its in enumerate(self.rows):
                first = ((row.ratio or F(0)), number) < ((its.ratio or F(0)), other)
                nearer = far[number] <= far[other] if first else far[number] < far[other]
                if other != number:
                    best.append(z3.Or(z3.Not(holding[other]), nearer))
            cases.append(z3.And(after == number, *back, holding[number], *best))
        return z3.Or(*cases)

    def decided(self, before: z3.ArithRef | int, reading: z3.ArithRef, after: z3.ArithRef) -> z3.BoolRef:
        cases = [z3.And(before == AWAY, self.came_back(reading, after))]
        for number in range(len(self.rows)):
            low, high = self.ends(number)
            cases.append(z3.And(before == number, self.holds(number, reading), after == number))
            for above, out in ((True, reading > real(high)), (False, reading < real(low))):
                onward = list(range(number + 1, len(self.rows)) if above else range(number - 1, -1, -1))
                cases.append(z3.And(before == number, out, self.moved(onward, reading, after)))
        return z3.Or(*cases)

    def moved(self, onward: Sequence[int], reading: z3.ArithRef, after: z3.ArithRef) -> z3.BoolRef:
        """At the input to the nearest of these that holds the reading, elsewhere to the first; else away."""
        if self.made.sensing.at != "input":
            return after == (onward[0] if onward else AWAY)
        cases, passed = [], []
        for other in onward:
            cases.append(z3.And(*passed, self.holds(other, reading), after == other))
            passed.append(z3.Not(self.holds(other, reading)))
        return z3.Or(*cases, z3.And(*passed, after == AWAY))

    def possible(self, *constraints: z3.BoolRef) -> bool:
        self.solver.push()
        self.solver.add(*constraints)
        answer = self.solver.check()
        self.solver.pop()
        assert answer != z3.unknown
        return bool(answer == z3.sat)

    def in_row(self, number: int) -> z3.BoolRef:
        """The course ends in a row, which keeps its last reading."""
        return z3.And(self.at[-1] == number, self.holds(number, self.readings[-1]))

    def breaks(self, number: int) -> bool:
        """Whether some course ends in this row with the output, volts = ratio x W/s, outside the window."""
        low, high = self.made.output.window_v
        row, last = self.rows[number], self.inputs[-1]
        above = real(row.ratio or F(0)) * last > real(high) * self.error
        below = real(row.full or F(0)) * last < real(low) * self.error
        return self.possible(self.in_row(number), z3.Or(above, below))

    def leads(self, number: int, volts: Fraction) -> bool:
        """Whether some course ends in a row that holds a reading of this input."""
        return self.possible(self.in_row(number), self.inputs[-1] == real(volts) * self.error)

    def passes(self, number: int, volts: Sequence[Fraction], decisions: int) -> bool:
        """Whether a course of these inputs, each for some decisions, ends in a row that holds the last of them."""
        each = [one for one in volts for _ in range(decisions)]
        given = [
            scaled == real(one) * self.error for scaled, one in zip(self.inputs, [*each, volts[-1]], strict=True)
        ]
        return self.possible(self.in_row(number), *given)


def out_of_window(made: Design) -> list[Finding]:
    return list(held.out_of_window(review(made)))


def agree(made: Design) -> Counter[str]:
    """Checks every band of a design; counts those that break the promise, and those that keep it.

    A course that is told must be one, and where none is told no quiet one leads to the input named. "untold" counts
    those bands that noise or load lead to all the same.
    """
    asked, quiet, found = Courses(made), Courses(made, quiet=True), out_of_window(made)
    counts: Counter[str] = Counter()
    plain = made.sensing.noise_v == 0 and all(low == high for low, high in asked.shares)
    for number, row in enumerate(asked.rows):
        named = [one.witness for one in found if one.where == f'band "{row.name}"']
        told = [one.course_v for one in named if one.course_v is not None]
        breaks = asked.breaks(number)
        assert breaks or not told, row.name
        assert not plain or breaks == bool(told), row.name
        for course in told:
            assert Courses(made, len(course) * STEPS).passes(number, course, STEPS), (row.name, course)
        for one in named:
            assert one.input_v is not None
            assert one.course_v is not None or not quiet.leads(number, one.input_v), row.name
        counts["broken" if told else "untold" if breaks else "kept"] += 1
    return counts


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
    backup = None
    if chance.random() < 0.4:
        leave = min(low for _, _, low, _ in bands), max(high for _, _, _, high in bands)
        back = leave[0] + chance.randint(0, 30), leave[1] - chance.randint(0, 30)
        backup = Backup(leave_v=(F(leave[0]), F(leave[1])), return_v=(F(back[0]), F(back[1])))
    mains = (230, 160 + chance.randint(0, 20), 240 + chance.randint(0, 30))
    sensing = Sensing(error_pct=F(chance.randint(0, 4), 2), noise_v=F(chance.choice((0, 0, 0, 2, 5))))
    return design(TAPPED, PAIR, bands=bands, mains=mains, sensing=sensing, backup=backup)


def elsewhere(chance: Random) -> Design:
    """A table that reads the output or a winding."""
    while True:
        made = anywhere(chance)
        try:
            control_table(made)
        except TableError:  # return_v not inside leave_v
            continue
        if made.sensing.at != "input":
            return made


def test_random_tables_that_read_the_input() -> None:
    chance = Random(41)
    counts = sum((agree(random_table(chance)) for _ in range(120)), Counter[str]())
    assert counts["broken"] > 60
    assert counts["kept"] > 120


def test_random_tables_that_read_elsewhere() -> None:
    chance = Random(42)
    counts = sum((agree(elsewhere(chance)) for _ in range(60)), Counter[str]())
    assert counts["broken"] > 40
    assert counts["kept"] > 80


def test_none_is_told_where_only_noise_leads_there() -> None:
    """On at 194 V and read as 192.5, the stage is in b2; it stays there at 199.5 V read as 198. That is left out."""
    bands = [("b2", ["KO"], 171, 198), ("b1", [], 193, 224), ("d", ["KL", "KO"], 226, 231), ("k", ["KL"], 231, 318)]
    backup = Backup(leave_v=(F(171), F(318)), return_v=(F(175), F(317)))
    sensing = Sensing(noise_v=F(3))
    made = design(TAPPED, PAIR, mains=(230, 194, 225), bands=bands, sensing=sensing, backup=backup)
    assert agree(made)["untold"] == 1
    first = out_of_window(made)[0]
    assert first.where == 'band "b2"'
    assert "no course of readings without noise" in first.message


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_designs(path: Path) -> None:
    agree(load(path))


@pytest.mark.parametrize("at", ["output", "winding"])
def test_hunting_of_readings_elsewhere(at: str) -> None:
    """Is there an input at which two neighbours each call for the other? 300 random pairs of thresholds."""
    chance = Random(43)
    yes = 0
    upper_share, lower_share = (F(227, 200), F(1)) if at == "output" else (F(20, 200), F(20, 258))
    for _ in range(300):
        upper, lower = (
            F(chance.randint(205, 253)) * upper_share / F(227, 200),
            F(chance.randint(200, 240)) * lower_share,
        )
        bands = [("up", [], upper - 30 * upper_share, upper), ("down", ["KL", "KO"], lower, lower + 60 * lower_share)]
        place = at if at == "output" else ("R2", "R1")
        made = design((*TAPPED, READING), PAIR, bands=bands, sensing=Sensing(at=place))
        volts = z3.Real("V")
        hunts = satisfiable(volts * real(upper_share) > real(upper), volts * real(lower_share) < real(lower))
        named = any(one.code == "hunting" for one in hunting.hunting(review(made)))
        assert hunts == named
        yes += named
    assert 60 < yes < 290
