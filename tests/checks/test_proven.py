"""What is advised is proven first: which proposal is taken, and what ends and returns are proposed, by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks import advice
from tapplan.checks.advice import Marked, Proposal, advised, first_proven
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.held import out_of_window
from tapplan.checks.hunting import backup_cycling, hunting
from tapplan.checks.mends import HoldEnd, HoldOn, Mend, ReturnInside
from tapplan.checks.review import review
from tapplan.design.model import Backup, Design, Sensing
from tests.checks.test_rules import BANDS, QUIET, SENSED, band, sound

F = Fraction
FAULT, WARNING = Severity.FAULT, Severity.WARNING


def proven(monkeypatch: pytest.MonkeyPatch, *found: list[tuple[str, Severity, str]]) -> tuple[str | None, list[int]]:
    """Which of several changes is taken, of the design 0 and changes 1, 2 ...; and which were gone through.

    What is to be mended is "bad" at "a".
    """
    ran: list[int] = []

    def marked(number: Any) -> list[Marked]:
        ran.append(number)
        return [Marked(*one) for one in found[number]]

    monkeypatch.setattr(advice, "_marked", marked)
    proposals: Any = [Proposal(HoldOn(str(number), F(0)), number) for number in range(1, len(found))]  # type: ignore[arg-type]
    taken = first_proven(0, proposals, lambda one: ("bad", FAULT, "a") not in found[one])  # type: ignore[arg-type, call-overload]
    return (taken.band if isinstance(taken, HoldOn) else None), ran


BAD = ("bad", FAULT, "a")


@pytest.mark.parametrize(
    ("changes", "taken"),
    [
        ([], None),
        ([[]], "1"),
        ([[BAD]], None),
        ([[BAD], []], "2"),
        ([[("worse", FAULT, "b")], []], "2"),
        ([[("worse", FAULT, "b")]], None),
        ([[("worse", WARNING, "b")]], "1"),  # a warning more is no fault
        ([[("known", FAULT, "k")]], "1"),  # that was there before
        ([[("known", FAULT, "elsewhere")], [("known", FAULT, "k")]], "2"),
        ([[("known", WARNING, "k")], []], "1"),
        ([[("meek", FAULT, "m")]], None),  # it was a warning before
    ],
)
def test_the_first_that_mends_and_brings_no_fault_is_taken(
    monkeypatch: pytest.MonkeyPatch, changes: list[list[tuple[str, Severity, str]]], taken: str | None
) -> None:
    before = [BAD, ("known", FAULT, "k"), ("meek", WARNING, "m")]
    found, ran = proven(monkeypatch, before, *changes)
    assert found == taken
    assert ran.count(0) == (1 if changes else 0)  # the present design is gone through once, and not for nothing
    assert len(ran) == len(set(ran))


def mends(made: Design, found: list[Finding]) -> list[Mend | None]:
    reviewed = review(made)
    return [advised(reviewed, one).mend for one in found]


def of_window(made: Design) -> list[Mend | None]:
    return mends(made, list(out_of_window(review(made))))


def test_an_end_goes_back_to_the_window_in_the_coarsest_round_number_that_holds() -> None:
    """Up to (1 - 1 %) 253/1.29 - 0.5 = 193.66 V, from (1 + 1 %) 207/1.135 + 0.5 = 184.70 V on."""
    assert of_window(sound(bands=band(0, high=195))) == [HoldEnd("boost 2", "high", F(193))]
    assert of_window(sound(bands=band(1, low=180))) == [HoldEnd("boost 1", "low", F(185))]


def test_where_both_ends_reach_too_far_neither_alone_takes_it_away() -> None:
    assert of_window(sound(bands=band(1, low=180, high=230))) == [None, None]


@pytest.mark.parametrize(
    ("low", "end"), [("191.9", "193"), (192, "193.5"), ("192.5", "193.6"), ("192.6", "193.65"), ("192.7", None)]
)
def test_a_finer_number_where_the_coarse_one_would_leave_no_more_than_the_noise(low: object, end: str | None) -> None:
    """Boost 1 begins at `low`; 1 V of noise is to be less than the overlap."""
    made = sound(bands=[("boost 2", ["KO"], 165, 195), ("boost 1", [], low, 216), BANDS[2]])
    assert of_window(made) == [None if end is None else HoldEnd("boost 2", "high", F(end))]


def test_a_band_of_which_nothing_would_be_left_is_left_as_it_is() -> None:
    """Boost 2 from 194 V on is outside as a whole."""
    rows = [("boost 1", [], 165, 196), ("boost 2", ["KO"], 194, 216), BANDS[2]]
    found = [one for one in out_of_window(review(sound(bands=rows))) if "boost 2" in one.where]
    assert found
    assert mends(sound(bands=rows), found) == [None] * len(found)


@pytest.mark.parametrize(("hysteresis", "noise", "beyond"), [(0, 0, 1), (2, 0, 2), (0, "0.5", 1)])
def test_a_hunting_pair_is_stopped_where_the_upper_band_no_longer_sends_back(
    hysteresis: int, noise: object, beyond: int
) -> None:
    """Read at the output, direct is left at 220 V; boost 1 makes 249.7 V there, which it must hold."""
    sensing = Sensing(at="output", hysteresis_v=F(hysteresis), noise_v=F(str(noise)))
    rows = [("boost 1", [], 200, 225), ("direct", ["KL", "KO"], 220, 253)]
    made = sound(sensing=sensing, bands=rows, mains=(230, 185, 240))
    (found,) = hunting(review(made))
    assert found.witness.least_v is not None
    assert abs(found.witness.least_v - 220 * F("1.135")) < F(1, 100)
    (mend,) = mends(made, [found])
    assert isinstance(mend, HoldOn)
    assert mend.band == "boost 1"
    assert 0 <= mend.volts_v - (found.witness.least_v + beyond * F("1.135")) < F(1, 100)


def test_a_return_that_cycles_begins_a_hundredth_beyond_the_bound() -> None:
    """Left at 163 V with 2.5 V of noise, 165.5 V can be read of the same input: back from 165.51 V on."""
    backup = Backup(leave_v=(F(163), F(250)), return_v=(F(165), F(244)))
    made = sound(sensing=replace(SENSED, noise_v=F(5, 2)), backup=backup, mains=(230, 172, 235))
    (found,) = backup_cycling(review(made))
    bound = found.witness.least_v
    (mend,) = mends(made, [found])
    assert isinstance(mend, ReturnInside)
    assert mend.high_v == 244
    assert F(1, 100) >= mend.low_v - bound > 0
    upper = replace(backup, leave_v=(F(100), F(244)), return_v=(F(120), F(243)))
    high = replace(made, backup=upper, mains=replace(made.mains, range_v=(F(172), F(235))))
    (other,) = backup_cycling(review(high))
    (mended,) = mends(high, [other])
    assert isinstance(mended, ReturnInside)
    assert mended.low_v == 120
    assert F(1, 100) >= other.witness.least_v - mended.high_v > 0
    assert list(backup_cycling(review(replace(made, sensing=QUIET)))) == []
