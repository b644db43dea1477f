"""Gaps in the coverage: their inputs, and whether a derived table does all that was asked."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.coverage import dead_zone, feasible, gaps, inputs_of, stranded, uncovered_range
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import review, review_of
from tapplan.checks.witnesses.coverage import Stretched
from tapplan.checks.witnesses.states import LoosePoint
from tapplan.control.table import derived_table
from tapplan.design.model import Backup, Sensing
from tapplan.exact import Span
from tests.checks.test_margins import weak
from tests.checks.test_rules import BANDS, SENSED, band, sound

F = Fraction


def test_the_inputs_of_a_dead_zone_and_of_inputs_no_state_serves() -> None:
    """Held to 191 V and from 192 V on: 190.5/1.01 to 192.5/0.99 V can be read in between; 207/1.29 V is served."""
    (dead,) = gaps(review(sound(bands=band(1, low=192))))
    assert inputs_of(dead) == Span(F("190.5") / F("1.01"), F("192.5") / F("0.99"))
    unserved = [one for one in gaps(review(sound(mains=(230, 150, 240)))) if one.code == "uncovered-range"]
    assert [inputs_of(one) for one in unserved] == [Span(F(150), F(207) / F("1.29"))]


def test_no_other_finding_is_a_gap() -> None:
    with pytest.raises(TypeError, match="loose-end is no gap"):
        inputs_of(Finding("loose-end", Severity.WARNING, "K.nc", LoosePoint(points=("X",))))


def test_a_derived_table_is_feasible_where_every_demand_is_met() -> None:
    table = derived_table(sound())
    assert feasible(table, gaps(review_of(table)))


def test_it_is_not_where_the_hysteresis_asked_for_finds_no_room_though_nothing_is_uncovered() -> None:
    table = derived_table(sound(sensing=replace(SENSED, hysteresis_v=F(30))))
    assert gaps(review_of(table)) == []
    assert not feasible(table, [])


def test_it_is_not_where_inputs_are_left_out() -> None:
    table = derived_table(sound(mains=(230, 150, 240)))
    found = gaps(review_of(table))
    assert found
    assert not feasible(table, found)
    assert not feasible(replace(table, demanded=True), found)


# --- by hand: 1.29, 1.135 and 1, a window of 207 to 253 V, so served from 160.47 to 253 V ---


def unserved(low: object, high: object, **changes: Any) -> list[Finding]:
    return list(uncovered_range(review(sound(mains=(230, low, high), **changes))))


def test_inputs_below_all_that_is_served() -> None:
    """At 150 V the strongest makes 193.5 V; a ratio of 207/150 would serve it."""
    (one,) = unserved(150, 240)
    shown = one.witness
    assert (one.severity, one.where) == (Severity.FAULT, "mains.range_v")
    assert (shown.from_v, shown.to_v, shown.input_v) == (150, 207 / F("1.29"), 150)
    assert (shown.energised, shown.ratio, shown.output_v) == (("KO",), F("1.29"), F("193.5"))
    assert shown.below is None
    assert shown.above == Stretched(energised=("KO",), ratio=F("1.29"), wanted_ratio=F(207, 150))


def test_inputs_above_all_that_is_served() -> None:
    """The weakest, of KL alone, makes 227/258: 253 V of 287.56 V. At 300 V it would have to make 253/300."""
    (one,) = unserved(200, 300)
    shown = one.witness
    assert (shown.from_v, shown.to_v, shown.input_v) == (253 * F(258, 227), 300, 300)
    assert (shown.energised, shown.ratio, shown.output_v) == (("KL",), F(227, 258), 300 * F(227, 258))
    assert shown.above is None
    assert shown.below == Stretched(energised=("KL",), ratio=F(227, 258), wanted_ratio=F(253, 300))


def test_inputs_between_two_that_are_served() -> None:
    """A window of 225 to 235 V: 1.135 serves to 207.05 V, 1 from 225 V on; each alone would close the gap."""
    found = unserved(200, 230, window=(230, 225, 235))
    (one,) = [each for each in found if each.witness.from_v > 200]
    shown = one.witness
    low, high = 235 / F("1.135"), F(225)
    assert (shown.from_v, shown.to_v, shown.input_v) == (low, high, (low + high) / 2)
    assert (shown.energised, shown.ratio, shown.output_v) == ((), F("1.135"), (low + high) / 2 * F("1.135"))
    assert shown.below == Stretched(energised=(), ratio=F("1.135"), wanted_ratio=235 / high)
    assert (shown.above.ratio, shown.above.wanted_ratio) == (1, 225 / low)


def test_under_its_load_a_state_serves_from_higher_up_and_would_need_the_more() -> None:
    made = weak(sound(mains=(230, 150, 240)), load_va=400)
    (one,) = uncovered_range(review(made))
    shown, load = one.witness, F(230**2, 400)
    full = F("1.29") * load / (load + 2 + F(58, 200) ** 2)
    assert shown.to_v == 207 / full
    assert shown.above.wanted_ratio == F(207, 150) * F("1.29") / full
    assert shown.output_v == F("1.29") * 150


def test_where_nothing_serves_nothing_is_near() -> None:
    """A stage whose only states short all turns."""
    made = sound(sections=(("a", "N", "T", 100), ("b", "N", "T", 90)), links={"K": ("OUT", "T", "N")}, bands=[])
    made = replace(made, terminals=replace(made.terminals, line="T"))
    (one,) = uncovered_range(review(made))
    shown = one.witness
    assert (shown.from_v, shown.to_v, shown.input_v) == (168, 240, 168)
    assert (shown.energised, shown.ratio, shown.output_v, shown.below, shown.above) == (None,) * 5


def dead(*holds: tuple[object, object], **changes: Any) -> list[tuple[str, Fraction, Fraction, Fraction, Fraction]]:
    rows = [(name, driven, *hold) for (name, driven, *_), hold in zip(BANDS, holds, strict=True)]
    found = list(dead_zone(review(sound(bands=rows, **changes))))
    assert all((one.severity, one.witness.course_v) == (Severity.FAULT, (one.witness.input_v,)) for one in found)
    return [
        (one.where, one.witness.from_v, one.witness.to_v, one.witness.input_v, one.witness.reading_v) for one in found
    ]


RIGHT = Sensing(hysteresis_v=F(3))


def test_without_error_a_dead_zone_is_what_is_held_by_none() -> None:
    """From 191 to 195 V, in the middle 193 V; below 170 V, where the range begins at 168 V; above 235 V, to 240 V."""
    assert dead((165, 191), (195, 216), (212, 244), sensing=RIGHT) == [
        ('bands "boost 2" and "boost 1"', 191, 195, 193, 193)
    ]
    assert dead((170, 191), (187, 216), (212, 244), sensing=RIGHT) == [('below band "boost 2"', 168, 170, 168, 168)]
    assert dead((165, 191), (187, 216), (212, 235), sensing=RIGHT) == [('above band "direct"', 235, 240, 240, 240)]
    assert dead((168, 191), (191, 212), (212, 240), sensing=RIGHT) == []


def test_a_reading_of_an_input_just_outside_lies_inside() -> None:
    """168 V, still held as it is, can be read as 165.82 V; from 166 V on it is held. The middle of both is shown.

    At the upper end 240 V can be read as 242.9 V, of which 242 V are held.
    """
    (low,) = dead((166, 191), (187, 216), (212, 244))
    assert low == ('below band "boost 2"', 168, F("166.5") / F("0.99"), 168, (F("165.82") + 166) / 2)
    (high,) = dead((165, 191), (187, 216), (212, 242))
    assert high == ('above band "direct"', F("241.5") / F("1.01"), 240, 240, (F("242.9") + 242) / 2)


def test_read_at_the_output_stretches_are_told_in_input_volts() -> None:
    """Boost 1 up to 227 V out is 200 V in; direct from 204 V on."""
    rows = [("boost 1", [], 180, 227), ("direct", ["KL", "KO"], 204, 260)]
    made = sound(mains=(230, 185, 240), bands=rows, sensing=Sensing(at="output", hysteresis_v=F(3)))
    (one,) = dead_zone(review(made))
    assert (one.witness.from_v, one.witness.to_v, one.witness.input_v, one.witness.reading_v) == (200, 204, 202, 202)


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        ("165.82", "242.9", []),
        ("165.83", "242.9", [(168, F("165.82"), F("165.83"), "low")]),
        ("165.82", "242.89", [(240, F("242.9"), F("242.89"), "high")]),
        (170, 230, [(168, F("165.82"), F(170), "low"), (240, F("242.9"), F(230), "high")]),
    ],
)
def test_a_return_must_hold_every_reading_of_a_promised_input(low: object, high: object, told: list[Any]) -> None:
    backup = Backup(leave_v=(F(50), F(600)), return_v=(F(str(low)), F(str(high))))
    found = list(stranded(review(sound(backup=backup))))
    assert [
        (one.witness.input_v, one.witness.reading_v, one.witness.limit_v, one.where.split()[1]) for one in found
    ] == told
    assert all((one.severity, one.witness.least_v) == (Severity.FAULT, one.witness.reading_v) for one in found)
    assert list(stranded(review(sound()))) == []
