"""How far a reading may be from the true value, and how likely a reading is where a hypothesis allows a span of them.

Readings are counted in cells, each as wide as the meter's own error there: within a span one cell is as likely as
another. So a hypothesis that foretells one cell is worth as much as its number of cells more than one that allows
anything, whatever the quantity and its unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import log

from tapplan.bench.measures import YES_NO, Measure, What
from tapplan.bench.values import MOST, NEVER, Prediction
from tapplan.exact import Span

OPEN_SEEN = Fraction(50_000)  # ohms above which readings are one cell: open
MOST_SEEN: dict[What, Fraction] = {"current": Fraction(2), "ripple": Fraction(50)}  # of other volts:
MOST_VOLTS = Fraction(600)
DIRECT: tuple[What, ...] = ("rail", "battery")
LEAST_WIDTH = Fraction(1, 1000)

# How often a reading is misread or written down wrong, common practice, no source. A lamp's glow is a rough judge.
MISREAD = 0.01
MISJUDGED = 0.2


SHARP = 4.0  # cells up to which a span foretells a reading, one as well as another; a wider one leaves it open
BEYOND = 0.1  # how much less likely a reading is that lies beyond the meter's error, by no more than that error
KNOWN = 0.2  # how likely a reading's cell is, of what was open once and has been read since


def slip(measure: Measure) -> float:
    """How often such a reading is misread."""
    return MISJUDGED if measure.what == "lamp" else MISREAD


@dataclass(frozen=True, slots=True)
class Likely:
    """How likely a reading's cell is: the first time that a hypothesis leaves it open, and from then on.

    What a hypothesis leaves open is one unknown: after it was read once, no other reading of it counts against it.
    `fits`: whether the reading lies within the meter's error.
    """

    first: float
    later: float
    open: bool
    fits: bool


@dataclass(frozen=True, slots=True)
class Meter:
    """Errors of volts and ohms, each a percentage of the value and a fixed part; common practice, no source.

    On a small source the fixed part of volts is a fiftieth of that on the line: meters have a range for it; that of
    direct volts is a tenth, with half the percentage, that of a current in ampere a ten thousandth.
    """

    volts_pct: Fraction = Fraction(2)
    volts_v: Fraction = Fraction(1)
    ohm_pct: Fraction = Fraction(5)
    ohm: Fraction = Fraction(1, 2)

    def widened(self, measure: Measure, prediction: Prediction) -> Prediction:
        """The readings that fit a prediction."""
        if measure.what in YES_NO:
            return prediction
        return tuple(one if one.low < 0 else self._around(measure, one) for one in prediction)

    def _around(self, measure: Measure, value: Span) -> Span:
        share, fixed = self._of(measure)
        low = max(value.low * (1 - share) - fixed, Fraction(0))
        return Span(low, MOST if value.high >= MOST else value.high * (1 + share) + fixed)

    def true(self, measure: Measure, value: Fraction) -> Span:
        """The true values that a reading can stand for."""
        share, fixed = self._of(measure)
        return Span(max(value - fixed, Fraction(0)) / (1 + share), (value + fixed) / (1 - share))

    def _of(self, measure: Measure) -> tuple[Fraction, Fraction]:
        if measure.unit == "ohm":
            return self.ohm_pct / 100, self.ohm
        parts = {"current": 10_000, "rail": 10, "ripple": 10, "battery": 10}
        fixed = self.volts_v / parts.get(measure.what, 50 if measure.condition.power == "low" else 1)
        return self.volts_pct / (200 if measure.what in DIRECT else 100), fixed

    def cells(self, measure: Measure, span: Span) -> float:
        """How many readings a span holds that the meter can tell apart, at least one."""
        return max(self.width(measure, span), 1.0)

    def width(self, measure: Measure, span: Span) -> float:
        """How wide a span is in cells; a point is one cell."""
        if measure.what in YES_NO or span.low < 0 or span.low >= NEVER or span.low == span.high:
            return 1.0
        share, fixed = map(float, self._of(measure))
        most = OPEN_SEEN if measure.unit == "ohm" else MOST_SEEN.get(measure.what, MOST_VOLTS)
        low, high = float(min(span.low, most)), float(min(span.high, most))
        if low >= most:
            return 1.0  # open, or more volts than any stage has
        fixed = max(fixed, float(LEAST_WIDTH) if measure.what != "current" else 1e-6)
        count = log((fixed + share * high) / (fixed + share * low)) / share if share else (high - low) / fixed
        return count / 2  # a cell is an error wide to either side

    def likely(self, measure: Measure, readings: Prediction, value: Fraction) -> Likely:
        """How likely a reading's cell is where these fit: each span is as likely as another, and its cells alike."""
        least = 1.0 if measure.what in YES_NO else SHARP
        sharp = first = later = 0.0
        for span in readings:
            near = self._near(measure, span, value)
            cells = self.cells(measure, span)
            if cells <= SHARP:
                sharp += near / least
            else:
                first += near / cells
                later += near * KNOWN
        count = len(readings)
        fits = any(value in span for span in readings)
        return Likely((sharp + first) / count, (sharp + later) / count, open=first > sharp, fits=fits)

    def _near(self, measure: Measure, span: Span, value: Fraction) -> float:
        """1 inside a span; a little just outside it, for no meter keeps its error always."""
        if value in span:
            return 1.0
        if measure.what in YES_NO or span.low < 0 or value < 0:
            return 0.0
        return BEYOND if value in self._around(measure, span) else 0.0

    def misread(self, measure: Measure) -> float:
        """How likely a reading's cell is where it was misread: any of the quantity's cells."""
        if measure.what in YES_NO:
            return slip(measure) / 2
        return slip(measure) / self.cells(measure, Span(Fraction(0), MOST))
