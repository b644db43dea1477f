"""What of a design the bench asks: its cut-out, its rating, and what iron may take of it.

Figures are common practice, no source.
"""

from __future__ import annotations

from fractions import Fraction

from tapplan.design.model import Design
from tapplan.exact import Span

MAGNETISING_SHARE = Fraction(15, 100)  # of the rating, at most, at the nominal volts
UNSTATED_VA = Span(Fraction(50), Fraction(3000))


def has_cutout(design: Design) -> bool:
    """Whether a thermal cut-out lies in its line."""
    return design.protection is not None and design.protection.cutout_c is not None


def rated_va(design: Design) -> Span:
    """What the stage is rated for: as stated, else what such stages are."""
    stated = design.output.load_va
    return UNSTATED_VA if stated is None else Span(stated, stated)


def iron_va(design: Design) -> Span:
    """What its iron may take at the nominal volts."""
    return Span(Fraction(0), MAGNETISING_SHARE * rated_va(design).high)
