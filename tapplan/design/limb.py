"""The limb and its window, in mm: as the file states them, else as the lamination has them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import pi, sqrt

from tapplan.design.model import Core

EMF = sqrt(2) * pi  # of a sine: the derivative of B A sin(2 pi f t), as RMS; 4.44 in the books
HALF_CIRCLE = Fraction(22, 7)  # pi (Archimedes' upper bound), so that lengths stay rational


@dataclass(frozen=True, slots=True)
class Window:
    """The window beside the limb: its width outward from it, its height along it."""

    wide_mm: Fraction
    high_mm: Fraction


@dataclass(frozen=True, slots=True)
class LimbSides:
    """Where a coil goes: the sides of the limb, and the window beside it."""

    leg_mm: Fraction
    stack_mm: Fraction
    window: Window


def window_of(core: Core) -> Window | None:
    """The window; None where its sides are not known."""
    if core.window_mm is not None:
        return Window(*core.window_mm)
    if core.lamination is None:
        return None
    from tapplan.design.materials import lamination  # only where one is named

    plate = lamination(core.lamination)
    return None if plate is None else Window(*plate.window_mm)


def leg_mm(core: Core) -> Fraction | None:
    """The width of the limb; None where it is not known."""
    if core.leg_mm is not None or core.lamination is None:
        return core.leg_mm
    from tapplan.design.materials import lamination  # only where one is named

    plate = lamination(core.lamination)
    return None if plate is None else plate.leg_mm


def limb_of(core: Core) -> LimbSides | None:
    """Limb and window; None where one of their sides is not known."""
    leg, window = leg_mm(core), window_of(core)
    if leg is None or window is None or core.stack_mm is None:
        return None
    return LimbSides(leg, core.stack_mm, window)


def mean_turn_mm(core: Core) -> Fraction | None:
    """The length of a turn: as stated, else round the limb, half way through the window, corners rounded.

    That figure is common practice, without a source. None where neither is known.
    """
    if core.mean_turn_mm is not None:
        return core.mean_turn_mm
    limb = limb_of(core)
    if limb is None:
        return None
    return 2 * (limb.leg_mm + limb.stack_mm) + HALF_CIRCLE * limb.window.wide_mm


def gross_mm2(core: Core) -> Fraction | None:
    """The gross area of the limb: as stated, else of its sides; None where they are not known."""
    leg = leg_mm(core)
    if core.area_mm2 is not None or leg is None or core.stack_mm is None:
        return core.area_mm2
    return leg * core.stack_mm


def window_mm2(core: Core) -> Fraction | None:
    """The area of the window: as stated, else of its sides; None where they are not known."""
    window = window_of(core)
    if core.window_mm2 is not None or window is None:
        return core.window_mm2
    return window.wide_mm * window.high_mm
