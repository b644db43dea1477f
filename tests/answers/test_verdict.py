"""The verdict: where promises have a place, and its colour."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from rich.text import Text

from tapplan.answers.findings import FindingRow, finding_rows
from tapplan.answers.verdict import PromiseRow, promise_rows, trait_name, trait_told, verdict, verdict_of
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.judgement import Accepted, Judgement
from tapplan.checks.promises import Promise
from tapplan.checks.review import review
from tapplan.checks.traits import Trait
from tapplan.checks.witnesses.states import Undriven
from tapplan.design.file import load
from tapplan.pages.screens import verdict as verdict_screen
from tests.examples import PAIR, ROOT, TAPPED, design

DESIGNS = ROOT / "designs"


def test_a_promise_has_a_place_only_where_one_is_named() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        for row in verdict(review(load(path))).promises:
            assert row.where is None or row.where
            assert (row.where is not None) or row.margin is None


def test_the_verdict_is_green_only_where_it_is_sound() -> None:
    for name in ("ridge-dispensary", "hostel-review"):
        answer = verdict(review(load(DESIGNS / f"{name}.toml")))
        line = verdict_screen._head(answer)[1]
        assert isinstance(line, Text)
        assert line.plain == answer.told
        assert ("green" in str(line.style)) is answer.sound


def test_notes_are_told_apart_by_what_they_are_and_not_by_going_through_all_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The codes of notes, each once, but of an acceptance that meets nothing, on which somebody counts."""
    one = finding_rows([Finding("idle-relay", Severity.NOTE, "relay 0", Undriven(energised=("K",)))])[0]
    rows = tuple(
        replace(one, code=code, severity=severity)
        for code, severity in (
            ("idle-relay", Severity.NOTE),
            ("loose-end", Severity.WARNING),
            ("stale-accept", Severity.NOTE),
            ("duplicate-state", Severity.NOTE),
            ("idle-relay", Severity.NOTE),
        )
    )
    answer = replace(verdict(review(load(DESIGNS / "ridge-dispensary.toml"))), findings=rows)

    def compared(*_: object) -> bool:
        raise AssertionError("a finding was held against another")

    monkeypatch.setattr(FindingRow, "__eq__", compared)
    assert answer.notes == ("idle-relay", "duplicate-state")
    assert [found.code for found in answer.urgent] == ["loose-end", "stale-accept"]


F = Fraction
SURGE = Trait("slow-recovery", F("350.04"), "V", 'from "a", over the curve', "steps", 3, F("30.04"), side="over")


@pytest.mark.parametrize(
    ("trait", "name", "told"),
    [
        (SURGE, "slow-recovery, over", "350 V for 30 ms"),
        (replace(SURGE, side="", lasts_ms=None), "slow-recovery", "350 V"),
        (replace(SURGE, side="", lasts_ms=F("12.34")), "slow-recovery", "350 V for 12.3 ms"),
        (Trait("move-gap", F("15.0004"), "ms", "x", "moves", 1, F(15)), "move-gap", "15 ms"),
    ],
)
def test_a_trait_in_words(trait: Trait, name: str, told: str) -> None:
    """To four figures, and how long it lasts to three; of a time that would be said twice."""
    assert (trait_name(trait), trait_told(trait)) == (name, told)


def judgement(*traits: Trait, promises: tuple[Promise, ...] = ()) -> Judgement:
    idle = Finding("idle-relay", Severity.NOTE, "relay K", Undriven(energised=("K",)))
    return Judgement(promises, (idle,), traits, (Accepted(idle, "a spare"),))


def test_the_place_of_a_trait_is_that_of_its_step_without_the_side_and_nothing_where_it_is_counted() -> None:
    gap = Trait("move-gap", F(15), "ms", "from here, over the curve", "moves", 1)
    counted = Trait("stuck-short", F(2), "faults", "x", "faults", 2)
    step, move, count = verdict_of("x", judgement(SURGE, gap, counted)).traits
    assert (step.place, step.where) == ('"a"', 'from "a", over the curve')
    assert move.place == move.where == "from here, over the curve"
    assert (count.place, count.where, count.unit) == ("", "x", "faults")
    assert (step.code, step.value, step.rows, step.verb) == ("slow-recovery", F("350.04"), 3, "steps")
    assert (step.name, step.worst) == ("slow-recovery, over", "350 V for 30 ms")
    assert (step.lasts_ms, move.lasts_ms) == (F("30.04"), None)


def test_a_limit_has_a_column_where_one_trait_has_one() -> None:
    limited = replace(SURGE, limit=F("260.04"))
    rows = verdict_of("x", judgement(SURGE, limited)).traits
    assert [(one.limit, one.limit_told) for one in rows] == [(None, "-"), (F("260.04"), "260")]
    (bare,) = verdict_of("x", judgement(SURGE)).traits
    assert (bare.limit, bare.limit_told) == (None, None)


def test_promises_are_measured_held_or_broken() -> None:
    """One held with a margin, one broken with one, one held and two broken without."""
    promises = (
        Promise("a", held=True, margin=F(3), where="here"),
        Promise("b", held=False, margin=F(0)),
        Promise("c", held=True),
        Promise("d", held=False),
        Promise("e", held=False),
    )
    rows = promise_rows(promises)
    assert rows[:3] == (
        PromiseRow("a", True, 3, "V", "here"),
        PromiseRow("b", False, 0, "V", None),
        PromiseRow("c", True, None, None, None),
    )
    answer = verdict_of("x", judgement(promises=promises))
    assert answer.promises == rows
    assert answer.measured == rows[:2]
    assert answer.also_held == ("c",)
    assert answer.broken_told == "d, e"
    assert (answer.sound, answer.wrong) == (False, True)
    sound = verdict_of("x", judgement(promises=promises[:1]))
    assert (sound.sound, sound.wrong, sound.assumed) == (True, False, None)


def test_what_the_file_accepts_is_told_as_the_finding_and_with_its_reason() -> None:
    answer = verdict_of("x", judgement())
    (found,), (one,) = answer.findings, answer.accepted
    assert (one.severity, one.code, one.where, one.message, one.witness, one.reason) == (
        found.severity, found.code, found.where, found.message, found.witness, "a spare",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("load_va", "ohm", "left_out"), [(500, None, True), (500, 1, False), (None, None, False), (None, 1, False)]
)
def test_the_drop_is_said_to_be_left_out_where_there_is_a_load_and_nothing_that_drops(
    load_va: int | None, ohm: int | None, left_out: bool
) -> None:
    made = design(TAPPED, PAIR, load_va=load_va, bands=[("direct", ["KL", "KO"], 180, 270)])
    first = replace(made.windings[0], resistance_ohm=None if ohm is None else Fraction(ohm))
    told = verdict(review(replace(made, windings=(first, *made.windings[1:])))).assumed
    assert (told is not None) is left_out
    assert told is None or "no drop under load is counted" in told
