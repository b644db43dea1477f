"""Relays at some inputs: courses as rows, points by name."""

from __future__ import annotations

from fractions import Fraction

from tapplan.answers.at import relays_at
from tapplan.answers.sweep import swept
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.file import load
from tests.examples import ROOT

F = Fraction
DESIGNS = ROOT / "designs"


def test_courses_are_the_rows_of_at_and_its_points_by_name() -> None:
    answer = relays_at(review(load(DESIGNS / "ridge-dispensary.toml")).table, [F(190), F(230)])
    assert answer.rows() == answer.courses
    assert answer.rows("points") == answer.points
    assert [one.input_v for one in answer.points] == [190, 230]


def test_a_pass_puts_out_the_ratio_times_the_input() -> None:
    table = control_table(load(DESIGNS / "ridge-dispensary.toml"))
    (there,) = swept(table, [F(volts) for volts in range(180, 240, 5)]).passes
    ratios = {row.name: row.ratio for row in table.rows}
    assert all(one.output_v == ratios[one.band] * one.input_v for one in there.rows)
    assert {one.band for one in there.rows} >= {"boost 2", "direct"}
