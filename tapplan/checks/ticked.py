"""What being called from tick to tick makes worse: the findings in time, judged again."""

from __future__ import annotations

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review_of
from tapplan.checks.rules import findings_in
from tapplan.control.program import Program
from tapplan.control.ticks import at_ticks

IN_TIME = ("slow-recovery", "step-through", "flight-in-reading", "inrush-retrip", "move-gap", "race-short")
_RANK = {Severity.NOTE: 0, Severity.WARNING: 1, Severity.FAULT: 2}


def worse_at_ticks(made: Program, tick_ms: int) -> tuple[Finding, ...]:
    """Findings with times at their latest, where the times stated bring none of the code, or a milder one.

    By code, for a code tells the worst case, which may be another one with other times.
    """
    before, after = _found(review_of(made.table)), _found(review_of(at_ticks(made, tick_ms)))
    return tuple(one for code, one in after.items() if code not in before or _rank(before[code]) < _rank(one))


def _found(reviewed: Review) -> dict[str, Finding]:
    """The gravest finding in time of each code."""
    found: dict[str, Finding] = {}
    for one in findings_in(reviewed, IN_TIME):
        if one.code not in found or _rank(found[one.code]) < _rank(one):
            found[one.code] = one
    return found


def _rank(finding: Finding) -> int:
    return _RANK[finding.severity]
