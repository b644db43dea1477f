"""Two revisions: what was and what is, what got worse, what was not stated."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.answers.compare import Compared, PromiseDiffers, compared, compared_of
from tapplan.checks.comparison import (
    BandChange,
    Comparison,
    FindingChange,
    MarginChange,
    PromiseChange,
    StatedChange,
    TraitChange,
)
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.judgement import Accepted, judged
from tapplan.checks.review import review
from tapplan.checks.traits import Trait
from tapplan.checks.witnesses.states import Undriven
from tapplan.control.table import control_table
from tapplan.design.file import load, parse
from tapplan.exact import Span
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


# --- of a comparison made by hand ---

NOTHING = Comparison((), (), (), (), (), (), (), (), (), ())


def told(**parts: Any) -> Compared:
    return compared_of(replace(NOTHING, **parts), "x")


def idle(name: str, severity: Severity = Severity.WARNING) -> Finding:
    return Finding("idle-relay", severity, f"relay {name}", Undriven(energised=(name,)))


def test_where_nothing_differs_nothing_is_told_and_nothing_got_worse() -> None:
    assert told().same
    assert (told().worse, told().wrong, told().told) == (False, False, "Nothing got worse.")
    assert told().headline == "Changes from the older to the newer"
    assert replace(told(), files=("a.toml", "b.toml")).headline == "Changes from a.toml to b.toml"
    worse = replace(told(), worse=True)
    assert (worse.wrong, worse.told) == (True, "Something got worse.")


@pytest.mark.parametrize(("worse", "verdict"), [(True, "less is promised"), (False, "no less is promised")])
def test_a_promise_that_changed_says_what_it_was_and_whether_it_is_less(worse: bool, verdict: str) -> None:
    old, new = Span(F(180), F(270)), Span(F(185), F("270.25"))
    answer = told(promises=(PromiseChange("mains.range_v", old, new, worse),))
    (one,) = answer.promises
    assert one == PromiseDiffers(key="mains.range_v", old=old, new=new, worse=worse)
    assert one.told == f"mains.range_v: 180 - 270 V becomes 185 - 270.2 V; {verdict}"
    assert not answer.same
    assert answer.worse is worse


def test_a_margin_is_told_with_the_volts_won_and_that_some_were_lost() -> None:
    pairs = ((3, 4), (4, 3), (3, 3))
    rows = tuple(MarginChange(f"{old} to {new}", F(old), F(new)) for old, new in pairs)
    answer = told(margins=rows[:2], smallest=rows[2:])
    assert [(one.old_v, one.new_v, one.won_v, one.won) for one in answer.margins] == [
        (3, 4, 1, "+1.00"),
        (4, 3, -1, "-1.00  less"),
        (3, 3, 0, "+0.00"),
    ]
    assert (answer.margins_differ, answer.same) == (True, False)
    calm = told(smallest=rows[2:])
    assert (calm.margins_differ, calm.same, len(calm.margins)) == (False, True, 1)


@pytest.mark.parametrize("severity", [Severity.WARNING, Severity.NOTE])
def test_findings_gained_lost_and_accepted_stand_apart(severity: Severity) -> None:
    answer = told(gained=(idle("A", severity),), lost=(idle("B", severity),),
                  accepted=(Accepted(idle("C", severity), "a spare"),))  # fmt: skip
    assert [one.where for one in answer.gained] == ["relay A"]
    assert [one.where for one in answer.lost] == ["relay B"]
    assert [(one.where, one.reason, one.severity) for one in answer.accepted] == [("relay C", "a spare", severity)]
    assert answer.worse is (severity is Severity.WARNING)


def test_a_finding_that_grew_is_told_in_three_lines() -> None:
    (one,) = told(grown=(FindingChange(idle("A"), idle("B")),)).changed
    assert (one.severity, one.code, one.where, one.worse) == ("warning", "idle-relay", "relay B", False)
    assert (one.old, one.new) == (idle("A").told, idle("B").told)
    assert one.told == f"warning  idle-relay, relay B: no worse\n    was: {one.old}\n    is:  {one.new}"
    assert replace(one, worse=True).told.splitlines()[0] == "warning  idle-relay, relay B: worse"


def test_a_trait_that_is_new_or_gone_has_a_dash_where_it_was_not() -> None:
    """Volts are told with how long they last, to four and three figures; a gap in ms is that itself."""
    surge = Trait("slow-recovery", F("350.04"), "V", "x", "steps", 1, F("30.04"), side="over")
    gap = Trait("move-gap", F(15), "ms", "x", "moves", 1, F(15))
    new, gone = told(traits=(TraitChange(None, surge), TraitChange(gap, None))).traits
    assert (new.code, new.side, new.name, new.unit) == ("slow-recovery", "over", "slow-recovery, over", "V")
    assert (new.was, new.now, new.old, new.new) == ("-", "350 V for 30 ms", None, F("350.04"))
    assert (new.old_lasts_ms, new.new_lasts_ms, new.worse) == (None, F("30.04"), True)
    assert (gone.code, gone.side, gone.name, gone.unit) == ("move-gap", None, "move-gap", "ms")
    assert (gone.was, gone.now, gone.old, gone.new) == ("15 ms", "-", 15, None)
    assert (gone.old_lasts_ms, gone.new_lasts_ms, gone.worse) == (15, None, False)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (None, "-"),
        (F(1, 3), "0.333333"),
        (F(12), "12"),
        ("iti-2000", "iti-2000"),
        (True, "True"),
        ((F(1, 2), "a", None), "[0.5, a, -]"),
        ((), "[]"),
    ],
)
def test_a_value_of_the_file_in_words(value: object, shown: str) -> None:
    (one,) = told(stated=(StatedChange("a.b", value, "new"),)).stated
    assert (one.key, one.old, one.new, one.was, one.now) == ("a.b", value, "new", shown, "new")
    (turned,) = told(stated=(StatedChange("a.b", "old", value),)).stated
    assert (turned.was, turned.now) == ("old", shown)


def test_a_band_that_came_or_went_has_a_dash_in_the_other_revision() -> None:
    row = control_table(load(DESIGNS / "ridge-dispensary.toml")).rows[1]
    came, went = told(bands=(BandChange("a", None, row), BandChange("b", row, None))).bands
    words = "189 - 217 V, KL, 530/469 = 1.1301"
    assert (came.change, came.old, came.was, came.now) == ("added", None, "-", words)
    assert (went.change, went.new, went.was, went.now) == ("removed", None, words, "-")
    assert came.new is not None
    assert (came.new.energised, came.new.ratio, came.new.hold_v) == (("KL",), F(530, 469), Span(F(189), F(217)))
    assert went.old == came.new
