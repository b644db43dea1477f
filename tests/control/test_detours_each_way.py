"""A reading stops at a row on its way, up as well as down, only where a confirmation is shorter than the window."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.control.source import Source
from tapplan.control.standing import InRow
from tapplan.design.model import Sensing
from tests.control.test_response import FOUR, all_responses, stage

F = Fraction


@pytest.mark.parametrize(
    ("up", "down", "ways"),
    [(5, 5, {-1, 1}), (19, 19, {-1, 1}), (20, 20, set()), (50, 30, set()), (50, 5, {-1}), (5, 50, {1})],
)
def test_there_are_detours_only_where_a_confirmation_is_shorter_than_the_window(
    up: int, down: int, ways: set[int]
) -> None:
    """The window is 20 ms."""
    sensing = Sensing(error_pct=F(1), confirm_up_ms=F(up), confirm_down_ms=F(down))
    found = set()
    for one in all_responses(stage(mains=(230, 168, 270), bands=FOUR, sensing=sensing)):
        if one.detour and isinstance(one.start, InRow):
            last = one.entered[-1]
            assert isinstance(last, InRow)
            found.add(1 if last.number > one.start.number else -1)
    assert found == ways


@pytest.mark.parametrize("model", ["impedance", "current", "power"])
def test_at_an_inlet_of_nothing_the_source_gives_nothing_and_below_it_what_stands_there(model: str) -> None:
    source = Source(F("1.2"), F(1500), F(230), model)  # type: ignore[arg-type]
    assert source.emf(F(0), F(6, 5)) == 0
    assert source.emf(F(-1, 2), F(6, 5)) == F(-1, 2)
    assert source.emf(F(230), F(6, 5)) > 230
