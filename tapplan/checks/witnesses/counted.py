"""Witnesses of the counts, and of the reading's error."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tapplan.checks.witnesses.every import Witness


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBudget:
    """By how much a reading can err, at worst and as a root of squares, what is stated, and the largest part."""

    worst_pct: Fraction
    likely_pct: Fraction
    limit_pct: Fraction
    largest: str
    largest_pct: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class FullConverter:
    """The highest reading needed, and the highest the converter can show, in the units sensed."""

    reading_v: Fraction
    limit_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokenInCounts:
    """What a promise of the code `broken` shows once thresholds stand in whole counts of `step_v`."""

    step_v: Fraction
    broken: str
    case: Witness


@dataclass(frozen=True, slots=True, kw_only=True)
class CountsLeft:
    """Two neighbours and the hysteresis left between them, in counts of `step_v` and in volts; `count` whole ones."""

    bands: tuple[str, ...]
    left_counts: Fraction
    step_v: Fraction
    overlap_v: Fraction
    count: int


OfCounts = ReadingBudget | FullConverter | BrokenInCounts | CountsLeft
