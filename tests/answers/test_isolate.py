"""What readings leave: the last sentence by what is left, the share shown, the doubts only when little is left."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.isolate import FEW, LEAST_SHOWN, MOST_SHOWN, Isolated, healthy, isolated, spans, with_empty
from tapplan.answers.isolaterows import DoubtRow, WaitingRow
from tapplan.bench.defects import HEALTHY, MENDS, Defect
from tapplan.bench.isolation import AlikeFaults, Diagnosis, DoubtedReading, Isolation, Leaving, Next, Reading
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.phrase import Names
from tapplan.bench.readings import reading_of
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.exact import Span
from tests.examples import ROOT


@cache
def found() -> Isolated:
    stage = control_table(load(ROOT / "designs" / "ridge-dispensary.toml"))
    isolation = Isolation(stage)
    isolation.add(reading_of("line 200 V rising: output = 177", Names.of(stage)))
    return isolated(isolation, "x")


def test_the_last_sentence_by_what_is_left() -> None:
    done = replace(found(), barred=0, next=None, waiting=None)
    assert (
        replace(done, firm=True).end_told == "Nothing more to measure: no single reading carries this verdict alone."
    )
    assert done.end_told == "No measurement on the list tells these apart."
    short = found().groups[0].candidates[:1]
    waiting = WaitingRow(condition="line 203 V rising", measure="volts OUT NEUTRAL", because=short)
    barred = replace(done, barred=1, waiting=waiting).end_told
    assert '"line 203 V rising: volts OUT NEUTRAL"' in barred
    assert short[0][0].told in barred
    assert barred.endswith("open the part.")


def test_the_verdict_is_said_first() -> None:
    assert found().verdict_told == "No verdict yet."
    group = replace(found().groups[0], share=0.991, what="KO coil-open")
    firm = replace(found(), firm=True, groups=(group,))
    assert firm.verdict_told == "Verdict, 99.1% likely: KO coil-open."
    sound = replace(firm, groups=(replace(group, candidates=((),), what="no fault"),)).verdict_told
    assert sound == "Verdict, 99.1% likely: no fault that these measurements can show."
    assert replace(firm, readings=()).verdict_told == ""


def test_groups_below_the_least_share_are_counted_not_shown() -> None:
    groups = tuple(replace(found().groups[0], share=share) for share in (LEAST_SHOWN, 2 * LEAST_SHOWN, 0.0))
    few = replace(found(), groups=groups)
    assert few.shown == groups[:2]
    assert few.groups_told[0] == "and 1 more, less likely than these (all with --json)"
    many = replace(found(), groups=(groups[1],) * (MOST_SHOWN + 3))
    assert len(many.shown) == MOST_SHOWN
    assert many.groups_told[0].startswith("and 3 more")
    single = replace(found(), groups=(replace(groups[1], candidates=groups[1].candidates[:1]),))
    assert single.groups_told == []
    twin = replace(found(), groups=(replace(groups[1], candidates=groups[1].candidates[:1] * 2),))
    assert twin.groups_told == [
        "What stands in one row is mended at one place, or looks the same from outside: open the part."
    ]


@pytest.mark.parametrize("count", [FEW, FEW + 1])
def test_doubts_are_told_only_when_little_is_left(count: int) -> None:
    group = found().groups[0]
    left = replace(group, candidates=group.candidates[:1] * count)
    doubt = DoubtRow(reading=3, candidates=group.candidates[:1])
    told = replace(found(), groups=(left,), doubts=(doubt,)).doubts_told
    assert [one.startswith("If reading 3 were wrong, there would also fit:") for one in told] == [True] * (
        count <= FEW
    )


def test_one_reading_against_the_design_or_several_against_each_other() -> None:
    assert found().conflict_told == ""
    assert replace(found(), conflict=(2,)).conflict_told.startswith(
        "No fault on the list explains reading 2. One of them was misread"
    )
    assert "explains 1, 3 together" in replace(found(), conflict=(1, 3)).conflict_told


def test_lines_of_a_sheet_without_a_reading_are_counted() -> None:
    told = [replace(found(), cells_empty=count).empty_told for count in (None, 0, 1, 3)]
    assert told == ["", "", "Of the sheet 1 line has no reading.", "Of the sheet 3 lines have no reading."]


DESIGNS = ROOT / "designs"


def test_a_reading_is_shown_as_it_was_given() -> None:
    stage = review(load(DESIGNS / "ridge-dispensary.toml")).table
    isolation = Isolation(stage)
    for text in ("line 200 V rising: output = 177", "off coils KL: ohms KL.com KL.no = open"):
        isolation.add(reading_of(text, Names.of(stage)))
    volts, ohms = isolated(isolation, "x").readings
    assert (volts.condition, volts.measure, volts.unit) == ("line 200 V rising", "volts OUT NEUTRAL", "V")
    assert (ohms.condition, ohms.measure, ohms.unit) == ("off coils KL", "ohms KL.com KL.no", "ohm")
    assert (volts.value, volts.shown) == (177, "177 V")
    assert volts.told.startswith(volts.condition)
    assert volts.asked[0].isupper()
    assert volts.asked not in (volts.measure, volts.told)


def test_a_stage_without_a_fault_is_told_as_that() -> None:
    stage = control_table(load(ROOT / "designs" / "ridge-dispensary.toml"))
    isolation = Isolation(stage)
    isolation.add(reading_of("off coils KL: ohms KL.com KL.no = 0.1", Names.of(stage)))
    healthy = isolated(isolation, "x")
    assert healthy.healthy
    whats = [one.what for one in healthy.groups]
    assert any("no fault" in what for what in whats)
    assert all(what for what in whats)
    assert sum(what == "no fault" for what in whats) <= 1


def test_what_is_likely_is_named_by_part_and_fault() -> None:
    first = found().groups[0]
    (defect, *others) = first.candidates[0]
    named = " and ".join(one.told for one in (defect, *others))
    count = sum(one.share >= LEAST_SHOWN for one in found().groups)
    assert found().likely_told.startswith(f"{count} possible; most likely: {named} ({first.share:.0%}), ")
    assert "no fault" not in found().likely_told
    healthy = replace(found(), groups=(replace(first, candidates=((),)),))
    assert healthy.likely_told.startswith("1 possible; most likely: no fault (")


# --- of a diagnosis made by hand ---

F = Fraction
OPEN, OTHER, WORN = Defect("K", "coil-open"), Defect("L", "coil-open"), Defect("S", "nc-worn")
OHMS = Measure(Condition("off", frozenset({"K"})), "ohms", ("K.com", "K.no"))
LOW = Measure(Condition("low", frozenset(), ("LINE", "N"), F(3)), "volts", ("OUT", "N"))
LINE = Measure(Condition("line", None, ("LINE", "N"), F(203), "rising"), "volts", ("OUT", "N"))
NOTHING = Diagnosis((), (), (), None, False, None)


def told(found: Diagnosis = NOTHING, *, readings: tuple[Reading, ...] = (), alive: bool = True, two: bool = False,
         hypotheses: tuple[Any, ...] = (HEALTHY, (OPEN,), (WORN,))) -> Isolated:  # fmt: skip
    made: Any = SimpleNamespace(
        diagnosis=lambda: found, readings=readings, alive=[alive, True], singles=[OPEN, OTHER, WORN], paired=[OPEN],
        setup=SimpleNamespace(two=two), hypotheses=hypotheses,
    )  # fmt: skip
    return isolated(made, "x")


def test_readings_are_numbered_from_one_and_those_in_conflict_marked_where_there_is_one() -> None:
    readings = (Reading(OHMS, F(1, 5), "as written"), Reading(LINE, None), Reading(OHMS, F(10**12)))
    rows = told(readings=readings).readings
    assert [one.number for one in rows] == ["1", "2", "3"]
    assert [one.shown for one in rows] == ["0.2 ohm", "unknown", "open"]
    assert [one.value for one in rows] == [F(1, 5), None, 10**12]
    assert [one.in_conflict for one in rows] == [None, None, None]
    assert (rows[0].condition, rows[0].measure, rows[0].unit, rows[0].told) == (
        "off coils K", "ohms K.com K.no", "ohm", "as written",
    )  # fmt: skip
    clash = told(replace(NOTHING, conflict=(0, 2)), readings=readings)
    assert [one.in_conflict for one in clash.readings] == ["yes", "", "yes"]
    assert clash.conflict == (1, 3)


def test_a_group_is_mended_where_its_faults_are_and_each_thing_is_said_once() -> None:
    alike = AlikeFaults(((OPEN,), (OTHER,), (OPEN, WORN)), 0.4567)
    (group,) = told(replace(NOTHING, groups=(alike,))).groups
    assert (group.share, group.likely) == (0.4567, "45.7%")
    assert group.what == "K coil-open; L coil-open; K coil-open and S nc-worn"
    assert group.mend == (MENDS["coil-open"], MENDS["nc-worn"])
    assert group.to_do == f"{MENDS['coil-open']}; {MENDS['nc-worn']}"
    assert len(group.candidates) == 3
    (sound,) = told(replace(NOTHING, groups=(AlikeFaults((HEALTHY, HEALTHY), 1.0),))).groups
    assert (sound.mend, sound.to_do, sound.what, sound.likely) == (
        (), "nothing to mend that these measurements show", "no fault", "100.0%",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("alive", "firm", "first", "sound"),
    [
        (True, False, (OPEN,), True),
        (False, False, HEALTHY, False),
        (False, True, HEALTHY, True),
        (False, True, (OPEN,), False),
        (True, True, (OPEN,), True),
    ],
)
def test_a_stage_is_healthy_where_that_explains_every_reading_or_is_the_verdict(
    alive: bool, firm: bool, first: Any, sound: bool
) -> None:
    found = replace(NOTHING, groups=(AlikeFaults((first,), 0.9), AlikeFaults((HEALTHY,), 0.1)), firm=firm)
    answer = told(found, alive=alive)
    assert answer.healthy is sound
    assert answer.wrong is not sound
    made: Any = SimpleNamespace(alive=[alive])
    assert healthy(made, found) is sound


@pytest.mark.parametrize(("two", "unpaired"), [(True, 2), (False, 0)])
def test_faults_left_out_of_pairs_are_counted_where_pairs_are_thought_of(two: bool, unpaired: int) -> None:
    answer = told(two=two)
    assert answer.unpaired == unpaired
    line = f"The {unpaired} faults met least often were not thought of in pairs."
    assert (line in answer.groups_told) is two


def test_what_keeps_the_line_off_is_named_and_counted() -> None:
    waiting: Any = SimpleNamespace(measure=LINE, bars=SimpleNamespace(hypotheses=(2, 1)))
    answer = told(replace(NOTHING, waiting=waiting))
    assert answer.waiting is not None
    assert (answer.waiting.condition, answer.waiting.measure) == ("line 203 V on LINE N rising", "volts OUT N")
    assert [one[0].told for one in answer.waiting.because] == ["S nc-worn", "K coil-open"]
    assert answer.barred == 2
    assert answer.end_told == f"{answer.waiting.told} No test is left that would rule it out: open the part."
    none = told()
    assert (none.waiting, none.barred, none.next) == (None, 0, None)
    doubts = told(replace(NOTHING, doubts=(DoubtedReading(4, ((WORN,),)),))).doubts
    assert [(one.reading, one.candidates[0][0].told) for one in doubts] == [(5, "S nc-worn")]


def next_one(measure: Measure = LOW, **parts: Any) -> Next:
    entry: Any = SimpleNamespace(measure=measure)
    span = (Span(F(1), F(2)),)
    leaves = (Leaving(span, ((OPEN,), HEALTHY, (WORN,)), 0.75),)
    return Next(**{"entry": entry, "bits": 1.234, "leaves": leaves, **parts})


def following(one: Next) -> Any:
    return told(replace(NOTHING, next=one)).next


def test_the_next_measurement_says_what_each_reading_would_leave_a_healthy_stage_first() -> None:
    row = following(next_one(volts=F(7, 2)))
    assert (row.condition, row.measure, row.unit, row.bits, row.effort) == (
        "low 3 V on LINE N", "volts OUT N", "V", 1.234, 2,
    )  # fmt: skip
    assert (row.most_v, row.unbars, row.again) == (F(7, 2), (), False)
    (outcome,) = row.outcomes
    assert (outcome.readings, outcome.spans, outcome.share) == ("1 to 2 V", ((1.0, 2.0),), 0.75)
    assert outcome.left == "no fault; K coil-open; S nc-worn"
    assert [len(each) for each in outcome.fits] == [1, 0, 1]


def test_what_a_measurement_is_worth_and_why_it_is_asked() -> None:
    """Efforts go from 1, off, by 2, a small source, and 3, the battery, to 4 on the line."""
    told_of = "It tells 1.23 bits (1 halves what is left) at an effort of 2 of 4."
    assert following(next_one()).worth == told_of
    assert following(next_one(OHMS)).worth.endswith("at an effort of 1 of 4.")
    assert following(next_one(again=True)).worth == "It is asked again, for too much hangs on one reading."
    barred = following(next_one(unbars=((OPEN,),), again=True))
    assert barred.worth == "It is asked because the line stays off while this is possible: K coil-open."
    assert (len(barred.unbars), barred.again) == (1, True)


@pytest.mark.parametrize(
    ("measure", "where"), [(LOW, "somewhere on the winding"), (LINE, "at the line"), (OHMS, "at the line")]
)
def test_volts_that_can_stand_are_told_where_they_do(measure: Measure, where: str) -> None:
    worth = following(next_one(measure, volts=F("61.6"))).worth
    assert worth.endswith(f" Up to 62 V can stand {where}: treat every terminal as live.")
    assert worth.startswith("It tells 1.23 bits")


def test_the_empty_lines_of_a_sheet_are_added_and_spans_are_plain_numbers() -> None:
    assert with_empty(found(), 3).empty_told == "Of the sheet 3 lines have no reading."
    assert with_empty(found(), None).cells_empty is None
    assert with_empty(found(), 2).empty_told == "Of the sheet 2 lines have no reading."
    assert spans((Span(F(1, 2), F(3)), Span(F(-1), F(-1)))) == ((0.5, 3.0), (-1.0, -1.0))


def test_of_the_likeliest_three_are_named() -> None:
    group = found().groups[0]
    shares = (0.4, 0.3, 0.2, LEAST_SHOWN, LEAST_SHOWN / 2)
    groups = tuple(replace(group, share=share, candidates=((),)) for share in shares)
    told_of = replace(found(), groups=groups).likely_told
    assert told_of == "4 possible; most likely: no fault (40%), no fault (30%), no fault (20%)"
