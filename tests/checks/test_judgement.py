"""The verdict: promises with their margins by hand, traits as figures, limits, what the file accepts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from tapplan.checks.comparison import compared
from tapplan.checks.finding import Severity
from tapplan.checks.judgement import Judgement, judged
from tapplan.checks.promises import APPLIES, MEASURES
from tapplan.checks.review import review
from tapplan.checks.rules import CODES, RULES, findings
from tapplan.checks.traits import FIGURES, Trait
from tapplan.design.file import load, parse
from tapplan.design.model import Accept, Backup, Design, Limits, Sequence
from tapplan.errors import TableError
from tests.checks.test_margins import stage
from tests.examples import ROOT, SHIPPED, design
from tests.outside.designs import random_design

F = Fraction


def of(made: Design) -> Judgement:
    return judged(review(made))


def margin(made: Design, code: str) -> tuple[Fraction | None, str]:
    (found,) = [one for one in of(made).promises if one.code == code]
    return found.margin, found.where


def trait(made: Design, code: str) -> Trait:
    (found,) = [one for one in of(made).traits if one.code == code]
    return found


BACKUP = Backup(leave_v=(F(161), F(248)), return_v=(F(165), F(244)))


def test_margins_of_promises_by_hand() -> None:
    """Error 1 %, noise 1 V, 168 to 240 V promised: readings from 165.82 to 242.9 V must be held and lead back."""
    made = stage()
    assert margin(made, "dead-zone") == (F("165.82") - 165, 'below band "boost 2"')
    assert margin(made, "chatter") == (3, 'bands "boost 2" and "boost 1"')  # 191 - 187 less 1 V of noise
    low = F("211.5") / F("1.01") - 207  # direct at its low end: 211.5 V read 1 % high is 209.41 V in, and out
    assert margin(made, "out-of-window") == (low, 'band "direct" at 209.41 V')
    assert margin(replace(made, backup=BACKUP), "stranded") == (F("165.82") - 165, "return_v, low side")
    narrow = replace(BACKUP, return_v=(F(165), F(243)))
    assert margin(replace(made, backup=narrow), "stranded") == (F("0.1"), "return_v, high side")


def test_a_broken_promise_has_a_margin_below_nought_and_the_verdict_counts_it() -> None:
    found = of(load(ROOT / "designs" / "hostel-review.toml"))
    broken = {one.code: one.margin for one in found.promises if not one.held}
    assert broken.keys() == {"dead-zone", "out-of-window", "chatter"}
    assert broken["dead-zone"] == -3
    assert broken["chatter"] == -1  # 1 V of overlap, 2 V of noise; the pair that has none is a dead zone, only that
    assert broken["out-of-window"] == 264 - F(264) / F("0.99")
    assert not found.sound
    assert found.told == f"Not sound: 3 of {len(found.promises)} promises broken"


def test_a_hole_that_another_band_holds_is_no_dead_zone() -> None:
    """Between 192 and 195 V "boost 2" and "direct" part, and "boost 1" holds on both sides of it."""
    bands = [("boost 2", ["KO"], 165, 192), ("boost 1", [], 180, 217), ("direct", ["KL", "KO"], 195, 243)]
    made = stage(bands=bands, mains=(230, 168, 238))
    assert margin(made, "dead-zone") == (F("0.82"), 'below band "boost 2"')


def test_margins_have_the_sign_of_the_verdict() -> None:
    chance, seen = Random(12), {(code, held): 0 for code in MEASURES for held in (True, False)}
    for _ in range(200):
        stated = review(parse(random_design(chance, 0.6).text, "drawn.toml"))
        for code, measure in MEASURES.items():
            (rule,) = [one for one in RULES if code in one.meanings]
            held = all(one.code != code for one in rule.check(stated))
            if (found := measure(stated)) is not None:
                value = found.margin
                assert value > 0 or not held or (value == 0 and code != "chatter"), (code, value)
                assert value < 0 or held or (value == 0 and code == "chatter"), (code, value)
                seen[code, held] += 1
            else:
                assert held or code != "stranded", code
    assert all(count > 5 for count in seen.values()), seen


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_the_verdict_agrees_with_the_findings(file) -> None:  # type: ignore[no-untyped-def]
    made = load(file)
    found = of(made)
    faults = {one.code for one in findings(made) if one.severity is Severity.FAULT}
    assert {one.code for one in found.promises if not one.held} == faults
    assert found.sound == (not faults)
    for one in found.promises:
        assert one.margin is None or (one.margin > 0) == one.held or one.margin == 0
    least = min(one.margin for one in found.promises if one.margin is not None)
    if found.sound:
        assert found.told.startswith(f"Sound: all {len(found.promises)} promises hold; the least margin is ")
        assert found.least is not None
        assert found.least.margin == least
        assert found.told.endswith(found.least.where)


def test_promises_are_those_that_apply() -> None:
    plain = {one.code for one in of(stage()).promises}
    assert {"stranded", "backup-cycling", "lost-in-counts", "backfeed", "blind-reading"}.isdisjoint(plain)
    assert {"stranded", "backup-cycling"} <= {one.code for one in of(stage(backup=BACKUP)).promises}
    one_band = design((("w", "N", "L", 100),), {}, terminals=("L", "N", "O"), bands=[("on", [], 200, 250)])
    assert "chatter" not in {one.code for one in of(one_band).promises}


RATED = {
    "over-load",
    "over-flux",
    "over-current",
    "contact-overload",
    "make-overload",
    "window-full",
    "coil-starved",
    "fuse-overload",
}
COUNTED = {"lost-in-counts", "error-budget", "converter-range"}
FED = {"backfeed", "feed-out-of-window", "charger-reach"}
BACKED = {"stranded", "backup-cycling"}


@pytest.mark.parametrize(
    ("name", "without"),
    [
        (
            "shepherds-hut",
            {"blind-reading", "charger-reach", *COUNTED},
        ),  # all but a controller, read at the input
        ("signal-box", {"blind-reading", *FED, *RATED}),  # a controller and a backup, no core, contact or feed
        ("spring-pump", {"race-short", *FED, *BACKED, *COUNTED, *RATED}),  # one relay, read at the output
        ("hostel-review", {"blind-reading", *FED, *BACKED, *COUNTED, *RATED}),
    ],
)
def test_promises_of_shipped_designs(name: str, without: set[str]) -> None:
    """None has two cores, or states a tolerance curve."""
    found = {one.code for one in of(load(ROOT / "designs" / f"{name}.toml")).promises}
    assert found == APPLIES.keys() - without - {"undetermined-state", "slow-recovery"}


def test_every_figure_is_a_code_and_every_trait_is_no_finding() -> None:
    assert FIGURES.keys() <= CODES.keys()
    found = of(replace(stage(), sequence=Sequence(order="safest")))
    assert {one.code for one in found.traits} >= {"move-gap", "flight-inrush", "stuck-short", "unsafe-rest"}
    assert [one.code for one in found.findings if one.severity is not Severity.NOTE] == []
    assert found.sound


def test_a_trait_is_the_worst_of_its_rows() -> None:
    made = stage()
    gaps = [one.witness.lasts_ms for one in findings(made, ["move-gap"])]
    assert trait(made, "move-gap").value == max(gap or F(0) for gap in gaps) == 30
    dips = [one.witness.output_v or F(0) for one in findings(made, ["race-dip"])]
    assert len(dips) > 1
    assert trait(made, "race-dip").value == min(dips)
    surges = [one.witness.output_v or F(0) for one in findings(made, ["race-overvoltage"])]
    assert trait(made, "race-overvoltage").value == max(surges)
    stuck = findings(made, ["stuck-overvoltage"])
    assert (trait(made, "stuck-overvoltage").value, trait(made, "stuck-overvoltage").rows) == (len(stuck), len(stuck))
    assert trait(made, "unsafe-rest").value == F(227, 200) * 240 / 230


def test_a_better_choice_makes_a_trait_a_warning_and_stating_it_takes_it_away() -> None:
    """With its order stated, a stage is told only figures."""
    together, ordered = stage(), replace(stage(), sequence=Sequence(order="safest"))
    races = [one for one in of(together).findings if one.code.startswith("race-")]
    assert races
    assert all(one.severity is Severity.WARNING and "the safest order is" in one.advice for one in races)
    assert [one for one in of(ordered).findings if one.code.startswith("race-")] == []


@pytest.mark.parametrize(
    ("key", "code", "below", "above"),
    [
        ("move_gap_ms", "move-gap", "29.9", "30"),
        ("flux_factor", "flight-inrush", "2.9", "3"),
        ("surge_v", "race-overvoltage", "270", "400"),
        ("stuck_shorts", "stuck-short", "1", "2"),
        ("rest_v", "unsafe-rest", "272", "273"),
    ],
)
def test_a_figure_beyond_its_limit_is_a_fault(key: str, code: str, below: str, above: str) -> None:
    made = stage()
    for value, broken in ((below, True), (above, False)):
        limited = replace(made, limits=Limits(**{key: F(value)}))
        found = of(limited)
        assert (code in {one.code for one in found.findings if one.severity is Severity.FAULT}) == broken
        assert found.sound != broken
        assert trait(limited, code).limit is not None


def test_a_dip_is_limited_from_below() -> None:
    least = trait(stage(), "race-dip").value
    for limit, sound in ((least, True), (least + 1, False)):
        assert of(replace(stage(), limits=Limits(dip_v=limit))).sound == sound


def accepting(*accepted: Accept) -> Design:
    return replace(stage(bands=[("boost 2", ["KO"], 150, 191), *stage_rows()]), accept=accepted)


def stage_rows() -> list[tuple[object, ...]]:
    return [("boost 1", [], 187, 216), ("direct", ["KL", "KO"], 212, 244)]


def test_what_the_file_accepts_is_set_apart_with_its_reason() -> None:
    reason = "the pump is switched off below 168 V"
    assert "holds-beyond-range" in {one.code for one in of(accepting()).findings}
    found = of(accepting(Accept(code="holds-beyond-range", reason=reason)))
    assert "holds-beyond-range" not in {one.code for one in found.findings}
    assert [(one.finding.code, one.reason) for one in found.accepted] == [("holds-beyond-range", reason)]
    there = of(accepting(Accept(code="holds-beyond-range", where='band "boost 2"', reason=reason)))
    assert len(there.accepted) == 1
    elsewhere = of(accepting(Accept(code="holds-beyond-range", where='band "direct"', reason=reason)))
    assert elsewhere.accepted == ()
    assert "stale-accept" in {one.code for one in elsewhere.findings}


def test_a_fault_is_never_accepted() -> None:
    made = replace(stage(bands=[("boost 2", ["KO"], 167, 191), *stage_rows()]),
                   accept=(Accept(code="dead-zone", reason="it is rare"),))  # fmt: skip
    found = of(made)
    assert not found.sound
    assert {"dead-zone", "stale-accept"} <= {one.code for one in found.findings}


def test_an_unknown_code_cannot_be_accepted() -> None:
    with pytest.raises(TableError) as caught:
        of(accepting(Accept(code="dead-zones", reason="x")))
    assert caught.value.path == ("accept", 0, "code")
    assert all(f'"{code}"' in caught.value.accepted for code in CODES)


def test_an_acceptance_that_meets_nothing_is_named_by_its_place_in_the_file() -> None:
    """Counted from one: the second of three, and the third, which names a place."""
    kept = Accept(code="holds-beyond-range", reason="the pump is off")
    stale = Accept(code="few-counts", reason="rare")
    placed = Accept(code="holds-beyond-range", where='band "direct"', reason="rare")
    found = [one.where for one in of(accepting(kept, stale, placed)).findings if one.code == "stale-accept"]
    assert found == ['accept[2], "few-counts"', 'accept[3], "holds-beyond-range" at band "direct"']
    assert [one for one in of(accepting(kept)).findings if one.code == "stale-accept"] == []


def verdict(*margins: object) -> Judgement:
    """A verdict on promises of these margins, those below nought broken; None: held, without a figure."""
    made = of(stage()).promises[0]
    known = [None if one is None else F(str(one)) for one in margins]
    promises = [
        replace(made, margin=one, held=one is None or one >= 0, where=f"place {n}") for n, one in enumerate(known)
    ]
    return Judgement(tuple(promises), (), (), ())


def test_the_verdict_in_a_sentence() -> None:
    assert verdict(3, None, 2, 5).told == "Sound: all 4 promises hold; the least margin is 2 V, place 2"
    assert verdict(3, 0).told == "Sound: all 2 promises hold; the least margin is 0 V, place 1"
    assert verdict(None).told == "Sound: all 1 promises hold"
    assert verdict(None).least is None
    assert verdict(3, -1, 2, -4).told == "Not sound: 2 of 4 promises broken"
    assert [verdict(*margins).sound for margins in ((), (3, None), (3, -1))] == [True, True, False]


def test_a_trait_that_got_worse_is_a_loss() -> None:
    slow = replace(stage(), relays=tuple(replace(one, transfer_ms=(F(0), F(20))) for one in stage().relays))
    change = {one.new.code: one for one in compared(stage(), slow).traits}
    assert change["move-gap"].worse
    assert (change["move-gap"].old.value, change["move-gap"].new.value) == (30, 40)
    assert compared(stage(), slow).worse
    assert not {one.new.code: one for one in compared(slow, stage()).traits}["move-gap"].worse


def test_the_rules_know_every_promise() -> None:
    assert {code for rule in RULES for code in rule.meanings} >= {
        one.code for one in of(stage(backup=BACKUP)).promises
    }
