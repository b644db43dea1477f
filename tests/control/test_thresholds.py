"""How far neighbouring bands are made to overlap, from their room by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.control.table import control_table
from tapplan.design.model import Sensing
from tests.examples import design

F = Fraction
TURNS = [("a", "N", "LINE", 200), ("b", "LINE", "B", 27)]


def overlap(hysteresis: str, noise: str) -> Fraction:
    """What the derived holds of boost and direct share; window 207 to 253 V, read without error.

    Boost, 227/200, may keep readings up to 253/(227/200) = 222.907 V, direct from 207 V on; half the noise off each.
    """
    sensing = Sensing(hysteresis_v=F(hysteresis), noise_v=F(noise))
    table = control_table(
        design(TURNS, {"K": ("OUT", "LINE", "B")}, mains=(230, 185, 250), window=(230, 207, 253), sensing=sensing)
    )
    below, above = table.rows
    assert (below.ratio, above.ratio) == (F(227, 200), 1)
    assert below.hold is not None
    assert above.hold is not None
    return below.hold.high - above.hold.low


@pytest.mark.parametrize(
    ("hysteresis", "noise", "wanted"),
    [("6", "1", "6"), ("0", "3", "6"), ("2", "3", "6"), ("0", "0", "5.302"), ("0", "1", "2")],
)
def test_the_overlap_is_the_hysteresis_where_it_beats_the_noise_else_twice_the_noise(
    hysteresis: str, noise: str, wanted: str
) -> None:
    """With neither, a third of 222.907 - 207 V. Thresholds at round volts overlap by that or a little more."""
    found = overlap(hysteresis, noise)
    assert F(wanted) <= found <= F(wanted) + F(3, 2)


def test_never_more_than_there_is() -> None:
    """The room is 15.907 V; a volt of noise leaves 14.907 V to overlap."""
    assert F("14.8") <= overlap("40", "1") <= F("14.908")
