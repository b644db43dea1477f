"""What one turn is made of: a round wire or a strip, one or several side by side; how much copper, how much room."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import pi

from tapplan.design.enamel import STRIP_ENAMEL_MM, overall_mm
from tapplan.design.model import Copper, Winding


@dataclass(frozen=True, slots=True)
class Wire:
    """Round wires side by side; `name` is what the trade calls one of them."""

    name: str
    mm: float
    strands: int = 1

    @property
    def mm2(self) -> float:
        """The bare section of all strands."""
        return self.strands * pi / 4 * self.mm**2

    @property
    def told(self) -> str:
        """The wire with its strands."""
        return self.name if self.strands == 1 else f"{self.strands} x {self.name}"


@dataclass(frozen=True, slots=True)
class Strip:
    """Strips side by side: thickness outward from the limb, width along it; rounded at the edges."""

    thick_mm: float
    wide_mm: float
    strands: int = 1

    @property
    def name(self) -> str:
        """One strip by its sides."""
        return f"{self.thick_mm:g} x {self.wide_mm:g} mm"

    @property
    def mm2(self) -> float:
        """The bare section of all strands: (1 - pi/4) of the square of a rounding is missing at each corner."""
        return self.strands * (
            self.thick_mm * self.wide_mm - (4 - pi) * edge_mm(min(self.thick_mm, self.wide_mm)) ** 2
        )

    @property
    def told(self) -> str:
        """The strip with its strands."""
        return self.name if self.strands == 1 else f"{self.strands} x {self.name}"


Conductor = Wire | Strip

# Radius of the rounded edges by thickness, in mm: up to this thickness, this radius; as held for IEC 60317 in the
# wire data base of PyOpenMagnetics 1.7.35 (MIT licence).
_EDGES = ((1.6, 0.5), (2.24, 0.65), (3.55, 0.8))
_THICK_EDGE = 1.0


def edge_mm(thick_mm: float) -> float:
    """The radius at the edges of a strip; a thin one is round over its whole thickness."""
    radius = next((radius for most, radius in _EDGES if thick_mm <= most + 1e-9), _THICK_EDGE)
    return min(radius, thick_mm / 2)


def bare_wire(mm: float, strands: int = 1) -> Wire:
    """Wires of a stated diameter."""
    return Wire(f"{mm:g} mm", mm, strands)


def conductor_of(winding: Winding) -> Conductor | None:
    """What the file states a winding to be wound of; None where it is open."""
    strands = int(winding.strands or 1)
    if winding.strip_mm is not None:
        return Strip(float(winding.strip_mm[0]), float(winding.strip_mm[1]), strands)
    return None if winding.wire_mm is None else bare_wire(float(winding.wire_mm), strands)


@dataclass(frozen=True, slots=True)
class Turn:
    """The room one turn takes in a layer, its covering included: outward from the limb, and along it."""

    tall_mm: Fraction
    wide_mm: Fraction


def turn_of(winding: Winding, copper: Copper) -> Turn | None:
    """The room of one turn; None where conductor or covering is not known."""
    strands, covering = winding.strands or Fraction(1), winding.covering_mm
    if winding.strip_mm is not None:
        covering = STRIP_ENAMEL_MM.get(copper.enamel_grade) if covering is None else covering
        if covering is None:
            return None
        thick, wide = winding.strip_mm
        return Turn(thick + covering, strands * (wide + covering))
    if winding.wire_mm is None:
        return None
    overall = overall_mm(winding.wire_mm, copper.enamel_grade) if covering is None else winding.wire_mm + covering
    return None if overall is None else Turn(overall, strands * overall)
