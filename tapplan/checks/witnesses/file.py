"""Witnesses of what the file itself says: a limit that a trait breaks, an acceptance that meets nothing."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class PastLimit:
    """A trait beyond the limit that the file states, both in one unit, and how long it lasts, where that is known."""

    value: Fraction
    unit: str
    limit: Fraction
    side: Literal["under", "over"]
    lasts_ms: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NothingMet:
    """No warning or note of the design is like an acceptance."""


OfTheFile = PastLimit | NothingMet
