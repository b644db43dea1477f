"""What a stage is rated for, and what its iron may take of it; common practice, no source."""

from __future__ import annotations

from fractions import Fraction

from tapplan.design.model import Design
from tapplan.exact import Span

MAGNETISING_SHARE = Fraction(15, 100)  # of the rating, at most, at the nominal volts
UNSTATED_VA = Span(Fraction(50), Fraction(3000))


def rated_va(design: Design) -> Span:
    """What the stage is rated for: as stated, else what such stages are."""
    stated = design.output.load_va
    return UNSTATED_VA if stated is None else Span(stated, stated)


def iron_va(design: Design) -> Span:
    """What its iron may take at the nominal volts."""
    return Span(Fraction(0), MAGNETISING_SHARE * rated_va(design).high)
