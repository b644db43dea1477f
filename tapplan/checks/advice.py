"""Advice in numbers: what would mend a finding, put into the design and proven before anybody reads it.

A proposal that does not take its finding away, or that brings a fault that was not there, is not given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.checks import aftermath, counted, coverage, held, hunting, overlaps, recovery
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.mends import Blanking, Cure, HoldEnd, HoldOn, Mend, Overlapping, ReturnInside
from tapplan.checks.review import Review, review_of
from tapplan.checks.witnesses.coverage import DeadZone, NoReturn
from tapplan.checks.witnesses.moving import BackupRound, EndlessRound, FlightRead, SuddenStep
from tapplan.checks.witnesses.table import HeldOutside, Overlap
from tapplan.control.response import Side
from tapplan.control.serving import served
from tapplan.control.thresholds import least_read, steps_for
from tapplan.design.model import Backup, Design
from tapplan.design.standards import Curve
from tapplan.exact import Span, rounded_down, rounded_up

FINE = Fraction(1, 100)  # volts: returns are advised in steps of this

# What is run again on the changed design: all that a threshold, a return or a time can break.
# Whether the window is left is asked as well, by the place alone.
PROVEN: tuple[Callable[[Review], Iterator[Finding]], ...] = (
    coverage.dead_zone,
    coverage.stranded,
    overlaps.chatter,
    held.wrong_way,
    hunting.own_action,
    counted.counts,
)


@dataclass(frozen=True, slots=True)
class Proposal:
    """A change that may mend a finding, and the design with it."""

    mend: Mend
    changed: Review


Gone = Callable[[Review], bool]  # whether what is to be mended is gone from a changed design


def advised(review: Review, finding: Finding) -> Finding:
    """The finding with the first mend that holds; as it is where none does, or where none is known."""
    mend = _mend_of(review, finding)
    return finding if mend is None else replace(finding, mend=mend)


def _mend_of(review: Review, finding: Finding) -> Mend | None:
    def gone(changed: Review) -> bool:
        return all((one.code, one.where) != (finding.code, finding.where) for one in _marked(changed))

    match finding.witness:
        case SuddenStep(side=side):
            return tried_cure(review, recovery.curve_of(review), side)
        case HeldOutside() as shown:
            return first_proven(review, _into_the_window(review, shown), gone)
        case DeadZone(bands=(below, above)) | Overlap(bands=(below, above)):
            return first_proven(review, _overlapping(review, below, above), _parted_no_more(finding.where))
        case EndlessRound() as shown:
            return first_proven(review, _hold_on(review, shown), gone)
        case BackupRound() | NoReturn() as shown:
            return first_proven(review, _return_inside(review, shown), gone)
        case FlightRead() as shown:
            return first_proven(review, _blanked(review, shown), gone)
    return None


def first_proven(review: Review, proposals: Iterable[Proposal], gone: Gone) -> Mend | None:
    """The first proposal that takes away what is to be mended and brings no fault that was not there; None: none."""
    before: frozenset[Marked] | None = None
    for proposal in proposals:
        before = _faults_of(_marked(review)) if before is None else before
        if gone(proposal.changed) and _faults_of(_marked(proposal.changed)) <= before:
            return proposal.mend
    return None


@dataclass(frozen=True, slots=True)
class Marked:
    """A finding by what it is and where, without what shows it."""

    code: str
    severity: Severity
    where: str


def _marked(review: Review) -> list[Marked]:
    """What threshold, return and times can break; sudden steps only where a curve is promised, for they take long."""
    return review.once(_marked, lambda: list(_run(review)))


def _run(review: Review) -> Iterator[Marked]:
    for place in held.places_outside(review):
        yield Marked("out-of-window", Severity.FAULT, place)
    for rule in PROVEN:
        yield from map(_mark, rule(review))
    if review.design.output.tolerance_curve is not None:
        yield from map(_mark, recovery.slow_recovery(review))


def _mark(finding: Finding) -> Marked:
    return Marked(finding.code, finding.severity, finding.where)


def _faults_of(found: Iterable[Marked]) -> frozenset[Marked]:
    return frozenset(one for one in found if one.severity is Severity.FAULT)


def _with_design(review: Review, design: Design) -> Review:
    """The same stage with another sensing or backup, its rows as they are."""
    return review_of(replace(review.table, design=design, serving=review.serving))


def _with_end(review: Review, number: int, kept: Span) -> Review:
    """The same with one row held between other ends."""
    rows = list(review.table.rows)
    rows[number] = replace(rows[number], hold=kept, kept=kept)
    return review_of(replace(review.table, rows=tuple(rows), serving=review.serving))


def _row_named(review: Review, name: str) -> int:
    return next(number for number, row in enumerate(review.table.rows) if row.name == name)


def _into_the_window(review: Review, shown: HeldOutside) -> Iterator[Proposal]:
    """The end of the hold that keeps the real hold inside the window, in round numbers, coarsest first."""
    number = _row_named(review, shown.bands[0])
    row = review.table.rows[number]
    serves = served(review.design, review.circuit, row.state)
    if serves is None:
        return
    low, high = row.kept.low, row.kept.high
    for step in steps_for(least_read(serves)):
        if shown.side == "below":
            low = rounded_up(serves.lowest_keep, step)
            mend = HoldEnd(row.name, "low", low)
        else:
            high = rounded_down(serves.highest_keep, step)
            mend = HoldEnd(row.name, "high", high)
        if low <= high:
            yield Proposal(mend, _with_end(review, number, Span(low, high)))


def _parted_no_more(place: str) -> Gone:
    """Whether two neighbours hand over with all the overlap that is wanted."""

    def gone(changed: Review) -> bool:
        found = [*coverage.dead_zone(changed), *overlaps.chatter(changed), *overlaps.thin_hysteresis(changed)]
        return all(one.where != place for one in found)

    return gone


def _overlapping(review: Review, below: str, above: str) -> Iterator[Proposal]:
    """The lower band held farther up, or the upper one farther down, until they overlap as far as is wanted.

    No farther than keeps the output of that band inside the window.
    """
    rows, sensing = review.table.rows, review.design.sensing
    low, high = _row_named(review, below), _row_named(review, above)
    under, over = rows[low], rows[high]
    lower, upper = (served(review.design, review.circuit, row.state) for row in (under, over))
    if under.read is None or over.read is None or lower is None or upper is None:
        return
    noise = review.table.blur.half_noise * (1 / under.read.high + 1 / over.read.low)
    for step in steps_for(min(under.read.low, over.read.low)):
        wanted = max(sensing.hysteresis_v, 2 * noise, step)
        end = rounded_up((over.kept.low / over.read.low + wanted) * under.read.high, step)
        if end <= lower.highest_keep:
            yield Proposal(Overlapping(below, "high", end), _with_end(review, low, Span(under.kept.low, end)))
        end = rounded_down((under.kept.high / under.read.high - wanted) * over.read.low, step)
        if upper.lowest_keep <= end:
            yield Proposal(Overlapping(above, "low", end), _with_end(review, high, Span(end, over.kept.high)))


def _hold_on(review: Review, shown: EndlessRound) -> Iterator[Proposal]:
    """The lower band of a hunting pair held up to where the upper one no longer sends back."""
    if shown.least_v is None:
        return
    number = _row_named(review, shown.bands[0])
    row = review.table.rows[number]
    sensing, sensed = review.design.sensing, row.sensed or Fraction(1)
    for beyond in (max(sensing.hysteresis_v, 2 * sensing.noise_v), Fraction(1), Fraction(3)):
        end = rounded_up(shown.least_v + beyond * sensed, FINE)
        if beyond and end >= row.kept.low:
            yield Proposal(HoldOn(row.name, end), _with_end(review, number, Span(row.kept.low, end)))


def _return_inside(review: Review, shown: BackupRound | NoReturn) -> Iterator[Proposal]:
    """A return from the backup at the bound that the finding names, rounded to the side that mends it."""
    backup = review.design.backup
    if backup is None:
        return
    low, high = backup.return_v
    if shown.side == "low":
        low = _beyond_bound(shown, rounded_down(shown.least_v, FINE), FINE)
    else:
        high = _beyond_bound(shown, rounded_up(shown.least_v, FINE), -FINE)
    leave = backup.leave_v
    if low < high and (review.design.sensing.at != "input" or (leave[0] <= low and high <= leave[1])):
        moved: Backup = replace(backup, return_v=(low, high))
        yield Proposal(ReturnInside(low, high), _with_design(review, replace(review.design, backup=moved)))


def _beyond_bound(shown: BackupRound | NoReturn, end: Fraction, step: Fraction) -> Fraction:
    """A return must begin beyond the bound of a cycle, and no farther in than the bound of being stranded."""
    return end + step if isinstance(shown, BackupRound) else end


def tried_cure(review: Review, curve: Curve, side: Side) -> Cure | None:
    """The first confirmation or window with which every sudden step on one side really keeps to a curve.

    None where none does, or where it would break a promise.
    """

    def gone(changed: Review) -> bool:
        return all(one.side != side for one in recovery.left_by(changed, curve))

    sensing = review.design.sensing
    proposals = (
        Proposal(cure, _with_design(review, replace(review.design, sensing=cure.applied(sensing))))
        for cure in recovery.cures(review, curve, side)
    )
    found = first_proven(review, proposals, gone)
    return found if isinstance(found, Cure) else None


def _blanked(review: Review, shown: FlightRead) -> Iterator[Proposal]:
    """Blanking in whole ms so long that no reading holds a flight; the move read worst may not need the most."""
    sequence, needed = review.design.sequence, [shown.limit_ms]
    while needed:
        blank = rounded_up(needed[0], Fraction(1))
        changed = _with_design(review, replace(review.design, sequence=replace(sequence, blank_ms=blank)))
        left = [one.witness.limit_ms for one in aftermath.after_moves(changed) if isinstance(one.witness, FlightRead)]
        if not left:
            yield Proposal(Blanking(blank), changed)
        needed = [one for one in left if one > blank]
