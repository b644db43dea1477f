"""What an averaging window makes of a steady sine: the reading is the true value times a factor near 1.

The window begins at any phase. Counted in half cycles it is u = k + r long, k whole ones and a rest r below 1. Whole
ones read the same from any phase; only what the rest reads depends on where it begins, and all of u shares it. So the
factor goes no farther from 1 than g(r)/u, where g is a bulge: concave, nothing at r = 0 and r = 1.

| detector | of 1 | bulge g(r) | the rest lies |
| --- | --- | --- | --- |
| rms, its square | above and below | sin(pi r)/pi | about a zero or a peak |
| average | above | sin(pi r/2) - r | about a peak |
| average | below | r - 1 + cos(pi r/2) | about a zero |

A peak is missed only by a window of less than half a cycle: at worst it lies about a zero and reads sin(pi u/2).
Own derivation, from the integrals of sin^2 and |sin|; the tests integrate numerically.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import cos, floor, pi, sin, sqrt
from typing import Literal

from tapplan.exact import Span, rounded_down, rounded_up

Detector = Literal["rms", "average", "peak"]

STEP = Fraction(1, 10**9)  # factors are rounded outward to this
SAFE = 1e-14  # more than all rounding of floats in a bulge over u, which is below 1e-15
BRIEF = Fraction(1, 10**15)  # half cycles; a shorter window reads what this one does, to less than SAFE
LONG = 10**12  # half cycles; a longer window is no worse than this one, which STEP swallows
HALVINGS = 60  # of a part of a half cycle: what is left is below the rounding of floats
STEADY = Span(Fraction(1), Fraction(1))


@dataclass(frozen=True, slots=True)
class Bulge:
    """How far the rest r of a window, in half cycles from 0 to 1, takes the sum off; and its slope there."""

    height: Callable[[float], float]
    slope: Callable[[float], float]


SQUARE = Bulge(lambda r: sin(pi * r) / pi, lambda r: cos(pi * r))
ABOVE = Bulge(lambda r: sin(pi * r / 2) - r, lambda r: pi / 2 * cos(pi * r / 2) - 1)
# 1 - cos(x) as 2 sin(x/2)^2, which keeps its digits where r is small
BELOW = Bulge(lambda r: r - 2 * sin(pi * r / 4) ** 2, lambda r: 1 - pi / 2 * sin(pi * r / 2))


def ripple(detector: Detector, cycles: Fraction) -> Span:
    """The factors, from every phase, that a window of `cycles` puts on the reading of a steady sine.

    Exactly 1 for whole half cycles, and for a peak in half a cycle or more; else rounded outward to 9 decimals.

    Raises:
        ValueError: `cycles` is not above 0.
    """
    return ripple_over(detector, Span(cycles, cycles))


def ripple_over(detector: Detector, cycles: Span) -> Span:
    """The least span with the factors of every window whose length in cycles lies in the span, rounded outward.

    A window fixed in time is that while the frequency wanders: seconds times hertz.

    Raises:
        ValueError: `cycles` does not lie above 0.
    """
    if cycles.low <= 0:
        raise ValueError(f"a window lasts some time, not {cycles.low} cycles")
    halves = cycles.scaled(Fraction(2))
    if detector == "peak":
        return _peak(halves.low)
    if halves.low == halves.high and halves.low.denominator == 1:
        return STEADY
    if detector == "average":
        return _outward(1 - _largest(BELOW, halves), 1 + _largest(ABOVE, halves))
    share = _largest(SQUARE, halves)
    return _outward(sqrt(max(0.0, 1 - share)), sqrt(1 + share))


def _outward(low: float, high: float) -> Span:
    return Span(max(Fraction(0), rounded_down(Fraction(low), STEP)), rounded_up(Fraction(high), STEP))


def _peak(halves: Fraction) -> Span:
    """A longer window misses no more of the peak, so the shortest decides."""
    if halves >= 1:
        return STEADY
    return _outward(sin(pi * float(halves) / 2) - SAFE, 1.0)


def _largest(bulge: Bulge, halves: Span) -> float:
    """No less than the largest g(r)/(k + r) in a span of half cycles, and more by about SAFE.

    At one r it falls with k. So no half cycle reaches as high as the one before it, and only that of the shortest
    window, which may be cut off below its summit, and the one after it are looked at.
    """
    within = Span(max(halves.low, BRIEF), max(halves.high, BRIEF))
    first = floor(within.low)
    each = [(whole, within.meet(Span(Fraction(whole), Fraction(whole + 1)))) for whole in (first, first + 1)]
    return max(_highest(bulge, whole, part) for whole, part in each if part) + SAFE


def _highest(bulge: Bulge, whole: int, part: Span) -> float:
    """The largest g(r)/(whole + r) for whole + r in a part of that half cycle, by halving.

    It rises while g'(r) > g(r)/(whole + r), and g is concave: so it rises and then falls, or falls all along where
    `whole` is 0. A summit that is missed by a little is missed in height by the square of that.
    """
    begin, left, right = float(min(whole, LONG)), float(part.low - whole), float(part.high - whole)
    for _ in range(HALVINGS):
        middle = (left + right) / 2
        if bulge.slope(middle) > bulge.height(middle) / (begin + middle):
            left = middle
        else:
            right = middle
    return bulge.height(left) / (begin + left)
