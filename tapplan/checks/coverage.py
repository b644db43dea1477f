"""Whether every input of the mains range is served: by the turns, by the table, and by the return from the backup."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.coverage import DeadZone, NoReturn, Stretched, Unserved
from tapplan.control.reading import Blur
from tapplan.control.serving import Served
from tapplan.control.table import ControlTable, Row
from tapplan.exact import Opening, Span, uncovered


def gaps(review: Review) -> list[Finding]:
    """The coverage gaps: inputs no state serves, then inputs no band holds."""
    return [*uncovered_range(review), *dead_zone(review)]


def inputs_of(gap: Finding) -> Span:
    """The true inputs of a coverage gap, in volts.

    Raises:
        TypeError: the finding is none.
    """
    match gap.witness:
        case Unserved(from_v=low, to_v=high) | DeadZone(from_v=low, to_v=high):
            return Span(low, high)
    raise TypeError(f"{gap.code} is no gap in the coverage")


def feasible(table: ControlTable, found: Sequence[Finding]) -> bool:
    """Whether a derived table meets all that was asked of it: hysteresis, noise, error, and no coverage gap."""
    return table.demanded and not found


def uncovered_range(review: Review) -> Iterator[Finding]:
    """Inputs of the range that no usable state serves: the turns are wrong."""
    spans = [one.serves for one in review.serving if one.serves is not None]
    for opening in uncovered(spans, review.mains):
        yield Finding("uncovered-range", Severity.FAULT, "mains.range_v", _unserved(review, opening))


def _unserved(review: Review, opening: Opening) -> Unserved:
    volt = opening.witness()
    below, above = _neighbours(review, volt)
    nearest, window = below or above, review.window
    return Unserved(
        from_v=opening.low,
        to_v=opening.high,
        input_v=volt,
        energised=nearest.state.energised if nearest else None,
        ratio=nearest.ratio if nearest else None,
        output_v=nearest.ratio * volt if nearest else None,
        below=None if below is None else _stretched(below, window.high / opening.high),
        above=None if above is None else _stretched(above, window.low / opening.low * above.ratio / above.full),
    )


def _stretched(one: Served, ratio: Fraction) -> Stretched:
    """A neighbour, and the ratio without load with which it would close the gap alone; low ends are at full load."""
    return Stretched(energised=one.state.energised, ratio=one.ratio, wanted_ratio=ratio)


def _neighbours(review: Review, volt: Fraction) -> tuple[Served | None, Served | None]:
    """The states that serve nearest below and nearest above an input that none serves."""
    serving = [(one, one.serves) for one in review.serving if one.serves is not None]
    below = max(((o, s.high) for o, s in serving if s.high <= volt), key=lambda pair: pair[1], default=None)
    above = min(((o, s.low) for o, s in serving if s.low >= volt), key=lambda pair: pair[1], default=None)
    return below[0] if below else None, above[0] if above else None


def dead_zone(review: Review) -> Iterator[Finding]:
    """Inputs of the range some reading of which, error and noise included, no band holds: the table is wrong."""
    for unheld in unheld_readings(review.table):
        opening = unheld.inputs(review.table.blur).meet(review.mains)
        if opening is None:
            continue
        volt = opening.witness()
        shown = DeadZone(
            bands=tuple(row.name for row in (unheld.below, unheld.above) if row is not None),
            from_v=opening.low,
            to_v=opening.high,
            input_v=volt,
            reading_v=unheld.reading(volt, review.table.blur),
            course_v=(volt,),
        )
        yield Finding("dead-zone", Severity.FAULT, unheld.where, shown)


@dataclass(frozen=True, slots=True)
class Unheld:
    """Readings, referred to the input, that no band surely holds: between the band below and the band above.

    `low` and `high` are their ends in input volts, where the most (of the band below) and the least (of the one
    above) is read. None: there is no band on that side, and readings go on to nought or without end.
    """

    below: Row | None
    above: Row | None
    low: Fraction
    high: Fraction

    @property
    def read_low(self) -> Fraction:
        """What is read of an input volt at the low end, at the most."""
        return _read(self.below, "high")

    @property
    def read_high(self) -> Fraction:
        """What is read of an input volt at the high end, at the least."""
        return _read(self.above, "low")

    @property
    def where(self) -> str:
        """The bands it lies between, or the one it lies below or above."""
        if self.below is not None and self.above is not None:
            return where.in_bands(self.below.name, self.above.name)
        if self.below is not None:
            return where.above_band(self.below.name)
        return "bands" if self.above is None else where.below_band(self.above.name)

    def inputs(self, blur: Blur) -> Opening:
        """The inputs some reading of which lies here."""
        below, above = self.below, self.above
        low = self.low if below is None or below.read is None else blur.lowest(below.kept.high, below.read)
        high = self.high if above is None or above.read is None else blur.highest(above.kept.low, above.read)
        return Opening(low, high)

    def reading(self, volt: Fraction, blur: Blur) -> Fraction:
        """A reading of this input strictly between the ends: the error-free one if it lies there."""
        if self.low < volt < self.high:
            return volt
        lowest = (1 - blur.error) * volt - blur.half_noise / self.read_high
        highest = (1 + blur.error) * volt + blur.half_noise / self.read_low
        return (max(lowest, self.low) + min(highest, self.high)) / 2


def _read(row: Row | None, end: Literal["low", "high"]) -> Fraction:
    if row is None or row.read is None:
        return Fraction(1)
    return row.read.low if end == "low" else row.read.high


def unheld_readings(table: ControlTable) -> list[Unheld]:
    """Every stretch of readings that no band surely holds, by rising input; none is below nought."""
    held = [
        (row, Span(low, high)) for row in table.rows if row.read for low, high in [surely_kept(row)] if low <= high
    ]
    top = max([span.high for _, span in held], default=Fraction(0)) + 4 * table.design.mains.span.high
    found = []
    for opening in uncovered([span for _, span in held], Span(Fraction(0), top)):
        below = [row for row, span in held if span.high == opening.low]
        above = [row for row, span in held if span.low == opening.high]
        found.append(
            Unheld(
                min(below, key=lambda row: _read(row, "high"), default=None),
                min(above, key=lambda row: _read(row, "low"), default=None),
                opening.low,
                opening.high,
            )
        )
    return found


def surely_kept(row: Row) -> tuple[Fraction, Fraction]:
    """The input volts, error and noise left out, that keep a row under every load; the first may be the higher."""
    return row.kept.low / _read(row, "low"), row.kept.high / _read(row, "high")


def stranded(review: Review) -> Iterator[Finding]:
    """Promised inputs some reading of which, while away, lies outside `return_v`: the load need never come back."""
    away, backup = review.table.away, review.design.backup
    if backup is None or away.read is None or not review.table.rows:
        return
    needed, (low, high) = review.table.blur.readings(review.mains, away.read), backup.return_v
    if needed.low < low:
        yield _not_back(review.mains.low, needed.low, low)
    if needed.high > high:
        yield _not_back(review.mains.high, needed.high, high)


def _not_back(volt: Fraction, reading: Fraction, end: Fraction) -> Finding:
    shown = NoReturn(input_v=volt, reading_v=reading, limit_v=end, least_v=reading)
    return Finding("stranded", Severity.FAULT, f"backup.return_v, {shown.side} side", shown)
