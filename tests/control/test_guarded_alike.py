"""Where there is room, a handover is wide enough and leaves both ends of the window guarded alike."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.control.serving import all_served
from tapplan.control.thresholds import handover, spare, wanted_overlap
from tapplan.design.model import Sensing
from tapplan.network.circuit import circuit_of
from tests.examples import PAIR, TAPPED, design

F = Fraction
tenths = st.integers(0, 80).map(lambda number: F(number, 10))


@pytest.mark.parametrize("at", ["input", "output"])
@given(down=tenths, up=tenths, hysteresis=st.integers(0, 40), noise=st.integers(0, 3))
def test_what_is_left_of_the_room_guards_both_ends_alike(
    at: str, down: Fraction, up: Fraction, hysteresis: int, noise: int
) -> None:
    """A window of 200 to 262 V, or wider; each limit less half the noise; all of it in volts of the line.

    What is left over on one side is at most half of all that is left more than on the other, or 0.2 V, which is two
    steps of a tenth.
    """
    sensing = Sensing(at=at, hysteresis_v=F(hysteresis, 10), noise_v=F(noise, 2))  # type: ignore[arg-type]
    low, high = 200 - down, 262 + up
    made = design(TAPPED, PAIR, window=(230, low, high), sensing=sensing)
    served = sorted(all_served(made, circuit_of(made)), key=lambda one: -one.ratio)
    half = F(noise, 4)
    for below, above in pairwise(served):
        shares = [one.ratio if at == "output" else F(1) for one in (below, above)]
        highest, lowest = high / below.ratio - half / shares[0], low / above.ratio + half / shares[1]
        if highest <= lowest:
            continue
        found = handover(made, below, above)
        upper, lower = found.upper_end / shares[0], found.lower_end / shares[1]
        assert lowest <= lower
        assert upper <= highest
        beat = half / shares[0] + half / shares[1]
        wanted = sensing.hysteresis_v if sensing.hysteresis_v > beat else 2 * beat
        if highest - lowest >= wanted + F(1, 2):
            assert upper - lower >= wanted
        left = highest - upper + lower - lowest
        assert abs((highest - upper) - (lower - lowest)) <= max(left / 2, F(1, 5))


@pytest.mark.parametrize(
    ("hysteresis", "noise", "wanted"),
    [
        (0, 0, F(4)),  # neither: a third of the room
        (5, 0, F(5)),  # the hysteresis asked for
        (5, 4, F(5)),  # it beats the noise
        (4, 4, F(8)),  # it does not: twice the noise
        (0, 3, F(6)),
        (20, 0, F(12)),  # never more than there is
        (0, 10, F(2)),  # nor of what the noise leaves: 12 less twice half of it, each side
    ],
)
def test_the_overlap_wanted_by_hand(hysteresis: int, noise: int, wanted: Fraction) -> None:
    """227/200 keeps to 240 V of output up to 211.45 V, ratio 1 from 199.45 V on: 12 V of room, less the noise."""
    low, high = F(240) * 200 / 227 - 12, F(240)
    made = design(
        TAPPED, PAIR, window=(230, low, high), sensing=Sensing(hysteresis_v=F(hysteresis), noise_v=F(noise))
    )
    by_ratio = {one.ratio: one for one in all_served(made, circuit_of(made))}
    below, above = by_ratio[F(227, 200)], by_ratio[F(1)]
    assert spare(below, above) == 12 - noise
    assert wanted_overlap(made.sensing, below, above) == wanted
