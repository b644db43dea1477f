"""How far a reading may be from the true value: the meter's own error, and the small load of the test lamp."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.bench.measures import YES_NO, Measure
from tapplan.bench.values import MOST, Prediction
from tapplan.exact import Span, union


@dataclass(frozen=True, slots=True)
class Meter:
    """Errors of volts and ohms, each a percentage of the value and a fixed part; common practice, no source.

    On a small source the fixed part of volts is a fiftieth of that on the line: meters have a range for it.
    """

    volts_pct: Fraction = Fraction(2)
    volts_v: Fraction = Fraction(1)
    ohm_pct: Fraction = Fraction(5)
    ohm: Fraction = Fraction(1, 2)

    def widened(self, measure: Measure, prediction: Prediction) -> Prediction:
        """The readings that fit a prediction."""
        if measure.what in YES_NO:
            return prediction
        return tuple(union(self._around(measure, one) for one in prediction))

    def _around(self, measure: Measure, value: Span) -> Span:
        share, fixed = self._of(measure)
        low = max(value.low * (1 - share) - fixed, Fraction(0))
        return Span(low, MOST if value.high >= MOST else value.high * (1 + share) + fixed)

    def true(self, measure: Measure, value: Fraction) -> Span:
        """The true values that a reading can stand for."""
        share, fixed = self._of(measure)
        return Span(max(value - fixed, Fraction(0)) / (1 + share), (value + fixed) / (1 - share))

    def _of(self, measure: Measure) -> tuple[Fraction, Fraction]:
        if measure.unit == "V":
            small = measure.condition.power == "low"
            return self.volts_pct / 100, self.volts_v / 50 if small else self.volts_v
        return self.ohm_pct / 100, self.ohm


def fits(readings: Prediction, value: Fraction) -> bool:
    """Whether a value is one of these readings."""
    return any(value in span for span in readings)


def likely(readings: Prediction, value: Fraction) -> float:
    """How likely a reading is where any of these is as likely as another: the narrower, the more; 0 elsewhere.

    A width is never taken as less than a thousandth, so that a sure answer counts as one.
    """
    if not fits(readings, value):
        return 0.0
    points = sum(span.low == span.high for span in readings)
    width = sum(float(min(span.high, 4 * value + 1) - min(span.low, value)) for span in readings)
    return 1 / points if points else 1 / max(width, 1e-3)
