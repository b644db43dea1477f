"""One side of a published tolerance curve, in the volts of a design."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.control.response import Side
from tapplan.design.standards import Curve


@dataclass(frozen=True, slots=True)
class CurveSide:
    """One side of a curve, which responses in volts are held against, and what its percents are percents of."""

    curve: Curve
    side: Side
    nominal_v: Fraction

    @property
    def steady_v(self) -> Fraction | None:
        """The output that may stand for ever; None where the curve has no such side."""
        corners = self.curve.upper if self.side == "over" else self.curve.lower
        return corners[-1][1] * self.nominal_v / 100 if corners else None

    def beyond(self, output_v: Fraction, level_v: Fraction) -> bool:
        """Whether an output lies farther out on this side than another."""
        return output_v > level_v if self.side == "over" else output_v < level_v

    def percent(self, output_v: Fraction) -> Fraction:
        """An output in percent of nominal."""
        return 100 * output_v / self.nominal_v

    def allowed_ms(self, percent: Fraction) -> Fraction | None:
        """How long so much may stand; None: for ever."""
        seconds = self.curve.may_rise_s(percent) if self.side == "over" else self.curve.may_fall_s(percent)
        return None if seconds is None else 1000 * seconds

    def allowed_percent(self, lasts_ms: Fraction) -> Fraction | None:
        """What may stand so long; None where the curve has no such side."""
        seconds = lasts_ms / 1000
        return self.curve.may_rise_to(seconds) if self.side == "over" else self.curve.may_fall_to(seconds)
