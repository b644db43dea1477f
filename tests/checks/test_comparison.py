"""Two revisions: what moved, what was won and lost, and when something got worse."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest

from tapplan.checks.comparison import (
    BandChange,
    FindingChange,
    MarginChange,
    PromiseChange,
    TraitChange,
    compared,
    compared_reviews,
)
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review
from tapplan.checks.traits import Trait
from tapplan.checks.witnesses.carried import TurnTooWide, WireCurrent
from tapplan.design.file import load
from tapplan.design.model import Accept, Band, Core, Design, Relay
from tapplan.exact import Span
from tests.checks.test_margins import stage
from tests.examples import ROOT

F = Fraction


def with_hold(made: Design, name: str, low: object, high: object) -> Design:
    hold = (F(str(low)), F(str(high)))
    return replace(made, bands=tuple(replace(one, hold_v=hold) if one.name == name else one for one in made.bands))


def test_a_design_against_itself() -> None:
    found = compared(stage(), stage())
    assert (found.promises, found.bands, found.margins, found.gained, found.lost) == ((), (), (), (), ())
    assert (found.traits, found.grown, found.accepted, found.stated) == ((), (), (), ())
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


def change(code: str, unit: str, old: str, new: str, **more: tuple[int | None, int | None]) -> TraitChange:
    """A figure before and after, with `lasts_ms` and `harm` before and after where they are given."""
    made = []
    for place, value in enumerate((old, new)):
        rest = {key: None if pair[place] is None else F(pair[place] or 0) for key, pair in more.items()}
        made.append(Trait(code, F(value), unit, "here", "moves", 1, **rest))  # type: ignore[arg-type]
    return TraitChange(*made)


@pytest.mark.parametrize(
    ("code", "old", "new", "worse"),
    [
        ("move-gap", "5", "4", False),
        ("move-gap", "5", "5", False),
        ("move-gap", "5", "5.1", True),
        ("move-gap", "0.2", "0.5", True),
        ("unsafe-rest", "1.1", "0.8", True),
        ("unsafe-rest", "0.8", "1.1", False),
        ("unsafe-rest", "1.1", "0.9", False),
        ("unsafe-rest", "1.1", "1.2", True),
        ("unsafe-rest", "1", "0", True),
    ],
)
def test_times_and_counts_grow_and_a_rest_state_goes_away_from_nominal(
    code: str, old: str, new: str, worse: bool
) -> None:
    assert change(code, "x nominal" if code == "unsafe-rest" else "ms", old, new).worse is worse


@pytest.mark.parametrize(
    ("lasts", "harm", "worse"),
    [
        ((5, 6), (10, 11), True),
        ((5, 5), (10, 11), False),
        ((5, 6), (10, 10), False),
        ((5, 6), (11, 10), False),
        ((6, 5), (10, 11), False),
        ((None, 1), (10, 11), True),
        ((None, 0), (10, 11), False),
        ((5, None), (10, 11), False),
        ((None, None), (10, 11), False),
    ],
)
def test_volts_are_worse_where_they_last_longer_and_do_more_harm_and_not_where_they_are_higher(
    lasts: tuple[int | None, int | None], harm: tuple[int, int], worse: bool
) -> None:
    assert change("race-overvoltage", "V", "260", "300", lasts_ms=lasts, harm=harm).worse is worse
    assert change("race-overvoltage", "V", "300", "260", lasts_ms=lasts, harm=harm).worse is worse


@cache
def before() -> Review:
    return review(stage())


def test_a_figure_that_is_new_is_worse_and_one_that_is_gone_is_not() -> None:
    one = change("move-gap", "ms", "5", "4")
    new, gone = replace(one, old=None), replace(one, new=None)
    assert (new.worse, gone.worse) == (True, False)
    assert new.trait is one.new
    assert gone.trait is one.old
    assert one.trait is one.new


def wire(severity: Severity, amperes: int, code: str = "over-current") -> Finding:
    shown = WireCurrent(
        bands=("a",),
        input_v=F(200),
        current_a=F(amperes),
        limit_a=F(1),
        wire=None,
        density_a_mm2=F(amperes),
        limit_a_mm2=F(1),
        stated=True,
    )
    return Finding(code, severity, "here", shown)


def excess(severity: Severity, turn: int) -> Finding:
    return Finding("window-full", severity, "here", TurnTooWide(turn_mm=F(turn), width_mm=F(5)))


@pytest.mark.parametrize("severity", list(Severity))
def test_a_fault_is_worse_in_any_measure_a_warning_in_current_and_a_note_never(severity: Severity) -> None:
    grew = FindingChange(wire(severity, 2), wire(severity, 3))
    assert grew.worse is (severity is not Severity.NOTE)
    assert not FindingChange(wire(severity, 3), wire(severity, 3)).worse
    assert not FindingChange(wire(severity, 3), wire(severity, 2)).worse
    assert FindingChange(excess(severity, 6), excess(severity, 7)).worse is (severity is Severity.FAULT)
    assert not FindingChange(excess(severity, 7), excess(severity, 7)).worse
    assert not FindingChange(excess(severity, 6), wire(severity, 7)).worse  # no measure in common


def test_each_thing_alone_makes_a_revision_worse() -> None:
    same = compared(stage(), stage())
    assert not same.worse
    lost = MarginChange("smallest", F(3), F(2))
    assert (lost.won_v, replace(lost, new_v=F(5)).won_v) == (-1, 2)
    assert replace(same, smallest=(replace(lost, new_v=F(3)), lost)).worse
    assert not replace(same, smallest=(replace(lost, new_v=F(3)), replace(lost, new_v=F(4)))).worse
    assert not replace(same, margins=(lost,)).worse
    warned, noted = wire(Severity.WARNING, 2), wire(Severity.NOTE, 2)
    assert replace(same, gained=(noted, warned)).worse
    assert not replace(same, gained=(noted,)).worse
    assert not replace(same, lost=(warned,)).worse
    assert replace(same, grown=(FindingChange(warned, wire(Severity.WARNING, 3)),)).worse
    assert not replace(same, grown=(FindingChange(warned, wire(Severity.WARNING, 1)),)).worse
    assert replace(same, traits=(change("move-gap", "ms", "4", "5"),)).worse
    assert not replace(same, traits=(change("move-gap", "ms", "5", "4"),)).worse
    narrower = PromiseChange("mains.range_v", Span(F(1), F(9)), Span(F(2), F(9)), worse=True)
    assert replace(same, promises=(replace(narrower, worse=False), narrower)).worse
    assert not replace(same, promises=(replace(narrower, worse=False),)).worse


@pytest.mark.parametrize(
    ("mains", "window", "worse"),
    [
        ((230, 168, 241), None, [False]),
        ((230, 168, 239), None, [True]),
        ((230, 167, 240), None, [False]),
        ((230, 169, 241), None, [True]),
        ((230, 167, 239), None, [True]),
        (None, (230, 208, 253), [False]),
        (None, (230, 206, 252), [True]),
        (None, (230, 208, 254), [True]),
        ((230, 168, 241), (230, 207, 254), [False, True]),
    ],
)
def test_less_is_promised_where_either_end_draws_in_or_the_window_opens_at_either(
    mains: object, window: object, worse: list[bool]
) -> None:
    wanted = {key: value for key, value in (("mains", mains), ("window", window)) if value is not None}
    found = compared_reviews(before(), review(stage(**wanted))).promises
    assert [one.worse for one in found] == worse
    keys = {"mains": "mains.range_v", "window": "output.window_v"}
    assert [one.key for one in found] == [keys[key] for key in wanted]


def test_bands_keep_the_order_of_the_new_table_and_those_removed_come_last() -> None:
    """Boost 2 is renamed and direct moved: what is new first, in its place, what is gone after it."""
    bands = tuple(replace(one, name="low") if one.name == "boost 2" else one for one in stage().bands)
    moved = with_hold(replace(stage(), bands=bands), "direct", 212, 245)
    found = compared(stage(), moved).bands
    assert [(one.name, one.change) for one in found] == [
        ("low", "added"),
        ("direct", "moved"),
        ("boost 2", "removed"),
    ]


def test_a_warning_that_is_accepted_since_is_neither_lost_nor_gained_but_told_as_accepted() -> None:
    """A spare relay's contact that leads nowhere."""
    loose = replace(stage(), relays=(*stage().relays, Relay(name="KX", com="A", nc="END")))
    code = "loose-end"
    accepted = replace(loose, accept=(Accept(code=code, reason="a spare"),))
    found = compared(loose, accepted)
    assert [(one.finding.code, one.reason) for one in found.accepted] == [(code, "a spare")]
    assert code not in {one.code for one in (*found.lost, *found.gained)}
    assert compared(accepted, accepted).accepted == ()
    back = compared(accepted, loose)
    assert back.accepted == ()
    assert code in {one.code for one in back.gained}


