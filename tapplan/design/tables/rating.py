"""What the stage is made of, and what drives or loads it beside the mains: iron, copper, coils, feeds, fuse."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.design.names import Name
from tapplan.design.numbers import Celsius, CopperCelsius, NotNegative, Percent, Positive, Range, UnitFraction

# Current density in A/mm2 and share of bare copper in a window where a design gives none; common practice, no source.
DEFAULT_DENSITY = Fraction(3)
DEFAULT_FILL = Fraction(35, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class Core:
    """The iron of one core, and what it may carry.

    `lamination` with `stack_mm` gives area, window, path and mean turn; figures given outright go before them.
    `area_mm2` is the gross area of the leg, `stack_factor` the iron's share of it. `fill_limit` is the most of the
    window that bare copper may take.
    """

    name: Name = "core"
    lamination: Name | None = None
    stack_mm: Positive | None = None
    area_mm2: Positive | None = None
    stack_factor: UnitFraction = Fraction(1)
    flux_limit_t: Positive | None = None
    grade: Name | None = None
    mass_kg: Positive | None = None
    path_mm: Positive | None = None
    window_mm2: Positive | None = None
    mean_turn_mm: Positive | None = None
    fill_limit: UnitFraction | None = None
    thermal_k_per_w: Positive | None = None
    ambient_c: Celsius = Fraction(40)
    temperature_limit_c: Celsius | None = None

    @property
    def fill(self) -> Fraction:
        """The most of the window that bare copper may take; where not stated, a common practice without source."""
        return DEFAULT_FILL if self.fill_limit is None else self.fill_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Copper:
    """How the wire is chosen: current density, series of sizes, and the temperature of its resistance."""

    density_a_mm2: Positive | None = None
    series: Literal["metric", "awg"] = "metric"
    temperature_c: CopperCelsius = Fraction(75)

    @property
    def density(self) -> Fraction:
        """The most current density; where not stated, a common practice without source."""
        return DEFAULT_DENSITY if self.density_a_mm2 is None else self.density_a_mm2


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilSupply:
    """Where the coils get their volts: a winding, rectified and smoothed (else as it is), and what it can give.

    A coil pulls in from `pick_up_pct` of its rated volts (80: class 1 of IEC 61810-1, from memory).
    """

    winding: Name
    rectified: bool = True
    drop_v: NotNegative = Fraction(14, 10)
    power_w: Positive | None = None
    pick_up_pct: Percent = Fraction(80)


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """Another source that may drive a winding, such as an inverter: RMS volts at the winding, lowest and highest.

    `energised` is the relay state while it runs; left out, it is chosen.
    """

    name: Name
    winding: Name
    volts_v: Range
    energised: tuple[Name, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A battery charged from a winding through a rectifier; its volts are for the whole battery."""

    winding: Name
    float_v: Range
    cyclic_v: Range | None = None
    drop_v: NotNegative = Fraction(14, 10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Protection:
    """The fuse in the line, and the temperature at which a cut-out on the winding opens."""

    fuse_a: Positive | None = None
    fuse_a2s: Positive | None = None
    cutout_c: Celsius | None = None
