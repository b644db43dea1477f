"""The plan for the bench from a plan made by hand: what each line passes, what failing means, and what to do then."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any, cast

import pytest

from tapplan.answers import plan as answers
from tapplan.answers.plan import BenchPlan, bench_plan
from tapplan.bench.defects import HEALTHY, MENDS, Defect
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.plan import Means, PlanLine, RepairPlan, Then
from tapplan.exact import Span

F = Fraction
OPEN, WORN = Defect("K", "coil-open"), Defect("S", "nc-worn")
COIL = Measure(Condition("off", frozenset()), "coil-ohms", ("K",))
CLICK = Measure(Condition("off", frozenset()), "click", ("K",))
NO, YES = (Span(F(0), F(0)),), (Span(F(1), F(1)),)
OHMS = (Span(F(1), F(2)),)


def planned(monkeypatch: pytest.MonkeyPatch, *lines: PlanLine, source: int = 6) -> BenchPlan:
    monkeypatch.setattr(answers, "plan", lambda isolation: RepairPlan(lines, F(source)))
    return bench_plan(cast("Any", None), "x")


MENDED = Means(OHMS, ((OPEN, WORN), (WORN,)), None)
SECOND = Means(OHMS, ((OPEN,), (WORN,)), Then(CLICK, (Means(NO, ((WORN,),), None), Means(YES, (HEALTHY,), None))))
FIRST = PlanLine(COIL, OHMS, (MENDED, SECOND), 0.5)


def test_lines_are_numbered_from_one_and_the_last_says_how_much_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = planned(monkeypatch, FIRST, replace(FIRST, measure=CLICK, passes=YES, caught=0.9641))
    assert [(one.line, one.measure, one.passes, one.caught) for one in answer.lines] == [
        (1, "coil-ohms K", "1 to 2 ohm", 0.5),
        (2, "click K", "yes", 0.9641),
    ]
    assert {one.condition for one in answer.lines} == {"off"}
    assert answer.caught == 0.9641
    assert answer.told[0] == "2 measurements catch 96.4% of what is met, by how often it is met."
    assert answer.told[-1] == answer.source_told
    assert not answer.wrong


def test_without_a_line_nothing_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = planned(monkeypatch)
    assert (answer.lines, answer.caught) == ((), 0.0)
    assert answer.told == ["Nothing is left to plan: what the readings leave is told by isolate without --plan."]


def test_a_meaning_without_a_second_measurement_is_mended_as_its_likeliest(monkeypatch: pytest.MonkeyPatch) -> None:
    mend, _ = planned(monkeypatch, FIRST).lines[0].means
    assert (mend.readings, mend.spans, mend.then) == ("1 to 2 ohm", ((1.0, 2.0),), None)
    assert mend.what == "K coil-open and S nc-worn; S nc-worn"
    assert mend.mend == (MENDS["coil-open"], MENDS["nc-worn"])
    assert mend.to_do == f"{MENDS['coil-open']}; {MENDS['nc-worn']}"
    twice = PlanLine(COIL, OHMS, (Means(OHMS, ((OPEN, Defect("L", "coil-open")),), None),), 0.5)
    assert planned(monkeypatch, twice).lines[0].means[0].mend == (MENDS["coil-open"],)


def test_a_second_measurement_says_what_each_of_its_readings_means(monkeypatch: pytest.MonkeyPatch) -> None:
    _, second = planned(monkeypatch, FIRST).lines[0].means
    assert (second.then, second.mend) == ("off: click K", ())
    assert second.to_do == (
        "Power off, no coil driven: is K heard to click as its coil is driven? No: S nc-worn; yes: no fault."
    )
    assert [len(one) for one in second.means] == [1, 1]


@pytest.mark.parametrize(("volts", "ohm"), [(6, 22), (15, 47), (24, 150)])
def test_the_small_source_is_told_with_its_resistor(volts: int, ohm: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """At most 5 W in a dead short: 36/22, 225/47 and 576/150 W, and 225/22 or 576/47 would be more."""
    told = planned(monkeypatch, source=volts).source_told
    assert told.startswith(f"Small source: {volts} V AC, isolated, through {ohm} ohm; 10 kohm across the output")
