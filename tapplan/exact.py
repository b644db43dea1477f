"""Exact closed spans of rational numbers: overlaps, what a set of spans leaves uncovered, safe rounding."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """A closed interval of exact numbers; `low <= high` always."""

    low: Fraction
    high: Fraction

    def __post_init__(self) -> None:
        if self.low > self.high:
            raise ValueError(f"a span runs upward, not from {self.low} to {self.high}")

    def __contains__(self, value: object) -> bool:
        return isinstance(value, Fraction | int) and self.low <= value <= self.high

    def meet(self, other: Span) -> Span | None:
        """The part both spans hold, or None when they share no point."""
        low, high = max(self.low, other.low), min(self.high, other.high)
        return Span(low, high) if low <= high else None

    def scaled(self, factor: Fraction) -> Span:
        """The span of `factor * x`; `factor` is positive."""
        return Span(self.low * factor, self.high * factor)


@dataclass(frozen=True, slots=True, order=True)
class Opening:
    """What lies strictly between two numbers; with `shut_low` or `shut_high` that end belongs to it too."""

    low: Fraction
    high: Fraction
    shut_low: bool = False
    shut_high: bool = False

    def meet(self, within: Span) -> Opening | None:
        """The part of the opening inside a closed span, or None when that part is empty."""
        low, shut_low = (self.low, self.shut_low) if self.low >= within.low else (within.low, True)
        high, shut_high = (self.high, self.shut_high) if self.high <= within.high else (within.high, True)
        if low < high or (low == high and shut_low and shut_high):
            return Opening(low, high, shut_low, shut_high)
        return None

    def witness(self) -> Fraction:
        """One number inside the opening: an end that belongs to it, else the middle."""
        if self.shut_low:
            return self.low
        return self.high if self.shut_high else (self.low + self.high) / 2


def union(spans: Iterable[Span]) -> list[Span]:
    """The same points as the given spans, as few spans as possible, in rising order."""
    joined: list[Span] = []
    for span in sorted(spans):
        if joined and span.low <= joined[-1].high:
            joined[-1] = Span(joined[-1].low, max(joined[-1].high, span.high))
        else:
            joined.append(span)
    return joined


def uncovered(spans: Iterable[Span], within: Span) -> list[Opening]:
    """The parts of `within` that none of the closed spans holds, in rising order."""
    outside = Opening(within.low, within.high, True, True)
    left: list[Opening] = []
    for span in union(spans):
        if span.high < outside.low or (span.high == outside.low and not outside.shut_low):
            continue
        if span.low > outside.high:
            break
        below = Opening(outside.low, span.low, outside.shut_low, False)
        if below.low < below.high:
            left.append(below)
        if span.high >= outside.high:
            return left
        outside = Opening(span.high, outside.high, False, True)
    left.append(outside)
    return left


def rounded_down(value: Fraction, step: Fraction) -> Fraction:
    """The largest multiple of `step` not above `value`."""
    return floor(value / step) * step


def rounded_up(value: Fraction, step: Fraction) -> Fraction:
    """The smallest multiple of `step` not below `value`."""
    return ceil(value / step) * step
