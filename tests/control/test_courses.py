"""The shortest courses that lead into a row: replayed by the plain lookup, and none shorter exists."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from tapplan.checks.held import out_of_window
from tapplan.checks.review import review_of
from tapplan.control.courses import shortest_course
from tapplan.control.decisions import decisions
from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Design
from tapplan.exact import Span
from tests.control.test_automaton import Plain, random_design, random_output_design
from tests.examples import PAIR, TAPPED, design
from tests.outside import rule as literal

F = Fraction
RANGE = Span(F(165), F(268))


def literal_of(table: ControlTable) -> literal.Table:
    """The same rows for the literal rule, which shares no code with the compiled one."""
    made = table.design
    rows = [literal.Row(row.name, row.ratio, row.sensed, (row.hold.low, row.hold.high)) for row in table.rows]
    return literal.Table(
        rows=tuple(rows),
        at_input=made.sensing.at == "input",
        nominal=made.output.nominal_v,
        away_sensed=F(1) if made.sensing.at == "input" else F(227, 200),
        leave=made.backup.leave_v if made.backup else None,
        back=made.backup.return_v if made.backup else None,
    )


def after(plain: literal.Table, row: str, volts: Fraction) -> str | None:
    """Where the literal rule comes to rest at an input; None where it never does."""
    met = [row]
    while (there := literal.decide(plain, met[-1], volts * literal.sensed_in(plain, met[-1]))) != met[-1]:
        if there in met:
            return None
        met.append(there)
    return met[-1]


def depths(plain: literal.Table) -> dict[str, int]:
    """After how many inputs of the range, at the least, the literal rule can rest in each row; away after none."""
    inputs = [RANGE.low + F(n, 4) for n in range(int(RANGE.high - RANGE.low) * 4 + 1)]
    found, here = {"away": 0}, ["away"]
    while here:
        fresh = {there for row in here for volts in inputs if (there := after(plain, row, volts))} - found.keys()
        found |= dict.fromkeys(fresh, max(found.values()) + 1)
        here = sorted(fresh)
    return found


@pytest.mark.parametrize("drawn", [random_design, random_output_design], ids=["input", "output"])
def test_courses_replay_and_are_shortest(drawn: Callable[[Random], Design]) -> None:
    """All ends of these tables are whole or, read at the output, met by some quarter of a volt beyond them."""
    chance = Random(21)
    lengths = Counter[int]()
    for _ in range(50):
        table = control_table(drawn(chance))
        made, plain = decisions(table), literal_of(table)
        reached = depths(plain)
        for number, row in enumerate(table.rows):
            hold = row.input_hold
            assert hold is not None
            last = chance.choice([hold.low, hold.high, (hold.low + hold.high) / 2])
            course = shortest_course(made, number, last, RANGE)
            if course is None:
                assert row.name not in reached
                assert after(plain, "away", last) != row.name
                continue
            assert course[-1] == last
            assert all(RANGE.low <= one <= RANGE.high for one in course[:-1])
            standing: str | None = "away"
            for volts in course:
                assert standing is not None
                standing = after(plain, standing, volts)
            assert standing == row.name
            least = [depth + 1 for one, depth in reached.items() if after(plain, one, last) == row.name]
            assert len(course) == min(least)
            lengths[len(course)] += 1
    assert {1, 2} <= set(lengths)


def test_a_row_that_does_not_hold_the_reading_has_no_course() -> None:
    made = decisions(control_table(random_design(Random(1))))
    assert shortest_course(made, 0, F(400), RANGE) is None


def test_a_course_by_hand() -> None:
    """At 190 V a start is "mild" (215.7 V, 14.3 off), not "strong" (245.1 V, 15.1 off).

    A course to "strong" begins at the lowest input of all and goes on to 190 V, which it holds up to 192.
    """
    table = control_table(design(TAPPED, PAIR, bands=[("strong", ["KO"], 160, 192), ("mild", [], 188, 217)]))
    made = decisions(table)
    assert shortest_course(made, 0, F(190), RANGE) == (165, 190)
    assert shortest_course(made, 1, F(190), RANGE) == (190,)
    assert shortest_course(made, 0, F(162), RANGE) == (162,)
    assert shortest_course(made, 0, F(190), Span(F(190), F(268))) is None
    assert shortest_course(made, 0, F(190), Span(F(165), F(170))) == (165, 190)


def test_every_witness_of_an_output_out_of_the_window_replays_to_its_failure() -> None:
    """The course of true inputs, read with one error and with free noise, steps a plain controller into the failure.

    Error and noise add up: the last reading may be off by 1 % and half the noise, and no more.
    """
    chance = Random(22)
    replayed = noisy = 0
    for _ in range(150):
        drawn = random_design(chance)
        stiff, erring = replace(drawn.mains, source_ohm=F(0)), replace(drawn.sensing, error_pct=F(1))
        made = replace(drawn, mains=stiff, sensing=erring, backup=None)
        table = control_table(made)
        plain, half = Plain(made, table), made.sensing.noise_v / 2
        for found in out_of_window(review_of(table)):
            witness = found.witness
            if witness.course_v is None or witness.reading_v is None or witness.input_v is None:
                continue
            assert witness.course_v[-1] == witness.input_v
            error = min(max(witness.reading_v / witness.input_v - 1, -F(1, 100)), F(1, 100))
            noise = witness.reading_v - (1 + error) * witness.input_v
            assert abs(noise) <= half
            rows: set[int | None] = {None}
            for volts in witness.course_v[:-1]:
                levels = [(1 + error) * volts + half * level / 10 for level in range(-10, 11)]
                rows = {end for row in rows for reading in levels for end in settled(plain, row, float(reading))}
            ends = {end for row in rows for end in settled(plain, row, float(witness.reading_v))}
            assert witness.bands is not None
            assert witness.bands[0] in {table.rows[end].name for end in ends if end is not None}
            output = witness.output_v
            assert output is not None
            assert not made.output.window.low <= output <= made.output.window.high
            replayed, noisy = replayed + 1, noisy + (noise != 0)
    assert replayed > 60
    assert noisy > 30


def settled(plain: Plain, row: int | None, reading: float) -> set[int | None]:
    """Where one reading again and again leads; at a threshold either side of it will do, since floats round."""
    ends: set[int | None] = set()
    for tiny in (-1e-12, 0, 1e-12):
        here = row
        while (there := plain.step(here, reading * (1 + tiny), 0.0)) != here:
            here = there
        ends.add(here)
    return ends
