"""Findings as they are listed: faults each by itself, many warnings or notes of one code in one line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapplan.answers.findings import (
    GATHERED_AT,
    Explained,
    Findings,
    Meaning,
    ToldFinding,
    any_fault,
    counts_told,
    explained,
    finding_rows,
    findings_of,
    folded,
    known_codes,
)
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.remedies import REMEDIES
from tapplan.checks.review import review
from tapplan.checks.rules import CODES
from tapplan.checks.witnesses.states import Undriven
from tapplan.design.file import load
from tapplan.errors import UsageError
from tests.examples import ROOT

ONE = finding_rows([Finding("idle-relay", Severity.NOTE, "relay 0", Undriven(energised=("K",)))])[0]


def rows(count: int, severity: Severity) -> list[object]:
    return [replace(ONE, severity=severity, where=f"relay {number}") for number in range(count)]


@pytest.mark.parametrize("severity", [Severity.WARNING, Severity.NOTE])
def test_many_of_one_code_are_gathered(severity: Severity) -> None:
    few, many = rows(GATHERED_AT, severity), rows(GATHERED_AT + 1, severity)
    assert [one.told for one in folded(few)] == [one.told for one in few]
    assert folded(many) == (
        ToldFinding(severity, "idle-relay", "5 times, among them at relay 0, relay 1, relay 2, relay 3"),
    )
    other = replace(ONE, code="loose-end", severity=severity)
    assert [one.code for one in folded([*many[:2], other, *many[2:]])] == ["idle-relay", "loose-end"]


def test_faults_are_never_gathered() -> None:
    assert len(folded(rows(GATHERED_AT + 3, Severity.FAULT))) == GATHERED_AT + 3
    mixed = [*rows(GATHERED_AT, Severity.NOTE), *rows(GATHERED_AT, Severity.WARNING)]
    assert len(folded(mixed)) == 2 * GATHERED_AT


def test_they_are_counted_by_severity() -> None:
    assert counts_told([]) == ""
    assert counts_told([*rows(1, Severity.FAULT), *rows(2, Severity.NOTE)]) == "1 fault, 2 notes"
    assert any_fault(rows(1, Severity.FAULT))
    assert not any_fault(rows(2, Severity.WARNING))


class Code(str):
    """A code that counts how often it is held against another."""

    compared = 0

    def __eq__(self, other: object) -> bool:
        Code.compared += 1
        return str.__eq__(self, other) is True

    __hash__ = str.__hash__


@pytest.mark.parametrize("count", [10, 100, 1000])
def test_of_a_long_list_each_finding_is_not_held_against_all_others(count: int) -> None:
    """A hundred overlapping bands give eight thousand findings; a few looks at each, whatever their number."""
    Code.compared = 0
    folded([replace(ONE, code=Code("idle-relay"), where=f"relay {number}") for number in range(count)])
    assert Code.compared <= 4 * count


def test_counts_name_the_severities_from_the_worst_and_one_of_a_kind_as_one() -> None:
    every = [*rows(1, Severity.NOTE), *rows(2, Severity.WARNING), *rows(1, Severity.FAULT)]
    assert counts_told(every) == "1 fault, 2 warnings, 1 note"
    assert counts_told(iter(every[:1])) == "1 note"
    assert ONE.told == f"relay 0: {ONE.message}"


@pytest.mark.parametrize("kind", [Findings, Explained])
def test_findings_are_wrong_where_one_is_a_fault(kind: type) -> None:
    def of(*found: object) -> Findings | Explained:
        parts = (Meaning("a", "b", "c", "d"), found) if kind is Explained else (found,)
        return kind("x", *parts)

    assert of(*rows(1, Severity.NOTE), *rows(1, Severity.FAULT)).wrong
    assert not of(*rows(2, Severity.WARNING)).wrong
    assert not of().wrong


def test_findings_are_counted_or_said_to_be_none() -> None:
    assert Findings("x", ()).told == "Nothing found."
    assert Findings("x", tuple(rows(2, Severity.FAULT))).told == "2 faults"


def test_what_a_code_means_stands_beside_where_it_is_found() -> None:
    hostel = review(load(ROOT / "designs" / "hostel-review.toml"))
    found = explained(hostel, "chatter")
    remedy = REMEDIES["chatter"]
    assert found.explained == Meaning("chatter", CODES["chatter"], remedy.why, remedy.mend)
    assert {one.code for one in found.findings} == {"chatter"}
    assert found.wrong
    both = findings_of(hostel, ["chatter", "dead-zone"])
    assert {one.code for one in both.findings} == {"chatter", "dead-zone"}
    assert found.title == both.title == hostel.design.title
    assert explained(hostel, "fuse-blind").findings == ()


def test_a_code_that_there_is_not_is_refused_and_so_is_a_text_in_place_of_a_list() -> None:
    assert known_codes(iter(["chatter", "hot"])) == ["chatter", "hot"]
    assert known_codes([]) == []
    with pytest.raises(UsageError, match=r'found code "chater"; accepted: .*\(.*chatter.*\)$'):
        known_codes(["hot", "chater"])
    with pytest.raises(UsageError, match=r'found code "xyzzy"; accepted: [a-z0-9, -]+$'):
        known_codes(["xyzzy"])
    with pytest.raises(UsageError, match="found 'chatter'; accepted: a list of codes"):
        known_codes("chatter")
