"""Two revisions: what moved, what was won and lost, and when something got worse."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tapplan.checks.comparison import compared
from tapplan.design.file import load
from tapplan.design.model import Band, Design
from tests.checks.test_margins import stage
from tests.examples import ROOT

F = Fraction


def with_hold(made: Design, name: str, low: object, high: object) -> Design:
    hold = (F(str(low)), F(str(high)))
    return replace(made, bands=tuple(replace(one, hold_v=hold) if one.name == name else one for one in made.bands))


def test_a_design_against_itself() -> None:
    found = compared(stage(), stage())
    assert (found.promises, found.bands, found.margins, found.gained, found.lost) == ((), (), (), (), ())
    assert not found.worse


def test_a_moved_threshold_by_hand() -> None:
    """Boost 2 is held to 190 V instead of 191: its upper margin wins 1.29/0.99 V, the overlap loses 1 V."""
    found = compared(stage(), with_hold(stage(), "boost 2", 166, 190))
    assert [(one.name, one.change) for one in found.bands] == [("boost 2", "moved")]
    won = {one.what: one.won_v for one in found.margins}
    assert won == {
        'band "boost 2", high end': F(129, 99),
        'overlap of "boost 2" and "boost 1"': -1,
    }
    assert found.worse, "the smallest overlap was 4 V and is 3 V"


def test_giving_from_a_large_margin_to_the_smallest_is_not_worse() -> None:
    before = with_hold(stage(), "boost 2", 166, 189)
    found = compared(before, stage())
    assert any(one.won_v < 0 for one in found.margins)
    assert not found.worse


def test_a_finding_gained_and_lost() -> None:
    sound, gap = stage(), with_hold(stage(), "boost 1", 193, 216)
    forth, back = compared(sound, gap), compared(gap, sound)
    assert {one.code for one in forth.gained} >= {"dead-zone"}
    assert {one.code for one in back.lost} >= {"dead-zone"}
    assert forth.worse
    assert not back.worse


def test_the_table_under_review_and_its_mended_revision() -> None:
    faulty = load(ROOT / "designs" / "hostel-review.toml")
    mended = faulty
    for name, low, high in (("boost", 197, 229), ("direct", 225, 253), ("buck", 249, 286)):
        mended = with_hold(mended, name, low, high)
    assert not compared(faulty, mended).worse
    assert compared(mended, faulty).worse


def test_a_band_added_removed_and_rewired() -> None:
    more = replace(stage(), bands=(*stage().bands, Band(name="buck", energised=("KL",), hold_v=(F(240), F(270)))))
    assert [(one.name, one.change) for one in compared(stage(), more).bands] == [("buck", "added")]
    assert [(one.name, one.change) for one in compared(more, stage()).bands] == [("buck", "removed")]
    other = replace(stage(), bands=tuple(
        replace(one, energised=("KL",)) if one.name == "direct" else one for one in stage().bands
    ))  # fmt: skip
    assert [(one.name, one.change) for one in compared(stage(), other).bands] == [("direct", "rewired")]


def test_a_narrower_promise_is_worse_and_a_wider_one_is_not() -> None:
    wide, narrow = stage(), stage(mains=(230, 175, 240))
    assert compared(wide, narrow).promises[0].worse
    assert not compared(narrow, wide).promises[0].worse
    loose = stage(window=(230, 200, 260))
    assert compared(wide, loose).promises[0].worse
    assert not compared(loose, wide).promises[0].worse
