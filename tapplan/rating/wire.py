"""Wire: the next standard size for a current, its resistance warm, how much of the window it fills."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

from tapplan.design.materials import (
    AWG,
    COPPER_KG_PER_DM3,
    METRIC_MM,
    awg_mm,
    awg_name,
)
from tapplan.design.model import Copper
from tapplan.design.wound import warm_ohm


@dataclass(frozen=True, slots=True)
class Wire:
    """A round wire; `name` as the trade writes it."""

    name: str
    mm: float

    @property
    def mm2(self) -> float:
        """Bare section."""
        return pi / 4 * self.mm**2


def bare_wire(mm: float) -> Wire:
    """A wire of a stated diameter."""
    return Wire(f"{mm:g} mm", mm)


def next_wire(amperes: float, copper: Copper) -> Wire | None:
    """The thinnest standard wire that carries a current at the density given; None when the series ends before."""
    needed = sqrt(4 * amperes / float(copper.density) / pi)
    fitting = [wire for wire in sizes(copper) if wire.mm >= needed * (1 - 1e-12)]
    return min(fitting, key=lambda wire: wire.mm, default=None)


def sizes(copper: Copper) -> list[Wire]:
    """The standard sizes of the series wanted."""
    if copper.series == "awg":
        return [Wire(awg_name(gauge), awg_mm(gauge)) for gauge in AWG]
    return [bare_wire(float(mm)) for mm in METRIC_MM]


def ohms(turns: float, mean_turn_mm: float, wire: Wire, celsius: float) -> float:
    """The resistance of a section, warm: `wound.warm_ohm`."""
    return warm_ohm(turns, mean_turn_mm, wire.mm, celsius)


def copper_kg(turns: float, mean_turn_mm: float, wire: Wire) -> float:
    """The mass of bare copper in a section."""
    return turns * mean_turn_mm * wire.mm2 * float(COPPER_KG_PER_DM3) / 10**6
