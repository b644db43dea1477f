"""The scale on which a wiring's ratios are sums of its unknowns, and the bound of the next one there.

Of taps alone the logarithm is (a difference of logarithms of turns); where sections are added to the line's turns
over one output u itself is, and where they are added to the output's over one line -1/u. On each the largest next
value is a concave function of the one before, u' <= (A u - loss)/scale, so that its tangents bound it (own
derivation); with a loss below nought it is not, on a bent scale, and a chord does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log

SMALL = 1e-3


@dataclass(frozen=True, slots=True)
class BoundLine:
    """v' <= slope v + level."""

    slope: float
    level: float


@dataclass(frozen=True, slots=True)
class NextBound:
    """u' <= (high u - loss)/scale, for u between two numbers."""

    high: float
    loss: float
    scale: float
    low_u: float
    high_u: float

    def of(self, u: float) -> float:
        """The largest next u; not above nought where there is none."""
        return (self.high * u - self.loss) / self.scale

    @property
    def least_u(self) -> float:
        """Where a next u just begins to be positive."""
        return max(self.loss, 0.0) / self.high * (1 + SMALL) + 1e-12


@dataclass(frozen=True, slots=True)
class RatioScale:
    """A scale: from u and back, the tangent of a bound at some u, and the line that a largest u'/u is."""

    of: Callable[[float], float]
    back: Callable[[float], float]
    tangent: Callable[[NextBound, float], BoundLine]
    step: Callable[[float], BoundLine]


def _tangent_of_logs(bound: NextBound, u: float) -> BoundLine:
    if bound.loss < 0:
        return _chord(bound, log)
    u = max(u, bound.least_u)
    slope = bound.high * u / (bound.high * u - bound.loss)
    return BoundLine(slope, log(bound.of(u)) - slope * log(u))


def _tangent_of_inverses(bound: NextBound, u: float) -> BoundLine:
    if bound.loss < 0:
        return _chord(bound, _inverse)
    u = max(u, bound.least_u)
    v = _inverse(u)
    slope = bound.scale * bound.high / (bound.high + bound.loss * v) ** 2
    return BoundLine(slope, _inverse(bound.of(u)) - slope * v)


def _chord(bound: NextBound, of: Callable[[float], float]) -> BoundLine:
    first, last = of(bound.low_u), of(bound.high_u)
    slope = (of(bound.of(bound.high_u)) - of(bound.of(bound.low_u))) / (last - first)
    return BoundLine(slope, of(bound.of(bound.low_u)) - slope * first)


def _inverse(value: float) -> float:
    return -1 / value


LOGARITHM = RatioScale(log, exp, _tangent_of_logs, lambda most: BoundLine(1.0, log(most)))
PLAIN = RatioScale(
    float,
    float,
    lambda bound, _: BoundLine(bound.high / bound.scale, -bound.loss / bound.scale),
    lambda most: BoundLine(most, 0.0),
)
INVERSE = RatioScale(_inverse, _inverse, _tangent_of_inverses, lambda most: BoundLine(1 / most, 0.0))
