"""The shortest courses that lead into a row: replayed by the plain lookup, and none shorter exists."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

from tapplan.checks.rules import findings
from tapplan.control.courses import shortest_course
from tapplan.control.lookup import holds, inputs_of_interest, moves_to, starts
from tapplan.control.table import ControlTable, control_table
from tapplan.exact import Span
from tests.control.test_automaton import Plain, random_design

F = Fraction
RANGE = Span(F(165), F(268))


def rows_after(table: ControlTable, readings: tuple[Fraction, ...]) -> set[int]:
    """Every row that can be in force after these readings."""
    here = {number for number, row in enumerate(table.rows) if row in starts(table, (readings[0], 0))}
    for reading in readings[1:]:
        here = {([number, *moves_to(table, number, reading)])[-1] for number in here}
    return here


def test_courses_replay_and_are_shortest() -> None:
    chance = Random(21)
    lengths = []
    for _ in range(150):
        table = control_table(random_design(chance))
        for number, row in enumerate(table.rows):
            hold = row.input_hold
            assert hold is not None
            last = chance.choice([hold.low, hold.high, (hold.low + hold.high) / 2])
            course = shortest_course(table, number, last, RANGE)
            if course is None:
                assert number not in reachable_rows(table)
                continue
            assert course[-1] == last
            assert all(RANGE.low <= one <= RANGE.high for one in course[:-1])
            assert number in rows_after(table, course)
            assert holds(row, (last, 0))
            lengths.append(len(course))
            if len(course) == 2:
                assert number not in rows_after(table, (last,))
    assert {1, 2} <= set(lengths)


def reachable_rows(table: ControlTable) -> set[int]:
    inputs = [volt for volt in inputs_of_interest(table) if RANGE.low <= volt <= RANGE.high]
    here = {number for volt in inputs for number, row in enumerate(table.rows) if row in starts(table, (volt, 0))}
    while True:
        more = here | {([n, *moves_to(table, n, volt)])[-1] for n in here for volt in inputs}
        if more == here:
            return here
        here = more


def test_a_row_that_does_not_hold_the_reading_has_no_course() -> None:
    table = control_table(random_design(Random(1)))
    assert shortest_course(table, 0, F(400), RANGE) is None


def test_every_witness_of_an_output_out_of_the_window_replays_to_its_failure() -> None:
    """The course of true inputs, read with the witness's own error, steps a plain controller into the failure."""
    chance = Random(22)
    replayed = 0
    for _ in range(150):
        drawn = random_design(chance)
        stiff, erring = replace(drawn.mains, source_ohm=F(0)), replace(drawn.sensing, error_pct=F(1))
        made = replace(drawn, mains=stiff, sensing=erring, backup=None)
        table = control_table(made)
        plain = Plain(made, table)
        for found in findings(made, ["out-of-window"]):
            witness = found.witness
            if witness.course_v is None or witness.reading_v is None or witness.input_v is None:
                continue
            factor = float(witness.reading_v / witness.input_v)
            assert 0.99 - 1e-9 <= factor <= 1.01 + 1e-9
            assert witness.course_v[-1] == witness.input_v
            first = float(witness.course_v[0]) * factor
            rows = {plain.back(first * (1 + tiny), 0.0) for tiny in (-1e-12, 0, 1e-12)}
            ends = {settled(plain, start, witness.course_v[1:], factor) for start in rows}
            assert witness.bands is not None
            assert witness.bands[0] in {table.rows[end].name for end in ends if end is not None}
            output = witness.output_v
            assert output is not None
            assert not made.output.window.low <= output <= made.output.window.high
            replayed += 1
    assert replayed > 60


def settled(plain: Plain, row: int | None, inputs: tuple[Fraction, ...], factor: float) -> int | None:
    """The row after these inputs; at a threshold either side of it will do, since floats round."""
    for volts in inputs:
        while row is not None:
            there = {plain.step(row, float(volts) * factor * (1 + tiny), 0.0) for tiny in (-1e-12, 0, 1e-12)}
            if row in there:
                break
            row = next(iter(there - {None}), None)
    return row
