"""What a band really holds, error, noise and load included, against the window; and whether ratios fall."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.table import HeldBeyond, HeldOutside, Rising
from tapplan.control.courses import shortest_course
from tapplan.control.table import Row
from tapplan.exact import Span


@dataclass(frozen=True, slots=True)
class Breach:
    """The worst input of a band on one side of the window, its ratio and output there, and the limit it breaks."""

    ratio: Fraction
    input: Fraction
    output: Fraction
    limit: Fraction


def _breaches(review: Review, row: Row, inputs: Span) -> Iterator[Breach]:
    """The worst input on each side of the window, where the window is left."""
    window = review.window
    if row.ratio is None or row.full is None:
        return
    lowest, highest = row.full * inputs.low, row.ratio * inputs.high
    if lowest < window.low:
        yield Breach(row.ratio, inputs.low, lowest, window.low)
    if highest > window.high:
        yield Breach(row.ratio, inputs.high, highest, window.high)


def out_of_window(review: Review) -> Iterator[Finding]:
    """Inputs within the range that a band really holds and that put the output outside the window."""
    for one in _broken(review):
        shown = _held_outside(review, one.number, one.breach)
        yield Finding("out-of-window", Severity.FAULT, where.in_band(shown.bands[0]), shown)


def places_outside(review: Review) -> Iterator[str]:
    """Where `out_of_window` finds something, without the courses that show it, which take far longer."""
    for one in _broken(review):
        yield where.in_band(review.table.rows[one.number].name)


@dataclass(frozen=True, slots=True)
class _RowOutside:
    """A row, by its number, that leaves the window within the range, and how."""

    number: int
    breach: Breach


def _broken(review: Review) -> Iterator[_RowOutside]:
    for number, row in enumerate(review.table.rows):
        real = row.real_hold(review.table.blur)
        inside = real.meet(review.mains) if real is not None and row.state.usable else None
        if inside is not None:
            for breach in _breaches(review, row, inside):
                yield _RowOutside(number, breach)


def _held_outside(review: Review, number: int, breach: Breach) -> HeldOutside:
    row = review.table.rows[number]
    there = _way_there(review, number, breach.input)
    return HeldOutside(
        bands=(row.name,),
        energised=row.energised,
        ratio=breach.ratio,
        input_v=breach.input,
        reading_v=there.reading,
        course_v=there.course,
        output_v=breach.output,
        limit_v=breach.limit,
    )


@dataclass(frozen=True, slots=True)
class _WayThere:
    """A reading, and the course that ends with it; None: no course does."""

    reading: Fraction
    course: tuple[Fraction, ...] | None


def _way_there(review: Review, number: int, volt: Fraction) -> _WayThere:
    """A reading of this input that the row holds, as near as can be, and the shortest course that ends so.

    In input volts. The reading is off by one and the same share all along the course, and by noise at its end.
    """
    hold, error = review.table.rows[number].input_hold or Span(volt, volt), review.table.blur.error
    reading = min(max(volt, hold.low), hold.high)
    factor = 1 + min(max(reading / volt - 1, -error), error)
    plain = review.design.sensing.at == "input" or reading == factor * volt
    within = review.mains.scaled(factor)
    readings = shortest_course(review.decisions, number, reading, within, switched_on=plain)
    course = None if readings is None else (*(one / factor for one in readings[:-1]), volt)
    return _WayThere(reading, course)


def holds_beyond_range(review: Review) -> Iterator[Finding]:
    """Inputs outside the range that a band still holds with the output outside the window."""
    for row in review.table.rows:
        real = row.real_hold(review.table.blur)
        if real is None or not row.state.usable:
            continue
        for outside in _outside(real, review.mains):
            for breach in _breaches(review, row, outside):
                shown = HeldBeyond(
                    bands=(row.name,),
                    energised=row.energised,
                    ratio=breach.ratio,
                    input_v=breach.input,
                    output_v=breach.output,
                    limit_v=breach.limit,
                )
                yield Finding("holds-beyond-range", Severity.NOTE, where.in_band(row.name), shown)


def _outside(real: Span, mains: Span) -> Iterator[Span]:
    if real.low < mains.low:
        yield Span(real.low, min(real.high, mains.low))
    if real.high > mains.high:
        yield Span(max(real.low, mains.high), real.high)


def wrong_way(review: Review) -> Iterator[Finding]:
    """A band at higher input with a higher ratio than its lower neighbour."""
    for below, above in pairwise(review.table.rows):
        if below.ratio is not None and above.ratio is not None and above.ratio > below.ratio:
            low = above.input_hold.low if above.input_hold else None
            shown = Rising(
                bands=(below.name, above.name),
                energised=above.energised,
                below_ratio=below.ratio,
                ratio=above.ratio,
                input_v=low,
                output_v=None if low is None else above.ratio * low,
            )
            yield Finding("wrong-way", Severity.FAULT, where.in_bands(below.name, above.name), shown)
