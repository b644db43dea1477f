"""Findings as they are listed: faults each by itself, many warnings or notes of one code in one line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapplan.answers.findings import GATHERED_AT, ToldFinding, any_fault, counts_told, finding_rows, folded
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.witnesses.states import Undriven

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
