"""What readings leave: the last sentence by what is left, the share shown, the doubts only when little is left."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from tapplan.answers.isolate import FEW, LEAST_SHOWN, MOST_SHOWN, Isolated, isolated
from tapplan.answers.isolaterows import DoubtRow, WaitingRow
from tapplan.bench.isolation import Isolation
from tapplan.bench.phrase import Names
from tapplan.bench.readings import reading_of
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.file import load
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
