"""The chapters of a page, each from an answer made by hand: marks, links, folds, and what is said of nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.answers.faults import Faults, NeverSurvived
from tapplan.answers.findings import FindingRow
from tapplan.answers.verdict import AcceptedRow, PromiseRow, Verdict
from tapplan.checks.finding import Severity
from tapplan.checks.rules import CODES
from tapplan.checks.witnesses.states import RestOutput, Undriven
from tapplan.pages import chapters
from tests.answers.test_faults import cell

F = Fraction
NOWHERE = Undriven(energised=("K",))


def somewhere(volts: Any) -> Any:
    made = RestOutput.__new__(RestOutput)
    for name in RestOutput.__dataclass_fields__:
        object.__setattr__(made, name, F(1))
    object.__setattr__(made, "input_v", F(volts))
    object.__setattr__(made, "output_v", F(200))
    return made


def row(severity: Severity, witness: Any = NOWHERE, code: str = "idle-relay", where: str = "here") -> FindingRow:
    return FindingRow(severity, code, where, "so <it> is", witness)


def verdict(*found: FindingRow, promises: tuple[PromiseRow, ...] = (), accepted: Any = ()) -> Verdict:
    return Verdict(title="x", sound=True, told="", promises=promises, findings=found, traits=(), accepted=accepted)


def test_a_promise_has_its_sign_its_margin_and_its_place() -> None:
    promises = (
        PromiseRow("chatter", True, F("2.346"), "V", "a < b"),
        PromiseRow("dead-zone", False, F(-1), "V", None),
        PromiseRow("hot", True, None, None, None),
    )
    text = chapters.promises_chapter(verdict(promises=promises))
    assert re.findall(r"<li class=\"(\w+)\"><span aria-hidden=\"true\">(.)</span> <strong>(.*?)</strong> (.*?)</li>",
                      text) == [
        ("kept", "\u2713", "chatter", 'held by 2.35 V<span class="faint"> a &lt; b</span>'),
        ("broken", "\u2715", "dead-zone", "BROKEN by -1 V"),
        ("kept", "\u2713", "hot", "held"),
    ]  # fmt: skip
    for code in ("chatter", "dead-zone", "hot"):
        assert f"<li><strong>{code}</strong>: {CODES[code]}".replace("'", "&#x27;") in text.replace("'", "&#x27;")


def test_six_findings_are_told_at_once_and_all_of_them_folded() -> None:
    rows = [row(Severity.FAULT, where=f"place {number}") for number in range(8)]
    text = chapters.findings_chapter(verdict(*rows))
    at_once = re.findall(r'<li class="fault"><span aria-hidden="true">(.)</span> <strong>fault idle-relay</strong> ',
                         text)  # fmt: skip
    assert at_once == ["\u2715"] * 6
    assert "All 8 findings, with their places" in text
    assert "place 5: so &lt;it&gt; is</li>" in text
    assert "place 6: so" not in text
    signs = chapters.findings_chapter(verdict(row(Severity.WARNING), row(Severity.NOTE)))
    assert '<li class="warning"><span aria-hidden="true">!</span>' in signs
    assert '<li class="note"><span aria-hidden="true">i</span>' in signs


def test_without_findings_that_is_said_and_what_the_file_accepts_stands_by_itself() -> None:
    assert chapters.findings_chapter(verdict()).endswith("<p>None.</p></section>")
    accepted = (AcceptedRow(Severity.NOTE, "idle-relay", "here", "so", NOWHERE, "a spare"),)
    text = chapters.findings_chapter(verdict(accepted=accepted))
    assert "<p>None.</p>" in text
    assert "<caption>Accepted in the file, with reasons</caption>" in text
    assert "findings, with their places" not in text
    assert "Accepted in the file" not in chapters.findings_chapter(verdict(row(Severity.NOTE)))


def test_a_finding_leads_to_its_place_on_the_curve_and_a_fault_to_its_mark_too() -> None:
    """Marks are counted over the faults that have a place; a warning has a place and no mark."""
    rows = (
        row(Severity.WARNING, somewhere("181.26")),
        row(Severity.FAULT, somewhere(200)),
        row(Severity.FAULT),
        row(Severity.NOTE),
        row(Severity.FAULT, somewhere(230)),
    )
    assert chapters._places(rows) == [
        '<a href="#live" data-at="181.3">show</a>',
        '<a href="#live" data-at="200.0" data-mark="mark-0">show</a>',
        "",
        "",
        '<a href="#live" data-at="230.0" data-mark="mark-1">show</a>',
    ]


@pytest.mark.parametrize("never", [(), (NeverSurvived("K", "a<b"), NeverSurvived("L", "open"))])
def test_faults_are_counted_and_those_that_no_band_survives_named(never: Any) -> None:
    rows = (cell(band="a"), cell(band="a", place=1, harmless=True), cell(band="a", place=2, harmless=True))
    text = chapters.faults_chapter(Faults(title="x", faults=rows, never_survived=never, bands=("a",)))
    assert "In 2 of 3 cases, each a fault in a band, the load stays in the window or goes to the backup." in text
    wanted = "In every band the output leaves the window with: K a&lt;b, L open."
    assert (wanted in text) is bool(never)
    assert '<div id="faults-table">' in text
    empty = chapters.faults_chapter(Faults(title="x", faults=(), never_survived=(), bands=()))
    assert '<div id="faults-table">' not in empty


class Answer:
    """What of an answer a chapter reads."""

    def __init__(self, **parts: Any) -> None:
        self.__dict__.update(parts)


def test_steps_are_played_by_their_number() -> None:
    from tests.answers.test_steps import row as step

    found: Any = Answer(told=("a < b",), steps=(step(), step()), curve="iti-2000")
    text = chapters.steps_chapter(found, "<svg>")
    assert re.findall(r'<a href="#live" data-step="(\d)">play (\d)</a>', text) == [("0", "1"), ("1", "2")]
    assert "Sudden steps against iti-2000" in text
    assert "<p>a &lt; b</p><svg>" in text
    assert "All 2 steps" in text


def test_ratings_say_what_the_file_would_have_to_state() -> None:
    parts = {"core": Answer(told="Core & co."), "build": None, "sections": (), "contacts": (), "layers": ()}
    bare: Any = Answer(**parts, needs=())
    text = chapters.ratings_chapter(bare)
    assert "<p>Core &amp; co.</p>" in text
    assert "would have to state" not in text
    full: Any = Answer(**{**parts, "core": None, "build": Answer(told="7 layers")}, needs=("a", "b"))
    text = chapters.ratings_chapter(full)
    assert '<p class="faint">For more the file would have to state: a; b.</p>' in text
    assert "<p>7 layers</p>" in text
    nothing: Any = Answer(**{**parts, "core": None}, needs=())
    assert chapters.ratings_chapter(nothing) == ""


@pytest.mark.parametrize(("budget", "counts"), [(True, True), (True, False), (False, True), (False, False)])
def test_the_error_budget_stands_with_the_thresholds_in_counts_where_there_are_both(
    budget: bool, counts: bool
) -> None:
    from tapplan.answers.margins import CountedRow, Counts, ErrorBudget

    found: Any = Answer(
        margins=(), handovers=(),
        budget=ErrorBudget(lines=(), worst_pct=1.0, sum_pct=1.0, likely_pct=1.0) if budget else None,
        counts=Counts(step_v=F(1), highest_v=F(9), return_counts=None,
                      bands=(CountedRow(name="a", hold_counts=(1, 2), left_above=None),)) if counts else None,
    )  # fmt: skip
    text = chapters.margins_chapter(found)
    assert ("Error budget of the reading" in text) is (budget and counts)
    assert ("Thresholds in counts" in text) is (budget and counts)


def test_moves_are_folded_under_their_number() -> None:
    from tapplan.answers.moves import _row
    from tests.answers.test_moves import flight

    found: Any = Answer(moves=(_row(flight()), _row(flight())))
    text = chapters.moves_chapter(found, "<svg>")
    assert "<svg><details><summary>All 2 moves</summary>" in text
    assert '<div id="moves-table">' in text
    none: Any = Answer(moves=())
    assert '<div id="moves-table">' not in chapters.moves_chapter(none, "<svg>")


def test_traits_stand_in_a_chapter_of_their_own_only_where_there_are_some() -> None:
    assert chapters.traits_chapter(replace(verdict(), traits=())) == ""
