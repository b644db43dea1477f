"""Where neighbours have too little room: in input volts, wherever the controller reads."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Sensing
from tests.examples import PAIR, TAPPED, design

F = Fraction
BOOST_2, BOOST_1 = F(129, 100), F(227, 200)
ROOMS = [  # (1 - e) hi/g_below - (1 + e) lo/g_above, whatever is sensed, for the error is a share of the reading
    F("0.99") * 253 / BOOST_2 - F("1.01") * 207 / BOOST_1,
    F("0.99") * 253 / BOOST_1 - F("1.01") * 207,
]
SHARES: dict[Any, tuple[Fraction, Fraction, Fraction]] = {  # read of an input volt in boost 2, boost 1, direct
    "input": (F(1), F(1), F(1)),
    "output": (BOOST_2, BOOST_1, F(1)),
    ("C", "N"): (F(129, 100), F(129, 100), F(1)),  # 258 turns, over 200 where the line is on A
}


def table(at: Any, *, hysteresis: int, noise: int) -> ControlTable:
    """Three bands whose thresholds tapplan places."""
    sensing = Sensing(at=at, error_pct=F(1), noise_v=F(noise), hysteresis_v=F(hysteresis))
    bands = [("boost 2", ["KO"]), ("boost 1", []), ("direct", ["KL", "KO"])]
    return control_table(design(TAPPED, PAIR, mains=(230, 168, 240), sensing=sensing, bands=bands))


def noises(at: Any, noise: int) -> list[Fraction]:
    """Half the noise at either threshold, each over what is read of an input volt there."""
    low, middle, high = SHARES[at]
    return [F(noise, 2) * (1 / low + 1 / middle), F(noise, 2) * (1 / middle + 1 / high)]


@pytest.mark.parametrize("at", SHARES)
def test_room_and_what_is_wanted_are_input_volts_wherever_the_reading_is_taken(at: Any) -> None:
    """At a winding 9.96 V of room would be 12.85 V read: taken for reading volts, 12 V would seem to be there."""
    found = list(table(at, hysteresis=12, noise=1).shortfalls())
    assert [(one.below.name, one.above.name) for one in found] == [("boost 2", "boost 1"), ("boost 1", "direct")]
    assert [one.room for one in found] == ROOMS
    assert [one.wanted for one in found] == [12 + noise for noise in noises(at, 1)]


@pytest.mark.parametrize("at", SHARES)
def test_without_hysteresis_twice_the_noise_is_wanted(at: Any) -> None:
    found = list(table(at, hysteresis=0, noise=8).shortfalls())
    wanted = [2 * noise for noise in noises(at, 8)]
    assert [(one.room, one.wanted) for one in found] == [
        (room, least) for room, least in zip(ROOMS, wanted, strict=True) if room < least
    ]
    assert found


@pytest.mark.parametrize("at", SHARES)
def test_where_there_is_room_nothing_is_short(at: Any) -> None:
    assert list(table(at, hysteresis=8, noise=1).shortfalls()) == []
