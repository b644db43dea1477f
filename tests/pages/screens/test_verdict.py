"""The verdict on a screen, from one made by hand: what is told, folded, only named, and in which colour."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from rich.console import Console, Group
from rich.text import Text

from tapplan.answers.findings import FindingRow, Findings
from tapplan.answers.verdict import AcceptedRow, PromiseRow, Verdict
from tapplan.checks.finding import Severity
from tapplan.checks.witnesses.states import Undriven
from tapplan.pages.screens import findings, verdict

F = Fraction
NOWHERE = Undriven(energised=("K",))


def lines(*parts: Any) -> list[str]:
    console = Console(width=200, no_color=True)
    with console.capture() as captured:
        console.print(Group(*parts))
    return [line.rstrip() for line in captured.get().splitlines()]


def row(severity: Severity, code: str = "idle-relay", where: str = "here") -> FindingRow:
    return FindingRow(severity, code, where, "so it is", NOWHERE)


PLAIN = Verdict(
    title="x", sound=True, told="Sound.", findings=(), traits=(), accepted=(),
    promises=(PromiseRow("chatter", True, F(3), "V", "a"), PromiseRow("hot", True, None, None, None),
              PromiseRow("over-flux", True, None, None, None)),
)  # fmt: skip


def test_promises_without_a_margin_are_counted_or_named() -> None:
    assert "and 2 that have no margin, held" in lines(verdict.screen(PLAIN, 0))
    assert "also held: hot, over-flux" in lines(verdict.everything(PLAIN, 0))
    bare = replace(PLAIN, promises=PLAIN.promises[:1])
    for one in (verdict.screen, verdict.everything):
        text = lines(one(bare, 0))
        assert text[:2] == ["Check: x", "Sound."]
        assert not [line for line in text if "held:" in line or "no margin" in line]
        assert not [line for line in text if "BROKEN" in line]


def test_a_broken_promise_without_a_margin_is_named_in_red() -> None:
    broken = replace(PLAIN, sound=False, promises=(PromiseRow("hot", False, None, None, None),))
    parts = verdict._head(broken)
    assert isinstance(parts[1], Text)
    assert isinstance(parts[-1], Text)
    assert (str(parts[1].style), parts[-1].plain, str(parts[-1].style)) == ("bold red", "BROKEN: hot", "bold red")
    sound = verdict._head(PLAIN)[1]
    assert isinstance(sound, Text)
    assert str(sound.style) == "bold green"


def test_notes_are_named_once_and_shown_only_with_all() -> None:
    made = replace(PLAIN, findings=(row(Severity.WARNING, "hot"), row(Severity.NOTE), row(Severity.NOTE)))
    text = lines(verdict.screen(made, 0))
    assert "notes (--all shows them): idle-relay" in text
    assert [line for line in text if line.startswith(("warning", "note "))] == ["warning  hot"]
    everything = lines(verdict.everything(made, 0))
    assert sum(line == "note  idle-relay" for line in everything) == 2
    assert not any("--all" in line for line in everything)
    assert not any("--all" in line for line in lines(verdict.screen(PLAIN, 0)))


def test_what_is_assumed_and_accepted_is_told_last() -> None:
    accepted = AcceptedRow(Severity.NOTE, "idle-relay", "here", "so", NOWHERE, "a spare")
    made = replace(PLAIN, assumed="No drop is counted.", accepted=(accepted,))
    for one in (verdict.screen, verdict.everything):
        text = lines(one(made, 0))
        assert "No drop is counted." in text
        assert text[-1] == "accepted  idle-relay (here): a spare"
        assert "What every such stage has" not in text
        assert not any(line.startswith(("accepted", "No drop")) for line in lines(one(PLAIN, 0)))


# --- findings ---


@pytest.mark.parametrize(
    ("severity", "style"), [(Severity.FAULT, "bold red"), (Severity.WARNING, "yellow"), (Severity.NOTE, "dim")]
)
def test_a_finding_has_a_heading_in_the_colour_of_its_severity_and_its_sentence_under_it(
    severity: Severity, style: str
) -> None:
    (one,) = findings.each([row(severity)])
    assert isinstance(one, Group)
    head = one.renderables[0]
    assert isinstance(head, Text)
    assert str(head.style) == style
    assert lines(one) == [f"{severity.value}  idle-relay", "    here: so it is"]


def test_a_section_counts_what_it_lists() -> None:
    many = [row(Severity.NOTE, where=f"place {number}") for number in range(5)]
    assert lines(findings.section(many, "Lost")) == [
        "Lost", "note  idle-relay", "    5 times, among them at place 0, place 1, place 2, place 3", "5 notes",
    ]  # fmt: skip
    assert len(findings.each(many)) == 5
    assert lines(findings.screen(Findings("x", tuple(many)), 0))[-1] == "5 notes"
