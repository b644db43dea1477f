"""The resistance of a section: as the file states it, else of its wire, wound on the described core, warm."""

from __future__ import annotations

from fractions import Fraction
from math import ceil

from tapplan.design.limb import mean_turn_mm
from tapplan.design.model import Design, Winding

FINE = 10**6  # resistances worked out are rounded up to a microohm, so that ratios stay exact and safe


def turn_lengths(design: Design) -> dict[str, float]:
    """The mean length of a turn of each section on the described core, in mm: by its layers where these are known.

    Else that of the core; nothing where neither is known.
    """
    core = design.core
    if core is None:
        return {}
    own = [winding for winding in design.windings if winding.core == core.name]
    if design.former is not None and core.mean_turn_mm is None:
        from tapplan.design.coil import Coil, coil_of  # only where layers are asked for

        coil = coil_of(design)
        if isinstance(coil, Coil):
            turns = {winding.name: float(winding.turns) for winding in own}
            return {one.section: one.length_mm / turns[one.section] for one in coil.placed}
    turn = mean_turn_mm(core)
    return {} if turn is None else {winding.name: float(turn) for winding in own}


def warm_ohm(turns: float, turn_mm: float, copper_mm2: float, celsius: float) -> float:
    """R = rho l / a, rho at 20 C times 1 + 0.00393 (T - 20) (IEC 60028 copper)."""
    from tapplan.design.materials import COPPER_OHM_MM2_PER_M, COPPER_PER_K  # only where a wire is stated

    warm = 1 + float(COPPER_PER_K) * (celsius - 20)
    return float(COPPER_OHM_MM2_PER_M) * turns * turn_mm / 1000 / copper_mm2 * warm


def section_ohms(design: Design) -> list[Fraction | None]:
    """Ohms of every section, to be had by every verb alike; None where neither they nor wire and turn are stated."""
    if all(one.resistance_ohm is not None or _open(one) for one in design.windings):
        return [one.resistance_ohm for one in design.windings]
    lengths = turn_lengths(design)
    return [_section_ohm(design, winding, lengths) for winding in design.windings]


def _section_ohm(design: Design, winding: Winding, lengths: dict[str, float]) -> Fraction | None:
    if winding.resistance_ohm is not None:
        return winding.resistance_ohm
    if _open(winding) or winding.name not in lengths:
        return None
    from tapplan.design.conductor import conductor_of  # only where a wire is stated

    conductor = conductor_of(winding)
    if conductor is None:
        return None
    celsius = float(design.copper.temperature_c)
    ohm = warm_ohm(float(winding.turns), lengths[winding.name], conductor.mm2, celsius)
    return Fraction(ceil(ohm * FINE), FINE)


def _open(winding: Winding) -> bool:
    """Whether the file leaves open what a section is wound of."""
    return winding.wire_mm is None and winding.strip_mm is None


def open_wires(design: Design) -> tuple[str, ...]:
    """The windings whose wire is left open though its resistance could be known, and a load makes it matter."""
    core = design.core
    if design.output.load_va is None or core is None or mean_turn_mm(core) is None:
        return ()
    return tuple(
        one.name for one in design.windings if _open(one) and one.resistance_ohm is None and one.core == core.name
    )