def test_keys_that_differ_are_named_as_in_the_file_and_bands_and_promises_are_told_elsewhere() -> None:
    """A winding and a relay by their names, with what each was and is."""
    old = stage()
    new = replace(
        with_hold(stage(mains=(230, 170, 240)), "direct", 212, 245),
        title="another",
        windings=(replace(old.windings[0], turns=F(201)), *old.windings[1:]),
        relays=(old.relays[0], replace(old.relays[1], bounce_ms=(F(0), F(7)))),
        core=Core(leg_mm=F(40)),
    )
    found = {one.key: (one.old, one.new) for one in compared(old, new).stated}
    assert found["winding[base].turns"] == (200, 201)
    assert found["relay[KO].bounce_ms"] == (old.relays[1].bounce_ms, (0, 7))
    assert found["core.leg_mm"] == (None, 40)
    assert not {"title", "mains.range_v", "output.window_v"} & found.keys()
    assert not [key for key in found if key.startswith("band")]
    assert compared(old, old).stated == ()


@pytest.mark.parametrize(
    ("was", "now", "word"),
    [
        ("boost 2", "boost 2", "moved"),
        ("boost 2", "boost 1", "rewired"),
        ("boost 1", "direct", "rewired"),
        (None, "direct", "added"),
        ("direct", None, "removed"),
    ],
)
def test_a_change_of_a_band_in_a_word(was: str | None, now: str | None, word: str) -> None:
    rows = {one.name: one for one in before().table.rows}
    old, new = (None if name is None else rows[name] for name in (was, now))
    assert BandChange("x", old, new).change == word


