"""The overlap advised to neighbours, by hand: which band moves, how far, in which round numbers, when none can."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.advice import advised
from tapplan.checks.coverage import dead_zone, stranded
from tapplan.checks.mends import Mend, Overlapping, ReturnInside
from tapplan.checks.overlaps import chatter, thin_hysteresis
from tapplan.checks.review import review
from tapplan.design.model import Backup, Design, Sensing
from tests.checks.test_rules import BANDS, QUIET, SENSED, band, sound

F = Fraction


def mend(made: Design) -> Mend | None:
    """What is advised to the first pair that hands over badly."""
    reviewed = review(made)
    found = [*dead_zone(reviewed), *chatter(reviewed), *thin_hysteresis(reviewed)]
    return advised(reviewed, found[0]).mend


def sensing(hysteresis: object, noise: object = 0, **more: Any) -> Sensing:
    return Sensing(hysteresis_v=F(str(hysteresis)), noise_v=F(str(noise)), **more)


@pytest.mark.parametrize(
    ("low", "sense", "name", "end", "volts"),
    [
        (190, SENSED, "boost 2", "high", 193),  # 190 + 3 V; 0.99 x 253/1.29 - 0.5 = 193.66 V is the most
        ("190.5", SENSED, "boost 1", "low", 188),  # 194 V would be too far, and whole volts go before halves
        (192, SENSED, "boost 1", "low", 188),  # 195 V would be too far; 191 - 3 V, from 184.7 V on
        (189, replace(SENSED, noise_v=F(2)), "boost 2", "high", 193),  # twice the noise is more than 3 V
        (187, replace(SENSED, hysteresis_v=F(6)), "boost 2", "high", 193),
        (192, sensing(0), "boost 2", "high", 193),  # a whole volt, the step
    ],
)
def test_the_lower_band_goes_up_or_else_the_upper_one_down(
    low: object, sense: Sensing, name: str, end: Any, volts: object
) -> None:
    assert mend(sound(bands=band(1, low=low), sensing=sense)) == Overlapping(name, end, F(str(volts)))


def test_where_whole_volts_find_no_room_halves_do() -> None:
    """Boost 2 up to 187.5 V, boost 1 from 190.5 V: 194 V would be too far for the one, 184 V for the other."""
    rows = [("boost 2", ["KO"], 165, "187.5"), ("boost 1", [], "190.5", 216), BANDS[2]]
    assert mend(sound(bands=rows)) == Overlapping("boost 2", "high", F("193.5"))


def apart(boost: object, direct: object) -> Design:
    """Boost 1 up to, and direct from; 1.135 keeps the window to 222.9 V, 1 from 207 V on."""
    return sound(
        bands=[BANDS[0], ("boost 1", [], 187, boost), ("direct", ["KL", "KO"], direct, 244)], sensing=sensing(3)
    )


def test_the_upper_band_may_go_down_just_to_where_the_window_begins() -> None:
    assert mend(apart(210, 222)) == Overlapping("direct", "low", F(207))
    assert mend(apart("209.5", 222)) is None
    assert mend(apart("209.5", 219)) == Overlapping("boost 1", "high", F(222))


def test_the_lower_band_may_go_up_just_to_where_the_window_ends() -> None:
    """The buck makes 227/258; direct may be held to 253 V."""

    def bucking(low: object) -> Design:
        rows = [*BANDS[:2], ("direct", ["KL", "KO"], 212, 245), ("buck", ["KL"], low, 280)]
        return sound(bands=rows, sensing=sensing(3), mains=(230, 168, 275))

    assert mend(bucking(250)) == Overlapping("direct", "high", F(253))
    assert mend(bucking("250.5")) == Overlapping("buck", "low", F(242))


def at_output(high: object, low: object) -> Design:
    rows = [("boost 1", [], 200, high), ("direct", ["KL", "KO"], low, 250)]
    return sound(mains=(230, 185, 240), bands=rows, sensing=sensing(3, 2, at="output"))


def test_read_at_the_output_each_band_is_reckoned_in_what_it_reads() -> None:
    """2 V of noise are 1/1.135 + 1 input volts for the pair, and twice that, 3.76 V, is more than the hysteresis.

    (208 + 3.76) x 1.135 = 240.35 V. Where that is beyond 252 V: 247/1.135 - 3.76 = 213.86 V for direct.
    """
    assert mend(at_output(234, 208)) == Overlapping("boost 1", "high", F(241))
    assert mend(at_output(247, 220)) == Overlapping("direct", "low", F(213))


# --- the return from the backup ---


def back(leave: tuple[object, object], returns: tuple[object, object], **changes: Any) -> Mend | None:
    ends = [(F(str(low)), F(str(high))) for low, high in (leave, returns)]
    reviewed = review(sound(backup=Backup(leave_v=ends[0], return_v=ends[1]), **changes))
    (found,) = stranded(reviewed)
    return advised(reviewed, found).mend


def test_the_return_advised_is_the_outermost_reading_in_hundredths() -> None:
    """168 V can be read as 0.99 x 168 - 0.5 = 165.82 V, 240 V as 1.01 x 240 + 0.5 = 242.9 V."""
    assert back((160, 250), (170, 243)) == ReturnInside(F("165.82"), F(243))
    assert back((160, 250), (165, 240)) == ReturnInside(F(165), F("242.9"))


def test_a_return_may_reach_nearly_as_far_as_the_load_leaves_and_no_farther() -> None:
    """Without noise 166 V can be read as 164.34 V, and 240 V as 242.4 V; where it leaves it would cycle."""
    lower = {"mains": (230, 166, 240), "sensing": QUIET}
    met = back(("164.33", 250), (170, 243), bands=band(0, low="164.33"), **lower)
    assert met == ReturnInside(F("164.34"), F(243))
    assert back(("164.35", 250), (170, 243), bands=band(0, low="164.35"), **lower) is None
    upper = {"sensing": QUIET, "bands": band(2, high="242.41")}
    assert back((160, "242.41"), (166, 240), **upper) == ReturnInside(F(166), F("242.4"))
    assert back((160, "242.39"), (166, 240), sensing=QUIET, bands=band(2, high="242.39")) is None
