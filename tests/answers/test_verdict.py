"""The verdict: where promises have a place, and its colour."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rich.text import Text

from tapplan.answers.findings import FindingRow, finding_rows
from tapplan.answers.verdict import verdict
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import review
from tapplan.checks.witnesses.states import Undriven
from tapplan.design.file import load
from tapplan.pages.screens import verdict as verdict_screen
from tests.examples import ROOT

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