def test_other_relays_or_another_ratio_alone_are_a_rewiring() -> None:
    """The winding with a turn more gives another ratio to the same relays; a relay more gives the same ratio."""
    row = before().table.rows[0]
    wound = review(stage_of(228)).table.rows[0]
    assert (wound.energised, wound.ratio != row.ratio) == (row.energised, True)
    assert BandChange("x", row, wound).change == "rewired"
    other = replace(row, state=replace(row.state, energised=("KO", "KX")))
    assert other.ratio == row.ratio
    assert BandChange("x", row, other).change == "rewired"


def stage_of(turns: int) -> Design:
    made = stage()
    return replace(made, windings=(replace(made.windings[0], turns=F(turns)), *made.windings[1:]))


def test_the_smallest_margins_are_told_where_both_revisions_have_any() -> None:
    """One band has ends and no neighbour; a stage that holds nothing of the range has neither."""
    alone = stage(bands=[("direct", ["KL", "KO"], 212, 244)])
    found = compared_reviews(before(), review(alone)).smallest
    assert [one.what for one in found] == ["smallest margin of a band"]
    assert [one.what for one in compared_reviews(review(alone), before()).smallest] == ["smallest margin of a band"]
    (ends, overlaps) = compared_reviews(before(), before()).smallest
    assert (overlaps.what, overlaps.old_v, overlaps.new_v) == ("smallest overlap of neighbours", 4, 4)
    assert ends.old_v == F("211.5") / F("1.01") - 207  # direct at its low end
