"""z3, an SMT solver over exact reals, asked the coverage questions in plain logic on random tables."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest
import z3

from tapplan.checks.rules import findings
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Backup, Design, Sensing
from tests.examples import PAIR, SHIPPED, TAPPED, design


def real(value: Fraction) -> z3.RatNumRef:
    return z3.Q(value.numerator, value.denominator)


def satisfiable(*constraints: z3.BoolRef) -> bool:
    solver = z3.Solver()
    solver.add(*constraints)
    answer = solver.check()
    assert answer != z3.unknown
    return bool(answer == z3.sat)


class Questions:
    """The promises of a table in logic: a true input V, a reading factor F in [1-e, 1+e]."""

    def __init__(self, made: Design) -> None:
        self.made = made
        self.rows = control_table(made).rows
        self.volts, self.factor = z3.Real("V"), z3.Real("F")
        low, high = made.mains.range_v
        error = made.sensing.error
        self.inside = z3.And(self.volts >= real(low), self.volts <= real(high))
        self.read = z3.And(self.factor >= real(1 - error), self.factor <= real(1 + error))

    def ends(self, place: int) -> tuple[Fraction, Fraction]:
        low, high = self.rows[place].hold.low, self.rows[place].hold.high
        backup = self.made.backup
        if backup is not None:
            low = backup.leave_v[0] if place == 0 else low
            high = backup.leave_v[1] if place == len(self.rows) - 1 else high
        return low, high

    def held(self, place: int) -> z3.BoolRef:
        low, high = self.ends(place)
        reading = self.factor * self.volts * real(self.rows[place].sensed or Fraction(0))
        return z3.And(reading >= real(low), reading <= real(high))

    def dead_zone(self) -> bool:
        unheld = [z3.Not(self.held(place)) for place in range(len(self.rows))]
        return satisfiable(self.inside, self.read, *unheld)

    def out_of_window(self, place: int) -> bool:
        row = self.rows[place]
        assert row.ratio is not None
        assert row.full is not None
        low, high = self.made.output.window_v
        breach = z3.Or(self.volts * real(row.full) < real(low), self.volts * real(row.ratio) > real(high))
        return satisfiable(self.inside, self.read, self.held(place), breach)

    def chatter(self, place: int) -> bool:
        """Whether the upper end of one band, as an input, is within the noise above the next one's lower end."""
        below, above = self.rows[place], self.rows[place + 1]
        u, d, n = z3.Reals("u d n")
        q_b, q_a = real(below.sensed or Fraction(1)), real(above.sensed or Fraction(1))
        return satisfiable(
            u * q_b == real(self.ends(place)[1]),
            d * q_a == real(self.ends(place + 1)[0]),
            2 * n == real(self.made.sensing.noise_v) * (1 / q_b + 1 / q_a),
            u - d >= 0,
            u - d <= n,
        )


def random_table(chance: Random) -> Design:
    """The sound pair of relays, its thresholds moved about."""
    edges = sorted(chance.sample(range(158, 285), 4))
    rows = [("b2", ["KO"]), ("b1", []), ("d", ["KL", "KO"]), ("k", ["KL"])]
    low = edges[0]
    bands = []
    for place, (name, energised) in enumerate(rows):
        high = max(edges[place] + chance.randint(18, 34), low + 5)
        bands.append((name, energised, low, high))
        low = high - chance.choice((-2, 0, 1, 2, 3, 5))
    at = chance.choice(("input", "input", "output"))
    if at == "output":
        ratios = (Fraction(129, 100), Fraction(227, 200), Fraction(1), Fraction(227, 258))
        bands = [(n, e, round(lo * g, 1), round(hi * g, 1)) for (n, e, lo, hi), g in zip(bands, ratios, strict=True)]
        bands = [(n, e, Fraction(str(float(lo))), Fraction(str(float(hi)))) for n, e, lo, hi in bands]
    sensing = Sensing(
        at=at, error_pct=Fraction(chance.choice((0, 1, 2)), 2), noise_v=Fraction(chance.choice((0, 1, 3)))
    )
    backup = None
    if at == "input" and chance.random() < 0.4:
        leave = (Fraction(bands[0][2] - chance.randint(0, 3)), Fraction(bands[-1][3] + chance.randint(0, 3)))
        backup = Backup(leave_v=leave, return_v=(leave[0] + 2, leave[1] - 2))
    start = edges[0] + chance.randint(-6, 20)
    made = design(TAPPED, PAIR, mains=(230, start, start + chance.randint(20, 110)), bands=bands, sensing=sensing,
                  backup=backup, load_va=700)  # fmt: skip
    if chance.random() < 0.3:
        made = replace(
            made, windings=tuple(replace(w, resistance_ohm=Fraction(chance.randint(1, 9), 5)) for w in made.windings)
        )
    return made


def agree(made: Design) -> tuple[int, int, int]:
    """Holds the findings against the solver; returns how many of each question were answered yes."""
    asked, found = Questions(made), findings(made, ["dead-zone", "out-of-window", "chatter"])
    codes = [finding.code for finding in found]
    assert asked.dead_zone() == ("dead-zone" in codes)
    outs = chatters = 0
    for place, row in enumerate(asked.rows):
        named = any(f.code == "out-of-window" and f.where == f'band "{row.name}"' for f in found)
        assert asked.out_of_window(place) == named
        outs += named
        if place + 1 < len(asked.rows):
            where = f'bands "{row.name}" and "{asked.rows[place + 1].name}"'
            named = any(f.code == "chatter" and f.where == where for f in found)
            assert asked.chatter(place) == named
            chatters += named
    return int("dead-zone" in codes), outs, chatters


def test_random_tables() -> None:
    chance = Random(4)
    answers = [agree(random_table(chance)) for _ in range(300)]
    for kind in range(3):
        yes = sum(answer[kind] > 0 for answer in answers)
        assert 30 <= yes <= 290, f"question {kind} is too one-sided to prove anything: {yes} of 300"


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_shipped_designs(file) -> None:  # type: ignore[no-untyped-def]
    agree(load(file))


def test_uncovered_range_of_random_turns() -> None:
    """Is there an input of the range that no usable ratio brings into the window?"""
    chance = Random(7)
    yes = 0
    for _ in range(200):
        turns = [200, chance.randint(10, 70), chance.randint(10, 70)]
        sections = [("a", "N", "A", turns[0]), ("b", "A", "B", turns[1]), ("c", "B", "C", turns[2])]
        low = chance.randint(140, 210)
        made = design(sections, PAIR, mains=(230, low, low + chance.randint(20, 140)))
        points = [turns[0], turns[0] + turns[1], sum(turns)]
        volts = z3.Real("V")
        served = [
            z3.And(volts * out >= 207 * line, volts * out <= 253 * line)
            for line in (points[0], points[2])
            for out in (points[1], points[2])
        ]
        expected = satisfiable(
            volts >= low, volts <= real(made.mains.range_v[1]), *[z3.Not(serving) for serving in served]
        )
        found = bool(findings(made, ["uncovered-range"]))
        assert found == expected
        yes += found
    assert 40 <= yes <= 180
