"""Limb and window of a core, by its lamination or by its sides, and a turn round them."""

from __future__ import annotations

from fractions import Fraction
from math import pi
from typing import Any

import pytest

from tapplan.design.limb import leg_mm, limb_of, mean_turn_mm
from tapplan.design.model import Core

F = Fraction
SIDES: dict[str, Any] = {"leg_mm": F(40), "window_mm": (F(20), F(60)), "stack_mm": F(50)}


def test_a_limb_needs_all_of_its_sides() -> None:
    limb = limb_of(Core(**SIDES))
    assert limb is not None
    assert (limb.leg_mm, limb.stack_mm, limb.window.wide_mm, limb.window.high_mm) == (40, 50, 20, 60)
    for side in SIDES:
        assert limb_of(Core(**{**SIDES, side: None})) is None


def test_a_lamination_says_leg_and_window_and_the_stack_is_stated_beside_it() -> None:
    assert leg_mm(Core(lamination="EI 120")) == 40
    assert limb_of(Core(lamination="EI 120")) is None
    assert limb_of(Core(lamination="EI 120", stack_mm=F(50))) == limb_of(Core(**SIDES))


def test_a_turn_goes_round_the_limb_half_way_through_the_window() -> None:
    """Twice 40 and 50 mm along the sides, and a whole circle with the radius of half the window, 10 mm."""
    assert float(mean_turn_mm(Core(**SIDES)) or 0) == pytest.approx(180 + 20 * pi, rel=2e-4)
    assert mean_turn_mm(Core(**{**SIDES, "stack_mm": None})) is None
    assert mean_turn_mm(Core(**{**SIDES, "mean_turn_mm": F(200)})) == 200
