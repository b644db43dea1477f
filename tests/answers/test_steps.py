"""Sudden steps told: harm, the worst from each start, cures and the drawing, from verdicts made by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers import steps as answers
from tapplan.answers.steps import StepRow, Steps, steps
from tapplan.checks.mends import Cure
from tapplan.checks.review import Review, review
from tapplan.design.file import load
from tapplan.errors import UsageError
from tapplan.exact import Span
from tests.examples import ROOT

F = Fraction


def row(**parts: Any) -> StepRow:
    made = {
        "start": "a", "line_v": Span(F(170), F(270)), "at_v": F(270), "entered": (), "phases": (), "output_v": F(300),
        "percent": 130.0, "lasts_ms": F(30), "allowed_ms": F(10), "allowed_percent": 120.0, "settled_ms": F(40),
        "allowed_told": "10", "curve": "iti-2000", "side": "over", "kept": False, "verdict": "over the curve",
        "highest_jump_v": None, "course": (),
    }  # fmt: skip
    return StepRow(**{**made, **parts})


@pytest.mark.parametrize(
    ("parts", "harm"),
    [
        ({}, [1.0, 10.0, 20.0]),
        ({"side": "under", "percent": 60.0, "allowed_percent": 70.0}, [1.0, 10.0, 20.0]),
        ({"side": "under", "percent": 75.0, "allowed_percent": 70.0}, [1.0, -5.0, 20.0]),
        ({"percent": 115.0, "kept": True, "lasts_ms": F(4)}, [0.0, -5.0, -6.0]),
        ({"allowed_ms": None, "kept": True}, [0.0, 10.0, 0.0]),
    ],
)
def test_harm_is_leaving_the_curve_then_percent_beyond_it_then_time(parts: dict[str, Any], harm: list[float]) -> None:
    assert row(**parts).harm == harm


def test_of_two_steps_the_one_that_leaves_the_curve_does_more_harm_however_near_the_other_comes() -> None:
    inside = row(kept=True, percent=200.0, lasts_ms=F(9))
    assert row().harm > inside.harm
    assert row(percent=131.0, lasts_ms=F(11)).harm > row().harm
    assert row(lasts_ms=F(31)).harm > row().harm


def stated(*kept: bool, stated: bool) -> Steps:
    rows = tuple(row(kept=one) for one in kept)
    return Steps(title="x", steps=rows, cures={}, unheld_inputs=False, curve="c", worst=(), told=(), drawing=None,
                 stated=stated)  # fmt: skip


def test_a_step_off_a_curve_is_wrong_only_where_the_file_states_that_curve() -> None:
    assert stated(True, False, stated=True).wrong
    assert not stated(True, False, stated=False).wrong
    assert not stated(True, True, stated=True).wrong
    assert not stated(stated=True).wrong
    assert Steps.parts() == ("steps",)


# --- verdicts made by hand ---


def verdict(start: str, side: str, harm: int, *, kept: bool = False) -> Any:
    return SimpleNamespace(
        response=SimpleNamespace(start=start), side=side, harm=(not kept, harm), kept=kept,
        curve=SimpleNamespace(key="iti-2000"),
    )  # fmt: skip


def test_the_worst_of_each_start_and_side_stands_where_the_first_of_them_did() -> None:
    found = [
        verdict("a", "over", 1),
        verdict("b", "over", 5),
        verdict("a", "over", 3),
        verdict("a", "over", 3, kept=True),
        verdict("a", "under", 2),
        verdict("b", "over", 5),
    ]
    assert answers._worst_of_each_start(found) == [found[2], found[1], found[4]]
    assert answers._worst_of_each_start(found)[1] is found[1]
    assert answers._worst_of_each_start([]) == []


def told(monkeypatch: pytest.MonkeyPatch, found: list[Any], cures: Any, jump: Any = None) -> list[str]:
    monkeypatch.setattr(answers, "highest_jump_v", lambda review, one: jump)
    monkeypatch.setattr(answers, "named", lambda review, standing: standing)
    nothing: Any = None
    return answers._told(nothing, found, cures)


def test_steps_that_leave_the_curve_are_counted_and_the_worst_on_each_side_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = [
        verdict("a", "over", 1), verdict("b", "over", 7), verdict("c", "over", 99, kept=True),
        verdict("d", "under", 4, kept=True),
    ]  # fmt: skip
    cures = {"over": Cure(F("2.5")), "under": None}
    count = "2 of 4 leave iti-2000 (shown: the worst from each band)."
    cured = "a confirm_ms of at most 2.5 would keep all of them"
    assert told(monkeypatch, found, cures) == [count, f'The worst over, from "b": {cured}.']
    assert told(monkeypatch, found, cures, F("240.04"))[1] == (
        f'The worst over, from "b": {cured}; a jump from there to at most 240 V stays under it.'
    )
    assert told(monkeypatch, [], cures) == ["No sudden step leaves the curve's steady levels."]
    assert told(monkeypatch, found[2:], cures) == ["0 of 2 leave iti-2000 (shown: the worst from each band)."]
    both = told(monkeypatch, [*found[:2], verdict("d", "under", 4)], cures)
    assert [one[:15] for one in both[1:]] == ["The worst over,", "The worst under"]
    assert "no confirmation or averaging is short enough" in both[2]


# --- of a shipped design ---


@cache
def spring() -> Review:
    return review(load(ROOT / "designs" / "spring-pump.toml"))


@cache
def of_spring(key: str | None = None) -> Steps:
    return steps(spring(), key)


def test_a_curve_that_there_is_not_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(UsageError, match=r'found curve "iti-2001"; accepted: .*iti-2000.* \(.*iti-2000.*\)$'):
        steps(spring(), "iti-2001")
    with pytest.raises(UsageError, match=r'found curve "xyzzyxyzzy"; accepted: [a-z0-9, -]+$'):
        steps(spring(), "xyzzyxyzzy")


def test_against_which_curve_steps_are_held() -> None:
    assert (of_spring().curve, of_spring().stated) == ("iti-2000", False)
    other = of_spring("semi-f47")
    assert (other.curve, {one.curve for one in other.steps}, {one.side for one in other.steps}) == (
        "semi-f47", {"semi-f47"}, {"under"},
    )  # fmt: skip
    made = spring().design
    named = review(replace(made, output=replace(made.output, tolerance_curve="semi-f47")))
    assert steps(named).stated
    assert steps(named, "semi-f47").stated
    assert not steps(named, "iti-2000").stated


def test_each_step_is_told_phase_by_phase_and_at_its_worst_line() -> None:
    answer = of_spring()
    assert answer.steps
    for one in answer.steps:
        assert one.at_v == (one.line_v.high if one.side == "over" else one.line_v.low)
        assert one.phases[0].from_ms == one.course[0].from_ms == 0
        assert one.phases[-1].until_ms == one.settled_ms
        for phase in one.phases:
            assert phase.from_ms <= phase.until_ms
            assert phase.output_v.low <= phase.output_v.high
        assert one.allowed_told == ("for ever" if one.allowed_ms is None else f"{float(one.allowed_ms):.3g}")
        assert one.verdict == ("kept" if one.kept else f"{one.side} the curve")
        assert {one.start, *one.entered} <= {"boost", "straight", "all at rest"}
    assert {(one.start, one.side) for one in answer.worst} == {(one.start, one.side) for one in answer.steps}


def test_cures_are_sought_for_the_sides_that_some_step_leaves() -> None:
    answer = of_spring()
    left = {one.side for one in answer.steps if not one.kept}
    assert set(answer.cures) == {one.side for one in answer.steps}
    assert all(one is None for side, one in answer.cures.items() if side not in left)
    for one in answer.cures.values():
        assert one is None or one.told.startswith(("a confirm_ms of", "without confirmation"))


def test_the_worst_step_is_drawn_with_its_start_and_its_line() -> None:
    answer = of_spring()
    worst = max(answer.steps, key=lambda one: one.harm)
    assert answer.drawing is not None
    assert answer.drawing.told == (
        f'From "{worst.start}", the line to {float(worst.at_v):g} V at once, against iti-2000:'
    )
    assert answer.drawing.nominal_v == 230
    assert answer.drawing.curve.key == "iti-2000"
    assert answer.drawing.response.line == Span(worst.at_v, worst.at_v)
