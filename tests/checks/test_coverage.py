"""Gaps in the coverage: their inputs, and whether a derived table does all that was asked."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.coverage import feasible, gaps, inputs_of
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import review, review_of
from tapplan.checks.witnesses.states import LoosePoint
from tapplan.control.table import derived_table
from tapplan.exact import Span
from tests.checks.test_rules import SENSED, band, sound

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
