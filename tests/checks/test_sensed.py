"""What the sensed points tell: a blind state, and a window through which a steady line is not read steadily."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.review import review
from tapplan.checks.sensed import blind_reading, ripple_in_reading
from tapplan.control.serving import rippling
from tapplan.design.model import Sensing
from tests.checks.test_rules import SENSED, sound
from tests.examples import TAPPED

F = Fraction


@pytest.mark.parametrize("cycles", ["0.2", "0.39", "0.7", "1.3", "2.1"])
@pytest.mark.parametrize("detector", ["rms", "average"])
def test_the_factor_of_a_window_that_is_no_whole_half_cycles_is_the_one_farther_from_a_steady_reading(
    cycles: str, detector: str
) -> None:
    made = sound(sensing=replace(SENSED, window_cycles=F(cycles), detector=detector))
    (found,) = ripple_in_reading(review(made))
    shares = rippling(made)
    assert (found.witness.least_factor, found.witness.most_factor) == (shares.low, shares.high)
    assert abs(found.witness.factor - 1) == max(1 - shares.low, shares.high - 1) > 0
    assert found.witness.window_cycles == F(cycles)


@pytest.mark.parametrize("cycles", ["0.5", "1", "2.5"])
def test_over_whole_half_cycles_a_steady_line_is_read_steadily(cycles: str) -> None:
    assert list(ripple_in_reading(review(sound(sensing=replace(SENSED, window_cycles=F(cycles)))))) == []


def test_a_winding_of_a_core_that_nothing_drives_is_blind_in_every_band_and_while_away() -> None:
    sections = (*TAPPED, ("free", "S1", "S2", (20, "another core")))
    found = list(blind_reading(review(sound(sections=sections, sensing=Sensing(at=("S1", "S2"))))))
    assert [one.where for one in found][-1] == "away"
    assert sorted(one.where for one in found[:-1]) == ['band "boost 1"', 'band "boost 2"', 'band "direct"']
    assert list(blind_reading(review(sound()))) == []
