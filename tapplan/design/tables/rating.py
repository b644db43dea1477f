"""What the stage is made of, and what drives or loads it beside the mains: iron, copper, coils, feeds, fuse."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from tapplan.design.enamel import EnamelGrade
from tapplan.design.marks import Says
from tapplan.design.names import Name
from tapplan.design.numbers import Celsius, CopperCelsius, NotNegative, Percent, Positive, Range, Sides, UnitFraction

Charger = Literal["step-down", "boost"]

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

    name: Annotated[Name, Says("The core that is described, as windings name it.", example='"core"')] = "core"
    lamination: Annotated[
        Name | None,
        Says(
            "A lamination by its name; with `stack_mm` it gives area, window, path and mean turn.",
            example='"EI 150N"',
            default="none: what is known is stated key by key",
        ),
    ] = None
    stack_mm: Annotated[
        Positive | None,
        Says("How high the laminations are stacked.", unit="mm", example="45", default="needed beside `lamination`"),
    ] = None
    area_mm2: Annotated[
        Positive | None,
        Says(
            "The gross area of the leg on which the windings sit.",
            unit="mm2",
            example="2250",
            default="that of `lamination` and `stack_mm`",
            instead="what `lamination` and `stack_mm` give",
        ),
    ] = None
    stack_factor: Annotated[UnitFraction, Says("The share of iron in the gross area.", example="0.96")] = Fraction(1)
    flux_limit_t: Annotated[
        Positive | None,
        Says(
            "The highest peak flux density that is allowed.",
            unit="T",
            place="in the core",
            example="1.4",
            default="no verdict on it",
        ),
    ] = None
    grade: Annotated[
        Name | None,
        Says(
            "A grade of steel by its name: it gives the loss, and where open data are known the magnetising current.",
            example='"M400-50A"',
            default="no loss is worked out",
        ),
    ] = None
    mass_kg: Annotated[
        Positive | None,
        Says(
            "The mass of the iron.",
            unit="kg",
            example="5.2",
            default="that of the stack, where `lamination` and `grade` are known",
            instead="what `lamination` and `stack_mm` give",
        ),
    ] = None
    path_mm: Annotated[
        Positive | None,
        Says(
            "The mean length of the magnetic path.",
            unit="mm",
            example="300",
            default="that of `lamination`",
            instead="what `lamination` and `stack_mm` give",
        ),
    ] = None
    window_mm2: Annotated[
        Positive | None,
        Says(
            "The area of the window for the copper.",
            unit="mm2",
            example="1875",
            default="that of `lamination`",
            instead="what `lamination` and `stack_mm` give",
        ),
    ] = None
    window_mm: Annotated[
        Sides | None,
        Says(
            "One window: its width, outward from the limb, and its height along it; for the layers.",
            unit="mm",
            example="[25, 75]",
            default="that of `lamination`",
            instead="what `lamination` and `stack_mm` give",
        ),
    ] = None
    leg_mm: Annotated[
        Positive | None,
        Says(
            "The width of the limb on which the windings sit; with `stack_mm` what a layer goes round.",
            unit="mm",
            example="50",
            default="that of `lamination`",
            instead="what `lamination` and `stack_mm` give",
        ),
    ] = None
    mean_turn_mm: Annotated[
        Positive | None,
        Says(
            "The mean length of one turn.",
            unit="mm",
            example="270",
            default="that of `lamination` and `stack_mm`",
            instead="what `lamination` and `stack_mm` give",
        ),
    ] = None
    fill_limit: Annotated[
        UnitFraction | None,
        Says(
            "The largest share of the window that bare copper may take.",
            example="0.4",
            default=f"{float(DEFAULT_FILL):g} (common practice, no source), and passing it is only a warning",
        ),
    ] = None
    thermal_k_per_w: Annotated[
        Positive | None,
        Says(
            "How far the winding warms for each watt lost in copper and iron.",
            unit="K/W",
            example="2.2",
            default="no temperature is estimated",
        ),
    ] = None
    ambient_c: Annotated[
        Celsius, Says("The temperature of the air around.", unit="degrees Celsius", example="40")
    ] = Fraction(40)
    temperature_limit_c: Annotated[
        Celsius | None,
        Says(
            "The highest temperature that the winding may have.",
            unit="degrees Celsius",
            example="105",
            default="no verdict on it",
        ),
    ] = None

    @property
    def fill(self) -> Fraction:
        """The most of the window that bare copper may take; where not stated, a common practice without source."""
        return DEFAULT_FILL if self.fill_limit is None else self.fill_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Copper:
    """How the wire is chosen: current density, series of sizes, and the temperature of its resistance."""

    density_a_mm2: Annotated[
        Positive | None,
        Says(
            "The highest current density in the wire.",
            unit="A/mm2",
            example="3.2",
            default=f"{DEFAULT_DENSITY} (common practice, no source), and passing it is only a warning",
        ),
    ] = None
    series: Annotated[
        Literal["metric", "awg"],
        Says(
            "The series from which wires are chosen: preferred metric diameters, or American gauges.",
            example='"metric"',
        ),
    ] = "metric"
    enamel_grade: Annotated[
        EnamelGrade,
        Says("The grade of the enamel on round wire, 1 the thinnest: how thick the wire is over it.", example="2"),
    ] = 2
    thickest_mm: Annotated[
        Positive | None,
        Says(
            "The thickest single wire that is chosen; above it several run side by side.",
            unit="mm",
            example="2",
            default="the thickest of the series",
        ),
    ] = None
    thinnest_mm: Annotated[
        Positive | None,
        Says(
            "The thinnest wire that is chosen, however small the current.",
            unit="mm",
            example="0.3",
            default="the thinnest of the series",
        ),
    ] = None
    temperature_c: Annotated[
        CopperCelsius,
        Says("The temperature for which the resistance of wire is worked out.", unit="degrees Celsius", example="80"),
    ] = Fraction(75)

    @property
    def density(self) -> Fraction:
        """The most current density; where not stated, a common practice without source."""
        return DEFAULT_DENSITY if self.density_a_mm2 is None else self.density_a_mm2


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilSupply:
    """Where the coils get their volts: a winding, rectified and smoothed (else as it is), and what it can give.

    A coil pulls in from `pick_up_pct` of its rated volts (80: class 1 of IEC 61810-1, from memory).
    """

    winding: Annotated[Name, Says("The winding from which the coils are fed.", example='"coils"')]
    rectified: Annotated[
        bool,
        Says("Whether the winding's volts are rectified and smoothed, so that coils get their peak.", example="true"),
    ] = True
    drop_v: Annotated[
        NotNegative,
        Says("What the rectifier takes of the peak.", unit="V", place="behind the rectifier", example="1.4"),
    ] = Fraction(14, 10)
    power_w: Annotated[
        Positive | None,
        Says(
            "The most that the supply can give.",
            unit="W",
            place="behind the rectifier",
            example="3",
            default="no verdict on it",
        ),
    ] = None
    pick_up_pct: Annotated[
        Percent,
        Says("The share of its rated voltage at which a coil pulls in.", unit="%", place="at the coil", example="80"),
    ] = Fraction(80)


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """Another source that may drive a winding, such as an inverter: RMS volts at the winding, lowest and highest.

    `energised` is the relay state while it runs; left out, it is chosen.
    """

    name: Annotated[Name, Says("The name of the feed; no other feed has it.", example='"inverter"')]
    winding: Annotated[Name, Says("The winding that it drives.", example='"battery"')]
    volts_v: Annotated[
        Range,
        Says("Its lowest and its highest RMS voltage.", unit="V", place="at the winding", example="[21.5, 24.2]"),
    ]
    energised: Annotated[
        tuple[Name, ...] | None,
        Says(
            "The relays that are driven while it runs; all others rest.",
            example="[]",
            default="those of [backup]; without one, a state is chosen",
        ),
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A battery charged from a winding through a rectifier; its volts are for the whole battery."""

    winding: Annotated[
        Name, Says("The winding from which the battery is charged, through a rectifier.", example='"battery"')
    ]
    float_v: Annotated[
        Range,
        Says(
            "The float voltage of the whole battery, lowest and highest.",
            unit="V",
            place="at the battery",
            example="[27.0, 27.6]",
        ),
    ]
    cyclic_v: Annotated[
        Range | None,
        Says(
            "The cyclic voltage of the whole battery, lowest and highest.",
            unit="V",
            place="at the battery",
            example="[28.8, 30.0]",
            default="not shown",
        ),
    ] = None
    drop_v: Annotated[
        NotNegative,
        Says("What the rectifier takes of the peak.", unit="V", place="behind the rectifier", example="1.4"),
    ] = Fraction(14, 10)
    charger: Annotated[
        Charger,
        Says(
            "What makes the battery's volts of the rectified ones: one that only steps down needs at least as many, "
            "one that can boost does not.",
            example='"boost"',
        ),
    ] = "step-down"


@dataclass(frozen=True, slots=True, kw_only=True)
class Protection:
    """The fuse in the line, and the temperature at which a cut-out on the winding opens."""

    fuse_a: Annotated[
        Positive | None,
        Says(
            "The rated current of the fuse in the line.",
            unit="A",
            place="at the inlet",
            example="4",
            default="no verdict on it",
        ),
    ] = None
    fuse_a2s: Annotated[
        Positive | None,
        Says(
            "The melting integral of the fuse.",
            unit="A2s",
            place="at the inlet",
            example="60",
            default="no verdict on inrush; a fault counts as seen from twice `fuse_a`",
        ),
    ] = None
    cutout_c: Annotated[
        Celsius | None,
        Says(
            "The temperature at which a cut-out on the winding opens.",
            unit="degrees Celsius",
            place="at the winding",
            example="120",
            default="no verdict on it",
        ),
    ] = None
