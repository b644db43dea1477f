"""Slow passes over the line, and what stands where no band holds, by hand from the holds of one relay."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest

from tapplan.answers.at import driven_outside, outside_told, relays_at
from tapplan.answers.sweep import Sweep, swept, swept_both_ways
from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Backup
from tests.examples import design

F = Fraction
UP = (170, 180, 215, 225, 230, 231, 270, 271)


@cache
def table(*, backup: bool = False) -> ControlTable:
    """Boost, of ratio 11/10, kept from 180 to 230 V, straight from 220 to 270 V."""
    made = design(
        [("base", "N", "LINE", 200), ("more", "LINE", "A", 20)],
        {"K": ("OUT", "LINE", "A")},
        bands=[("boost", ("K",), 180, 230), ("straight", (), 220, 270)],
    )
    away = Backup(leave_v=(F(180), F(270)), return_v=(F(185), F(265)), energised=("K",))
    return control_table(replace(made, backup=away) if backup else made)


def passed(answer: Sweep, place: int = 0) -> list[tuple[int, str, str]]:
    return [(int(row.input_v), row.band, row.moved) for row in answer.passes[place].rows]


NONE = "outside: no band holds, and the file says nothing of it"


def test_a_rising_pass_keeps_a_band_to_its_upper_end_and_marks_each_change() -> None:
    assert passed(swept(table(), tuple(map(F, UP)))) == [
        (170, NONE, ""),
        (180, "boost", "<- moved"),
        (215, "boost", ""),
        (225, "boost", ""),
        (230, "boost", ""),
        (231, "straight", "<- moved"),
        (270, "straight", ""),
        (271, NONE, "<- moved"),
    ]


def test_a_falling_pass_keeps_a_band_to_its_lower_end() -> None:
    answer = swept(table(), tuple(map(F, UP[::-1])))
    assert answer.passes[0].course == "falling"
    assert [(volts, band) for volts, band, _ in passed(answer)] == [
        (271, NONE), (270, "straight"), (231, "straight"), (230, "straight"), (225, "straight"), (215, "boost"),
        (180, "boost"), (170, NONE),
    ]  # fmt: skip


def test_both_ways_are_the_pass_and_the_way_back() -> None:
    inputs = tuple(map(F, UP))
    rising = swept_both_ways(table(), inputs)
    assert [one.course for one in rising.passes] == ["rising", "falling"]
    assert passed(rising) == passed(swept(table(), inputs))
    assert passed(rising, 1) == passed(swept(table(), inputs[::-1]))
    falling = swept_both_ways(table(), inputs[::-1])
    assert [one.course for one in falling.passes] == ["falling", "rising"]
    assert passed(falling, 1) == passed(swept(table(), inputs))
    assert [one.direction for one in rising.points] == ["rising"] * len(UP) + ["falling"] * len(UP)
    assert [one.input_v for one in rising.points] == [*inputs, *inputs[::-1]]


def test_one_input_is_a_pass_upward() -> None:
    assert swept(table(), (F(225),)).passes[0].course == "rising"
    assert swept(table(), (F(225), F(224))).passes[0].course == "falling"


def test_a_pass_puts_out_what_its_band_makes_of_the_line_and_nothing_outside() -> None:
    first, boost, straight = swept(table(), (F(170), F(200), F(250))).passes[0].rows
    assert (first.output_v, first.energised) == (None, ())
    assert (boost.output_v, boost.energised) == (220, ("K",))
    assert (straight.output_v, straight.energised) == (250, ())


# --- outside ---


def test_outside_every_band_the_backup_is_named_where_there_is_one_with_its_relays() -> None:
    assert outside_told(table(), "undefined") == "no band holds, and the file says nothing of it"
    assert outside_told(table(backup=True), "backup") == "backup"
    for one in (table(), table(backup=True)):
        assert outside_told(one, "hunting") == "hunting, no band stays in force"
        assert driven_outside(one, "hunting") is None
    assert driven_outside(table(), "undefined") == ()
    assert driven_outside(table(backup=True), "backup") == ("K",)
    row, *_ = swept(table(backup=True), (F(170), F(200))).passes[0].rows
    assert (row.band, row.energised, row.output_v) == ("outside: backup", ("K",), None)


# --- at single inputs ---


@pytest.mark.parametrize(
    ("volts", "rows"),
    [
        (200, [(200, "always", "boost", 220)]),
        (250, [(250, "always", "straight", 250)]),
        (170, [(170, "always", NONE, None)]),
        (225, [(225, "rising", "boost", F("247.5")), (None, "falling, start", "straight", 225)]),
    ],
)
def test_the_courses_to_an_input_and_what_is_then_in_force(volts: int, rows: list[tuple[object, ...]]) -> None:
    """Switched on at 225 V straight is nearer to 230 V than boost, of 247.5 V."""
    answer = relays_at(table(), [F(volts)])
    assert [(row.input_v, row.when, row.band, row.output_v) for row in answer.courses] == rows


def test_a_point_says_why_there_is_no_band_and_on_which_courses() -> None:
    (point,) = relays_at(table(), [F(170)]).points
    assert (point.answers, point.outside, point.outside_when) == ((), "undefined", ("rising", "falling", "start"))
    (inside,) = relays_at(table(), [F(200)]).points
    assert (inside.outside, inside.outside_when, inside.direction) == (None, None, None)
    (one,) = inside.answers
    assert (one.band, one.energised, one.ratio, one.output_v, one.when) == (
        "boost", ("K",), F(11, 10), 220, ("rising", "falling", "start"),
    )  # fmt: skip
    assert one.path == ("LINE", "A", "K.no", "OUT")


def test_one_point_is_told_as_itself_and_several_as_a_list() -> None:
    one, two = (relays_at(table(), [F(200)] * count).as_json() for count in (1, 2))
    assert one["input_v"] == 200
    assert "points" not in one
    assert len(two["points"]) == 2
    assert "input_v" not in two
    assert {"caution"} <= one.keys() & two.keys()
    assert relays_at(table(), [F(200)]).rows("points") == relays_at(table(), [F(200)]).points
