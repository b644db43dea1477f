"""Advice in numbers: what would mend a finding, put into the design and proven before anybody reads it.

A proposal that does not take its finding away, or that brings a fault that was not there, is not given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.checks import aftermath, counted, coverage, hunting, recovery
from tapplan.checks.finding import Finding, Severity, volts
from tapplan.checks.review import Review, review_of
from tapplan.control.response import Side
from tapplan.control.serving import served
from tapplan.control.thresholds import least_read, steps_for
from tapplan.design.model import Backup, Design
from tapplan.design.standards import Curve
from tapplan.exact import Span, rounded_down, rounded_up

FINE = Fraction(1, 100)  # volts: returns are advised in steps of this

# What is run again on the changed design: all that a threshold, a return or a time can break.
PROVEN: tuple[Callable[[Review], Iterator[Finding]], ...] = (
    coverage.dead_zone,
    coverage.out_of_window,
    coverage.stranded,
    coverage.chatter,
    coverage.wrong_way,
    hunting.own_action,
    counted.counts,
)


@dataclass(frozen=True, slots=True)
class Proposal:
    """A change that may mend a finding, in words, and the design with it."""

    told: str
    changed: Review


Adviser = Callable[[Review, Finding], Iterator[Proposal]]


def advised(review: Review, finding: Finding) -> Finding:
    """The finding with the first proposal that holds, put in words; as it is where none does."""
    adviser = ADVISERS.get(finding.code)
    if adviser is None:
        return finding
    before: frozenset[tuple[str, str]] | None = None
    for proposal in adviser(review, finding):
        before = _faults_of(_found(review)) if before is None else before
        after = list(_found(proposal.changed))
        left = any((one.code, one.where) == (finding.code, finding.where) for one in after)
        if not left and _faults_of(after) <= before:
            return replace(finding, advice=proposal.told)
    return finding


def _side(finding: Finding) -> Side:
    return "over" if (finding.witness.factor or 0) > 1 else "under"


def _found(review: Review) -> Iterator[Finding]:
    """What threshold, return and times can break; sudden steps only where a curve is promised, for they take long."""
    for rule in PROVEN:
        yield from rule(review)
    if review.design.output.tolerance_curve is not None:
        yield from recovery.slow_recovery(review)


def _faults_of(found: Iterable[Finding]) -> frozenset[tuple[str, str]]:
    return frozenset((one.code, one.where) for one in found if one.severity is Severity.FAULT)


def _with_design(review: Review, design: Design) -> Review:
    """The same stage with another sensing or backup, its rows as they are."""
    return review_of(replace(review.table, design=design, serving=review.serving))


def _with_end(review: Review, number: int, kept: Span) -> Review:
    """The same with one row held between other ends."""
    rows = list(review.table.rows)
    rows[number] = replace(rows[number], hold=kept, kept=kept)
    return review_of(replace(review.table, rows=tuple(rows), serving=review.serving))


def _into_the_window(review: Review, finding: Finding) -> Iterator[Proposal]:
    """The end of the hold that keeps the real hold inside the window, in round numbers, coarsest first."""
    name = (finding.witness.bands or ("",))[0]
    number = next(n for n, row in enumerate(review.table.rows) if row.name == name)
    row = review.table.rows[number]
    serves = served(review.design, review.circuit, row.state)
    output, limit = finding.witness.output_v, finding.witness.limit_v
    if serves is None or output is None or limit is None:
        return
    for step in steps_for(least_read(serves)):
        if output < limit:
            end = rounded_up(serves.lowest_keep, step)
            told, kept = f"hold_v from {volts(end)} on mends it", (end, row.kept.high)
        else:
            end = rounded_down(serves.highest_keep, step)
            told, kept = f"hold_v up to {volts(end)} mends it", (row.kept.low, end)
        if kept[0] <= kept[1]:
            yield Proposal(told, _with_end(review, number, Span(*kept)))


def _hold_on(review: Review, finding: Finding) -> Iterator[Proposal]:
    """The lower band of a hunting pair held up to where the upper one no longer sends back."""
    least, names = finding.witness.least_v, finding.witness.bands
    if least is None or names is None:
        return
    number = next(n for n, row in enumerate(review.table.rows) if row.name == names[0])
    row = review.table.rows[number]
    sensing, sensed = review.design.sensing, row.sensed or Fraction(1)
    for beyond in (max(sensing.hysteresis_v, 2 * sensing.noise_v), Fraction(1), Fraction(3)):
        end = rounded_up(least + beyond * sensed, FINE)
        if beyond and end >= row.kept.low:
            told = f'hold "{row.name}" up to {volts(end)} to stop it'
            yield Proposal(told, _with_end(review, number, Span(row.kept.low, end)))


def _return_within(review: Review, finding: Finding) -> Iterator[Proposal]:
    """A return from the backup at the bound that the finding names, rounded to the side that mends it."""
    backup, bound = review.design.backup, finding.witness.least_v
    if backup is None or bound is None:
        return
    low, high = backup.return_v
    cycling, low_side = finding.code == "backup-cycling", finding.witness.limit_v == low
    if cycling:
        end = rounded_down(bound, FINE) + FINE if low_side else rounded_up(bound, FINE) - FINE
    else:
        end = rounded_down(bound, FINE) if low_side else rounded_up(bound, FINE)
    low, high = (end, high) if low_side else (low, end)
    leave = backup.leave_v
    if low < high and (review.design.sensing.at != "input" or (leave[0] <= low and high <= leave[1])):
        moved: Backup = replace(backup, return_v=(low, high))
        told = f"return_v = [{float(low):g}, {float(high):g}] mends it"
        yield Proposal(told, _with_design(review, replace(review.design, backup=moved)))


def tried_cure(review: Review, curve: Curve, side: Side) -> recovery.Cure | None:
    """The first confirmation or window with which every sudden step on one side really keeps to a curve.

    None where none does, or where it would break a promise.
    """
    before: frozenset[tuple[str, str]] | None = None
    for cure in recovery.cures(review, curve, side):
        changed = _with_design(review, replace(review.design, sensing=cure.applied(review.design.sensing)))
        before = _faults_of(_found(review)) if before is None else before
        left = [one for one in recovery.verdicts(changed, curve) if one.side == side and not one.kept]
        if not left and _faults_of(_found(changed)) <= before:
            return cure
    return None


def _quicker(review: Review, finding: Finding) -> Iterator[Proposal]:
    """The confirmation, or the window of whole half cycles, with which every sudden step keeps to the curve."""
    cure = tried_cure(review, recovery.curve_of(review), _side(finding))
    if cure is not None:
        changed = _with_design(review, replace(review.design, sensing=cure.applied(review.design.sensing)))
        yield Proposal(f"{cure.told} would keep all of them", changed)


def _blanked(review: Review, finding: Finding) -> Iterator[Proposal]:
    """Blanking in whole ms so long that no reading holds a flight; the move read worst may not need the most."""
    sequence, needed = review.design.sequence, finding.witness.limit_ms
    while needed is not None:
        blank = rounded_up(needed, Fraction(1))
        changed = _with_design(review, replace(review.design, sequence=replace(sequence, blank_ms=blank)))
        left = [one.witness.limit_ms for one in aftermath.after_moves(changed) if one.code == finding.code]
        if not left:
            yield Proposal(f"a blank_ms of {float(blank):g} stops it, after every move", changed)
        needed = next((one for one in left if one is not None and one > blank), None)


ADVISERS: dict[str, Adviser] = {
    "flight-in-reading": _blanked,
    "out-of-window": _into_the_window,
    "hunting": _hold_on,
    "backup-cycling": _return_within,
    "stranded": _return_within,
    "slow-recovery": _quicker,
}
