"""What turns there are, in multiples of the least step: all up to a top, or those of a winding that exists."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from tapplan.arrays import Floats
from tapplan.study.request import Request

GENEROUS = 1e-9  # of a turn


@dataclass(frozen=True, slots=True)
class Between:
    """The least and the most of a number."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TurnLimits:
    """Every multiple up to `top`, or only those `allowed`, rising.

    The highest tap is at least `bottom`, the output's taps at least `output_least`, the line's highest `line_least`.
    """

    top: int
    bottom: float
    output_least: float
    line_least: float
    allowed: Floats | None = None

    @property
    def lowest(self) -> float:
        """The least turns that there are."""
        return 1.0 if self.allowed is None else float(self.allowed[0])

    @property
    def highest(self) -> float:
        """The most turns that there are."""
        return float(self.top) if self.allowed is None else float(self.allowed[-1])

    def down(self, turns: Floats) -> Floats:
        """The largest turns there are that are no more; 0 for none."""
        floored = np.floor(turns + GENEROUS)
        if self.allowed is None:
            return np.asarray(np.clip(floored, 0, self.top))
        place = np.searchsorted(self.allowed, floored, side="right")
        return np.asarray(np.concatenate([[0.0], self.allowed])[place])

    def up(self, turns: Floats) -> Floats:
        """The least turns there are that are no less; inf for none."""
        raised = np.ceil(turns - GENEROUS)
        if self.allowed is None:
            return np.asarray(np.where(raised <= self.top, np.maximum(raised, 1), np.inf))
        place = np.searchsorted(self.allowed, raised, side="left")
        return np.asarray(np.concatenate([self.allowed, [np.inf]])[place])

    def among(self, low: float, high: float) -> list[int]:
        """All turns between two numbers."""
        if self.allowed is None:
            return list(range(max(ceil(low - GENEROUS), 1), min(floor(high + GENEROUS), self.top) + 1))
        return [int(one) for one in self.allowed if low - GENEROUS <= one <= high + GENEROUS]


def limits_of(request: Request) -> TurnLimits:
    """The turns that a request allows."""
    step = request.multiple
    allowed = np.array(sorted(tap / step for tap in request.fixed_taps), dtype=np.float64)
    return TurnLimits(
        int(request.turns.high // step),
        float(request.turns.low) / step,
        float(request.output_least) / step,
        float(request.line_least) / step,
        allowed if request.fixed_taps else None,
    )
