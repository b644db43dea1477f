"""Where two bands leave each other no room, each keeps to its own limits and a dead zone shows between them."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from tapplan.control.serving import Served, all_served
from tapplan.control.thresholds import handover, least_read, lower_end_to, most_read, spare, upper_end_to
from tapplan.design.model import Design, Sensing
from tapplan.network.circuit import circuit_of
from tests.examples import PAIR, TAPPED, design

F = Fraction
FINEST = F(1, 1000)  # volts: thresholds are told to a thousandth


def narrow(noise: int = 0) -> Design:
    """A window of 225 to 235 V, 4.4 %, with ratios 12 % and more apart."""
    return design(TAPPED, PAIR, window=(230, F("225.1"), F("234.9")), sensing=Sensing(noise_v=F(noise)))


def neighbours(made: Design) -> list[tuple[Served, Served]]:
    """By falling ratio, so by rising input."""
    return list(pairwise(sorted(all_served(made, circuit_of(made)), key=lambda one: -one.ratio)))


@pytest.mark.parametrize("noise", [0, 1])
def test_each_band_keeps_to_its_own_limit_and_never_beyond_by_a_thousandth_at_most_within(noise: int) -> None:
    made = narrow(noise)
    pairs = neighbours(made)
    assert len(pairs) == 3
    for below, above in pairs:
        assert spare(below, above) < 0
        found = handover(made, below, above)
        assert 0 <= below.highest_keep - found.upper_end < FINEST
        assert 0 <= found.lower_end - above.lowest_keep < FINEST
        assert found.upper_end < found.lower_end
        assert (found.upper_end / FINEST).denominator == (found.lower_end / FINEST).denominator == 1


def test_the_dead_zone_by_hand() -> None:
    """Ratio 129/100 serves up to 234.9 / 1.29 = 182.0930 V, ratio 227/200 from 225.1 / 1.135 = 198.3260 V."""
    made = narrow()
    below, above = neighbours(made)[0]
    assert (below.ratio, above.ratio) == (F(129, 100), F(227, 200))
    found = handover(made, below, above)
    assert (found.upper_end, found.lower_end) == (F("182.093"), F("198.326"))


def test_with_one_end_given_the_other_keeps_to_its_own_limit_too() -> None:
    """The file gives one end of a handover that has no room: the other is the first thousandth inside its limit."""
    made = narrow()
    for below, above in neighbours(made):
        lower = lower_end_to(made, below, above, below.highest_keep)
        upper = upper_end_to(made, below, above, above.lowest_keep)
        assert 0 <= lower - above.lowest_keep < FINEST
        assert 0 <= below.highest_keep - upper < FINEST
    below, above = neighbours(made)[0]
    assert lower_end_to(made, below, above, F(182)) == F("198.326")
    assert upper_end_to(made, below, above, F(199)) == F("182.093")


def test_a_band_that_cannot_be_read_is_placed_as_if_the_input_were_read() -> None:
    """KS lets the sense winding go: without it the pair of points reads 20 turns of those on the line."""
    made = design(
        (*TAPPED, ("sense", "S1", "S2", 20)), {**PAIR, "KS": ("S1", "N", "S3")}, sensing=Sensing(at=("S2", "N"))
    )
    served = all_served(made, circuit_of(made))
    blind = [one for one in served if one.read is None]
    assert {"KS" in one.state.energised for one in blind} == {True}
    assert [(most_read(one), least_read(one)) for one in blind] == [(1, 1)] * len(blind)
    assert {most_read(one) for one in served if one.read is not None} == {F(20, 200), F(20, 258)}
