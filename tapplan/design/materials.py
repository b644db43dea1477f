"""Published data of materials: copper, wire, laminations and steel, each with its source and how sure we are of it.

The standards' own texts were not at hand (see `standards`): "quoted" was read in a public text that quotes the
source, "by name" follows from the grade's own name, "memory" is to be confirmed before it is leant on.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.design.limb import HALF_CIRCLE

# Copper, IEC 60028:1925 (memory, high): 1/58 ohm mm2/m at 20 C, 0.00393 per kelvin, 8.89 kg/dm3.
COPPER_OHM_MM2_PER_M = Fraction(1, 58)
COPPER_PER_K = Fraction(393, 100_000)
COPPER_KG_PER_DM3 = Fraction(889, 100)

# Preferred bare diameters in mm, series R20 of the round winding wire standards (memory, high).
_R20 = ("1", "1.12", "1.25", "1.4", "1.6", "1.8", "2", "2.24", "2.5", "2.8", "3.15", "3.55", "4", "4.5", "5", "5.6",
        "6.3", "7.1", "8", "9")  # fmt: skip
METRIC_MM = (*(Fraction(step) / 10 for step in _R20), *(Fraction(step) for step in _R20[:15]))
AWG = tuple(range(-3, 41))  # 4/0 (written -3) to 40


def awg_mm(gauge: int) -> float:
    """Bare diameter in mm: 0.127 x 92^((36 - n)/39) (ASTM B258, quoted); 4/0 is n = -3."""
    return float(0.127 * 92 ** ((36 - gauge) / 39))


def awg_name(gauge: int) -> str:
    """The gauge as the trade writes it: 4/0, 3/0, 2/0, 1/0, 1, 2, ..."""
    return f"AWG {1 - gauge}/0" if gauge <= 0 else f"AWG {gauge}"


@dataclass(frozen=True, slots=True)
class Lamination:
    """One EI lamination, in millimetres: centre leg, one window, length of the magnetic path."""

    key: str
    leg_mm: Fraction
    window_mm: tuple[Fraction, Fraction]
    path_mm: Fraction
    seen: str

    @property
    def window_mm2(self) -> Fraction:
        """The area of one window, which is what a coil on the centre leg has."""
        return self.window_mm[0] * self.window_mm[1]

    @property
    def sheet_mm2(self) -> Fraction:
        """The area of one E with its I: what they span, 2 (leg + width) by height + leg, less both windows."""
        wide, high = self.window_mm
        return 2 * (self.leg_mm + wide) * (high + self.leg_mm) - 2 * wide * high


def _wasteless(size: int) -> Lamination:
    """Where the I is punched from the window: leg a/3, window a/6 by a/2, path 2a (IEC 60740-1, by closure)."""
    a = Fraction(size)
    return Lamination(
        f"EI {size}", a / 3, (a / 6, a / 2), 2 * a, "by closure, cross-checked with a public core table"
    )


def _large_window(size: int, leg: int, window: str) -> Lamination:
    """The larger-window series; its path goes round both: 2 (window height + width) + pi/2 leg (own estimate)."""
    wide, high = (Fraction(side) for side in window.split(" x "))
    path = 2 * (wide + high) + HALF_CIRCLE / 2 * leg
    return Lamination(f"EI {size}", Fraction(leg), (wide, high), path, "memory, medium")


LAMINATIONS: tuple[Lamination, ...] = (
    *(_wasteless(size) for size in (30, 42, 48, 54, 60, 66, 78, 84, 96, 105, 108, 120)),
    Lamination(
        "EI 150N", Fraction(50), (Fraction(25), Fraction(75)), Fraction(300), "by closure, cross-checked as above"
    ),
    _large_window(106, 29, "24 x 56"),
    _large_window(130, 35, "30 x 70"),
    _large_window(150, 40, "35 x 80"),
    _large_window(170, 45, "40 x 95"),
    _large_window(195, 55, "42.5 x 112.5"),
    _large_window(231, 65, "50.5 x 138"),
)


@dataclass(frozen=True, slots=True)
class Steel:
    """A grade: guaranteed loss in W/kg at `rated_t` tesla and 50 Hz, density in kg/dm3, and field strengths.

    `field` pairs tesla with A/m where an open data set gives them; empty elsewhere.
    """

    key: str
    loss_w_kg: Fraction
    rated_t: Fraction
    density: Fraction
    field: tuple[tuple[Fraction, Fraction], ...] = ()


def _steels(density: str, *keys: str) -> tuple[Steel, ...]:
    """Non-oriented grades: M(100 x W/kg at 1.5 T)-(100 x mm)A, by their names (EN 10106:2015)."""
    return tuple(
        Steel(key, Fraction(key[1:].split("-")[0]) / 100, Fraction(3, 2), Fraction(density), _FIELDS.get(key, ()))
        for key in keys
    )


def _field(first: str, *amperes: int) -> tuple[tuple[Fraction, Fraction], ...]:
    return tuple((Fraction(first) + Fraction(step, 10), Fraction(value)) for step, value in enumerate(amperes))


# Modelica Standard Library (BSD-3), Magnetic.FluxTubes.Material.SoftMagnetic, 50 Hz, 0.5 to 1.9 T in steps of 0.1 T.
_FIELDS = {
    "M330-50A": _field("0.5", 53, 60, 69, 79, 93, 112, 141, 192, 313, 698, 1932, 4284, 7750, 13318, 19610),
    "M400-50A": _field("0.5", 75, 84, 93, 104, 117, 134, 159, 199, 282, 505, 1284, 3343, 6787, 11712, 19044),
}

STEELS: tuple[Steel, ...] = (
    *_steels("7.6", "M230-50A", "M250-50A", "M270-50A", "M290-50A", "M235-35A", "M270-35A"),
    *_steels("7.65", "M310-50A", "M330-50A", "M350-50A", "M330-35A", "M350-65A"),
    *_steels("7.7", "M400-50A", "M470-50A", "M530-50A", "M530-65A"),
    *_steels("7.75", "M600-50A"),
    *_steels("7.8", "M700-50A", "M800-50A", "M800-65A"),
    *_steels("7.85", "M940-50A", "M1000-65A"),
    Steel("M140-30S", Fraction(140, 100), Fraction(17, 10), Fraction(765, 100)),
    Steel("M150-35S", Fraction(150, 100), Fraction(17, 10), Fraction(765, 100)),
    Steel("M105-30P", Fraction(105, 100), Fraction(17, 10), Fraction(765, 100)),
)


def lamination(key: str) -> Lamination | None:
    """The lamination of that name, or None."""
    return next((one for one in LAMINATIONS if one.key == key), None)


def steel(key: str) -> Steel | None:
    """The grade of that name, or None."""
    return next((one for one in STEELS if one.key == key), None)
