"""The data by which a page plays steps: standings by number, phases in order, the axes they are drawn on."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

from tapplan.answers.steps import PhaseRow, Steps
from tapplan.checks.review import Review, review
from tapplan.exact import Span
from tapplan.pages.played import page_axes, played
from tests.answers.test_steps import row
from tests.pages.firmware.stages import stage

F = Fraction


@cache
def reviewed() -> Review:
    return review(stage(backup=True))


def phase(begin: int, until: Any, low: int, high: Any) -> PhaseRow:
    return PhaseRow(name="unnoticed", from_ms=F(begin), until_ms=F(until), output_v=Span(F(low), F(high)))


def steps(*rows: Any) -> Steps:
    return Steps(title="x", steps=rows, cures={}, unheld_inputs=False, curve="iti-2000", worst=(), told=(),
                 drawing=None, stated=False)  # fmt: skip


def data(*rows: Any) -> Any:
    return played(reviewed(), steps(*rows))


COURSE = (phase(0, "20.12345", 0, "300.00049"), phase(20, 40, 200, 210))


def test_a_step_goes_from_a_standing_through_others_by_their_numbers() -> None:
    """Bands as in the table, and what is none of them, as the backup, last; times and volts to a thousandth."""
    one = row(start="straight", entered=("boost", "backup"), at_v=F("270.5"), course=COURSE, percent=129.6)
    (told,) = data(one)["steps"]
    assert (told["from"], told["through"], told["line"]) == (1, [0, 2], 270.5)
    assert told["course"] == [[0.0, 20.123, 0.0, 300.0], [20.0, 40.0, 200.0, 210.0]]
    assert told["verdict"] == "over the curve, 130 % of nominal at worst"
    whole = data(row(start="boost", at_v=F(270), course=COURSE))["steps"][0]
    assert (whole["from"], whole["line"], whole["through"]) == (0, 270, [])


def test_the_axes_have_room_for_every_step_and_are_those_of_the_picture() -> None:
    low, high = row(course=COURSE), row(course=(phase(0, 20, 0, 690),))
    assert data(low)["nominal"] == 230
    for one in ((low,), (low, high)):
        axes, told = page_axes(reviewed(), steps(*one)), data(*one)["envelope"]
        assert told == {
            "left": axes.left, "wide": axes.wide, "bottom": axes.bottom, "high": axes.high, "first": axes.first_ms,
            "decades": axes.decades, "full": float(axes.full_v(F(230))),
        }  # fmt: skip
        assert told["full"] >= max(float(each.output_v.high) for step in one for each in step.course)
    assert data(low, high)["envelope"]["full"] > data(low)["envelope"]["full"]
    assert data()["steps"] == []


def test_only_the_course_at_the_worst_line_is_played() -> None:
    one = row(course=COURSE, phases=(phase(0, 99, 0, 999),))
    assert data(one)["steps"][0]["course"][0][1] == 20.123
    assert data(one)["envelope"]["full"] == data(replace(one, phases=()))["envelope"]["full"]
