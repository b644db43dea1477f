"""Derived bands told: rooms between neighbours, shortfalls, and the faults that thresholds can bring about."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.answers.bands import Bands, ShortRoom, bands_of, derived
from tapplan.answers.table import Coverage, GapRow
from tapplan.checks.rules import PROMISES
from tapplan.exact import Span
from tests.examples import PAIR, TAPPED, design

F = Fraction


@pytest.mark.parametrize(
    ("room", "wanted", "told"),
    [
        (F(2), F(3), "2 V of room; 3 V is wanted"),
        (F(3), F(3), "3 V of room; more than 3 V is wanted"),
        (F("3.5"), F(3), "3.5 V of room; more than 3 V is wanted"),
        (F("-0.126"), F("2.345"), "-0.13 V of room; 2.35 V is wanted"),
    ],
)
def test_room_that_is_short_is_told_beside_what_is_wanted(room: Fraction, wanted: Fraction, told: str) -> None:
    """Room that is just what is wanted is short where more than that is."""
    one = ShortRoom("low", "high", room, wanted)
    assert one.told == f'"low" and "high" have {told.rsplit(" is ")[0]} is wanted for hysteresis and noise'


def answer() -> Bands:
    return Bands(title="x", bands=(), feasible=True, room_v=None, gaps=(), shortfalls=(), mains=Span(F(180), F(270)),
                 fault_codes=())  # fmt: skip


def test_shortfalls_are_told_a_line_each_and_not_at_all_where_there_are_none() -> None:
    assert answer().shortfalls_told == ""
    short = ShortRoom("low", "high", F(1), F(2))
    told = replace(answer(), shortfalls=(short, short)).shortfalls_told.splitlines()
    assert told[0] == "No choice of states leaves all neighbours the hysteresis and noise margin asked for:"
    assert told[1:] == [f"  {short.told}"] * 2


def test_faults_that_thresholds_bring_about_are_told_apart_from_others() -> None:
    both = replace(answer(), fault_codes=("chatter", "fuse-blind"))
    assert "chatter" in PROMISES
    assert both.table_faults == tuple(code for code in both.fault_codes if code in PROMISES)
    assert (both.wrong, answer().wrong, answer().table_faults) == (True, False, ())


@pytest.mark.parametrize(("count", "word"), [(1, "gap"), (2, "gaps")])
def test_gaps_are_counted_and_told_a_line_each(count: int, word: str) -> None:
    gap = GapRow("dead-zone", F(200), F(210), "here", "so it is")
    told = Coverage(Span(F(180), F("270.04")), (gap,) * count).told
    assert told.splitlines() == [f"Coverage: {count} {word}", *["  dead-zone (here): so it is"] * count]
    none = Coverage(Span(F(180), F("270.04")), ()).told
    assert none == "Coverage: no gap from 180 to 270 V, whatever the reading's error."
    assert replace(answer(), gaps=(gap,)).coverage.told == Coverage(answer().mains, (gap,)).told


def test_bands_of_a_file_without_thresholds_are_its_own_and_of_one_with_them_those_that_tapplan_would_choose() -> (
    None
):
    """A file with holds for all its bands, or with no bands at all, is derived anew; one that lacks some is kept."""
    own = (("mine", ("KL",)), ("direct", ()))
    lacking = bands_of(derived(design(TAPPED, PAIR, bands=own)))
    assert {one.band for one in lacking.bands} == {"mine", "direct"}
    partly = bands_of(derived(design(TAPPED, PAIR, bands=(("mine", ("KL",), 180, 220), own[1]))))
    assert {one.band for one in partly.bands} == {"mine", "direct"}
    whole = bands_of(derived(design(TAPPED, PAIR, bands=(("mine", ("KL",), 180, 220), ("direct", (), 210, 270)))))
    none = bands_of(derived(design(TAPPED, PAIR)))
    assert "mine" not in {one.band for one in whole.bands}
    assert [one.energised for one in whole.bands] == [one.energised for one in none.bands]


def test_every_band_but_the_last_has_a_room_above_it_and_the_least_is_told() -> None:
    found = bands_of(derived(design(TAPPED, PAIR)))
    rooms = [one.room_above_v for one in found.bands]
    assert len(rooms) > 2
    assert rooms[-1] is None
    assert None not in rooms[:-1]
    assert found.room_v == min(one for one in rooms if one is not None)
    assert found.mains == Span(F(180), F(270))
    single = bands_of(derived(design(TAPPED, {}, terminals=("A", "N", "A"), mains=(230, 225, 235))))
    assert [one.room_above_v for one in single.bands] == [None]
    assert single.room_v is None
