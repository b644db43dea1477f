"""Two revisions: what was and what is, what got worse, what was not stated."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.answers.compare import Compared, compared
from tapplan.checks.comparison import TraitChange
from tapplan.checks.judgement import judged
from tapplan.checks.review import review
from tapplan.checks.traits import Trait
from tapplan.design.file import load, parse
from tests.examples import ROOT

F = Fraction
DESIGNS = ROOT / "designs"


def test_a_comparison_without_names_calls_them_older_and_newer() -> None:
    assert {one.name: one.default for one in Compared.__dataclass_fields__.values()}["files"] == (
        "the older",
        "the newer",
    )


def test_what_grew_was_the_old_figure_and_is_the_new_one() -> None:
    text = (DESIGNS / "hostel-review.toml").read_text(encoding="utf-8")
    wider = parse(text.replace("228", "226"))
    (one,) = compared(review(load(DESIGNS / "hostel-review.toml")), review(wider)).changed
    assert (one.code, one.worse) == ("dead-zone", True)
    assert one.old.startswith("inputs 224.752 V to 234.343 V")  # (228 - 1)/1.01
    assert one.new.startswith("inputs 222.772 V to 234.343 V")  # (226 - 1)/1.01


def test_a_key_that_was_not_stated_is_told_with_a_dash() -> None:
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    old = review(parse(text))
    new = review(parse(text.replace("load_va      = 500\n", "load_va      = 400\ninrush_a = 12\n")))
    rows = {one.key: one for one in compared(old, new).stated}
    assert (rows["output.load_va"].was, rows["output.load_va"].now) == ("500", "400")
    assert (rows["output.inrush_a"].was, rows["output.inrush_a"].now) == ("-", "12")


def test_the_smallest_margins_are_told_after_all_others() -> None:
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    old, new = review(parse(text)), review(parse(text.replace("[207, 253]", "[206, 253]")))
    told = [one.what for one in compared(old, new).margins]
    smallest = [place for place, what in enumerate(told) if "smallest" in what]
    assert smallest == list(range(len(told) - len(smallest), len(told)))
    assert 0 < len(smallest) < len(told)


@pytest.mark.parametrize(
    ("volts", "lasts_ms", "worse"),
    [(80, 45, True), (61, 15, False), (50, 15, False), (61, 16, True), (116, 16, False), (100, 10, False)],
)
def test_a_dip_that_lasts_longer_is_worse_where_it_does_more_harm(volts: int, lasts_ms: int, worse: bool) -> None:
    """Before: 61 V, 56 V under a window from 117 V, for 15 ms: 840 V ms. 116 V for 16 ms is only 16 V ms."""

    def dip(value: int, time: int) -> Trait:
        return Trait("race-dip", F(value), "V", "x", "moves", 1, F(time), harm=F((117 - value) * time))

    assert TraitChange(dip(61, 15), dip(volts, lasts_ms)).worse is worse


def test_the_harm_of_a_trait_is_its_volts_beyond_the_window_times_its_time() -> None:
    one = review(load(DESIGNS / "river-kiosk.toml"))  # window 117 to 137 V
    found = {(trait.code, trait.side): trait for trait in judged(one).traits}
    dip, surge = found["race-dip", ""], found["race-overvoltage", ""]
    assert dip.harm == (117 - dip.value) * dip.lasts_ms > 0
    assert surge.harm == (surge.value - 137) * surge.lasts_ms > 0
    under = found["slow-recovery", "under"]
    assert under.harm == (117 - under.value) * under.lasts_ms
    assert found["move-gap", ""].harm == 0


def test_revisions_that_differ_in_one_part_are_not_the_same() -> None:
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    old = review(parse(text))
    assert compared(old, review(parse(text))).same
    stated = compared(old, review(parse(text.replace("power_factor = 0.9", "power_factor = 0.8"))))
    assert stated.stated
    assert not stated.bands
    assert not stated.same


def test_a_trait_is_told_with_what_it_was_and_what_it_is() -> None:
    """The gap of the move of KL is 10 ms of flight and 5 of bounce; 9 of bounce add 4."""
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    slow = text.replace('name = "KL"  ', 'bounce_ms = 9\nname = "KL"  ')
    assert slow != text
    rows = {one.code: one for one in compared(review(parse(text)), review(parse(slow))).traits}
    gap = rows["move-gap"]
    assert gap.worse
    assert gap.old is not None
    assert gap.new is not None
    assert 0 < gap.new - gap.old <= 4
