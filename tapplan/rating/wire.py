"""Standard wire for a current: the next size, its resistance warm, its mass."""

from __future__ import annotations

from math import pi, sqrt

from tapplan.design.conductor import Conductor, Wire, bare_wire
from tapplan.design.enamel import thickest_enamelled
from tapplan.design.materials import (
    AWG,
    COPPER_KG_PER_DM3,
    METRIC_MM,
    awg_mm,
    awg_name,
)
from tapplan.design.model import Copper
from tapplan.design.wound import warm_ohm

MOST_STRANDS = 12
SAME_MM = 1e-5  # a file keeps diameters to the millionth


def next_wire(amperes: float, copper: Copper) -> Wire | None:
    """The thinnest standard wire that carries a current at the density given, in as few strands as that takes.

    None where as many strands as a hand can lay are too few.
    """
    for strands in range(1, MOST_STRANDS + 1):
        needed = sqrt(4 * amperes / strands / float(copper.density) / pi)
        fitting = [wire for wire in sizes(copper) if wire.mm >= needed * (1 - 1e-12)]
        if fitting:
            thinnest = min(fitting, key=lambda wire: wire.mm)
            return Wire(thinnest.name, thinnest.mm, strands)
    return None


def sizes(copper: Copper) -> list[Wire]:
    """The enamelled sizes of the series wanted, between the thinnest and the thickest allowed."""
    if copper.series == "awg":
        made = [Wire(awg_name(gauge), awg_mm(gauge)) for gauge in AWG]
    else:
        made = [bare_wire(float(mm)) for mm in METRIC_MM]
    least = float(copper.thinnest_mm or 0)
    most = float(min(copper.thickest_mm or thickest_enamelled(), thickest_enamelled()))
    return [one for one in made if least - SAME_MM <= one.mm <= most + SAME_MM]


def named(wire: Conductor, copper: Copper) -> Conductor:
    """The same by the name that the series has for it, where it is one of its sizes."""
    if not isinstance(wire, Wire):
        return wire
    same = [one for one in sizes(copper) if abs(one.mm - wire.mm) <= SAME_MM]
    return Wire(same[0].name, wire.mm, wire.strands) if same else wire


def ohms(turns: float, turn_mm: float, wire: Conductor, celsius: float) -> float:
    """The resistance of a section, warm: `wound.warm_ohm`."""
    return warm_ohm(turns, turn_mm, wire.mm2, celsius)


def copper_kg(turns: float, turn_mm: float, wire: Conductor) -> float:
    """The mass of bare copper in a section."""
    return turns * turn_mm * wire.mm2 * float(COPPER_KG_PER_DM3) / 10**6
