"""The resistance of a section: as the file states it, else of its wire, wound on the described core, warm."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, pi

from tapplan.design.model import Core, Design, Winding

FINE = 10**6  # resistances worked out are rounded up to a microohm, so that ratios stay exact and safe


def mean_turn_mm(core: Core) -> Fraction | None:
    """The length of a turn: as stated, else of the lamination's bobbin; None where neither is known."""
    if core.mean_turn_mm is not None:
        return core.mean_turn_mm
    if core.lamination is None or core.stack_mm is None:
        return None
    from tapplan.design.materials import lamination  # only where one is named

    plate = lamination(core.lamination)
    return None if plate is None else plate.mean_turn_mm(core.stack_mm)


def warm_ohm(turns: float, turn_mm: float, wire_mm: float, celsius: float) -> float:
    """R = rho l / a, rho at 20 C times 1 + 0.00393 (T - 20) (IEC 60028 copper)."""
    from tapplan.design.materials import COPPER_OHM_MM2_PER_M, COPPER_PER_K  # only where a wire is stated

    warm = 1 + float(COPPER_PER_K) * (celsius - 20)
    return float(COPPER_OHM_MM2_PER_M) * turns * turn_mm / 1000 / (pi / 4 * wire_mm**2) * warm


def section_ohm(design: Design, winding: Winding) -> Fraction | None:
    """Ohms of a section, to be had by every verb alike; None where neither they nor wire and turn are stated."""
    if winding.resistance_ohm is not None:
        return winding.resistance_ohm
    if winding.wire_mm is None or design.core is None or winding.core != design.core.name:
        return None
    turn = mean_turn_mm(design.core)
    if turn is None:
        return None
    ohm = warm_ohm(float(winding.turns), float(turn), float(winding.wire_mm), float(design.copper.temperature_c))
    return Fraction(ceil(ohm * FINE), FINE)


def open_wires(design: Design) -> tuple[str, ...]:
    """The windings whose wire is left open though its resistance could be known, and a load makes it matter."""
    core = design.core
    if design.output.load_va is None or core is None or mean_turn_mm(core) is None:
        return ()
    return tuple(
        one.name
        for one in design.windings
        if one.wire_mm is None and one.resistance_ohm is None and one.core == core.name
    )
