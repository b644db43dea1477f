"""Whether bands hand over without moving relays to and fro: neighbours, and bands that are none."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from tapplan.checks import where
from tapplan.checks.coverage import surely_kept
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.table import NoisyRound, Overlap
from tapplan.control.automaton import Cycle, automaton, rests
from tapplan.control.source import Source, source_of
from tapplan.control.table import Meeting


def chatter(review: Review) -> Iterator[Finding]:
    """Neighbours that touch, or overlap by no more than the noise of the reading; then others it moves."""
    for meeting in review.table.meetings():
        if meeting.overlap >= 0 >= meeting.margin:
            yield Finding("chatter", Severity.FAULT, _both(meeting), _overlap(review, meeting))
    yield from _chatter_apart(review)


def thin_hysteresis(review: Review) -> Iterator[Finding]:
    """Neighbours that overlap by more than the noise but less than the hysteresis wanted."""
    for meeting in review.table.meetings():
        if meeting.margin > 0 and meeting.overlap < review.design.sensing.hysteresis_v:
            yield Finding("thin-hysteresis", Severity.WARNING, _both(meeting), _overlap(review, meeting))


def _both(meeting: Meeting) -> str:
    return where.in_bands(meeting.below.name, meeting.above.name)


def _overlap(review: Review, meeting: Meeting) -> Overlap:
    sensing, (_, high), (low, _) = review.design.sensing, surely_kept(meeting.below), surely_kept(meeting.above)
    return Overlap(
        bands=(meeting.below.name, meeting.above.name),
        input_v=high,
        from_v=low,
        to_v=high,
        overlap_v=meeting.overlap,
        noise_v=sensing.noise_v,
        noise_input_v=meeting.noise,
        wanted_v=sensing.hysteresis_v,
    )


def _chatter_apart(review: Review) -> Iterator[Finding]:
    """Rows that are no neighbours, and yet follow one another under the noise at one steady input."""
    noise_v = review.design.sensing.noise_v
    for cycle in _noisy_rounds(review):
        names = tuple(review.table.rows[number].name for number in cycle.rows)
        shown = NoisyRound(bands=names, from_v=cycle.emf.low, to_v=cycle.emf.high, noise_v=noise_v)
        yield Finding("chatter", Severity.FAULT, where.in_bands(*names), shown)


def _noisy_rounds(review: Review) -> Iterator[Cycle]:
    """The rounds of the noise behind a stiff source, less those of neighbours told already, or without noise."""
    rows = review.table.rows
    close = {
        (meeting.below, meeting.above)
        for meeting in review.table.meetings()
        if meeting.overlap < 0 or meeting.margin <= 0
    }
    stiff = Source(Fraction(0), Fraction(0), review.design.output.nominal_v, "impedance")
    if source_of(review.design).stiff:
        quiet, noisy = review.quiet_cycles, review.noisy_cycles
    elif rests(review.table, stiff, noisy=True):
        return
    else:
        quiet = automaton(review.decisions, noisy=False, source=stiff).cycles()
        noisy = automaton(review.decisions, noisy=True, source=stiff).cycles()
    steady = {cycle.standings for cycle in quiet}
    for cycle in noisy:
        told = any((rows[low], rows[high]) in close for low, high in pairwise(cycle.rows))
        if not (cycle.away or cycle.standings in steady or told):
            yield cycle
