"""The iron of a core: what the file gives, what its lamination gives, and what neither does.

Volts per turn and flux: U = sqrt(2) pi f N B A, 4.44 f N B A in the books (sine; A the net iron area).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from tapplan.design.limb import EMF, gross_mm2, mean_turn_mm, window_mm2
from tapplan.design.materials import Lamination, Steel, lamination, steel
from tapplan.design.model import Core, Design

# How a loss goes with flux and frequency, from what the grade guarantees at 50 Hz; common practice, no source.
BY_FLUX, BY_HERTZ, GUARANTEED_HZ = 2, 1.3, 50


@dataclass(frozen=True, slots=True)
class Iron:
    """One core in millimetres and kilograms; None where neither the file nor a lamination says."""

    name: str
    net_mm2: float | None
    window_mm2: float | None
    mean_turn_mm: float | None
    path_mm: float | None
    mass_kg: float | None
    steel: Steel | None
    core: Core

    def flux_t(self, per_turn: float, hertz: float) -> float | None:
        """Peak flux density in tesla for RMS volts per turn; None without an area."""
        return None if self.net_mm2 is None else per_turn / (EMF * hertz * self.net_mm2 * 1e-6)

    def loss_w(self, tesla: float, hertz: float) -> float | None:
        """Core loss: the grade's guaranteed W/kg, scaled with B^2 and f^1.3 (common practice, an estimate)."""
        if self.steel is None or self.mass_kg is None:
            return None
        rated = float(self.steel.loss_w_kg) * (tesla / float(self.steel.rated_t)) ** BY_FLUX
        return float(rated * (hertz / GUARANTEED_HZ) ** BY_HERTZ * self.mass_kg)

    def magnetising_at(self, tesla: float) -> float | None:
        """RMS ampere-turns at a peak flux density, from the grade's open field data; None where there are none."""
        if self.steel is None or not self.steel.field or self.path_mm is None:
            return None
        levels = [float(level) for level, _ in self.steel.field]
        fields = [float(field) for _, field in self.steel.field]
        level = float(np.interp(tesla, [0.0, *levels], [0.0, *fields]))
        return level * self.path_mm / 1000 / sqrt(2)


def iron_of(design: Design) -> Iron | None:
    """The core the file describes, or None."""
    core = design.core
    if core is None:
        return None
    plate, grade = lamination(core.lamination or ""), steel(core.grade or "")
    gross = gross_mm2(core)
    return Iron(
        core.name,
        _or_none(gross * core.stack_factor if gross is not None else None),
        _or_none(window_mm2(core)),
        _or_none(mean_turn_mm(core)),
        _or_none(core.path_mm or (plate.path_mm if plate else None)),
        _mass(core, plate, grade),
        grade,
        core,
    )


def _mass(core: Core, plate: Lamination | None, grade: Steel | None) -> float | None:
    """The area of a lamination times stack, stacking factor and density."""
    if core.mass_kg is not None:
        return float(core.mass_kg)
    if plate is None or core.stack_mm is None or grade is None:
        return None
    volume = plate.sheet_mm2 * core.stack_mm * core.stack_factor
    return float(volume * grade.density / 10**6)


def _or_none(value: object) -> float | None:
    return None if value is None else float(value)  # type: ignore[arg-type]
