"""What can be measured on a stage: under which condition, and which quantity.

Four conditions, from the safest on. `off`: the plug is out, a bench supply drives the coils chosen. `low`: a
small isolated alternating voltage feeds two points through a resistor, a bench supply drives the coils. `line`: it is
on the mains, by way of isolation, a variable supply and a series lamp, and its controller drives the coils.
`battery`: the plug is out and the stage runs from its battery, its controller driving the coils.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.control.lookup import Approach

Power = Literal["off", "low", "line", "battery"]
What = Literal[
    "volts",
    "ohms",
    "coil-ohms",
    "part-ohms",
    "click",
    "drive",
    "chatter",
    "lamp",
    "current",
    "switch",
    "rail",
    "ripple",
    "battery",
]
EFFORT: dict[Power, int] = {"off": 1, "low": 2, "line": 4, "battery": 3}  # common practice, no source
ALLOWED: dict[Power, tuple[What, ...]] = {
    "off": ("ohms", "coil-ohms", "part-ohms", "click", "battery"),
    "low": ("volts", "current", "lamp"),
    "line": ("volts", "drive", "chatter", "lamp", "switch", "rail", "ripple", "battery"),
    "battery": ("volts", "drive", "rail", "battery"),
}
YES_NO: tuple[What, ...] = ("click", "drive", "chatter", "lamp")
UNITS: dict[What, str] = {
    "volts": "V",
    "ohms": "ohm",
    "coil-ohms": "ohm",
    "part-ohms": "ohm",
    "current": "A",
    "switch": "V",
    "rail": "V",
    "ripple": "V",
    "battery": "V",
}
PARTS = ("fuse", "cut-out", "suppressor")  # in the line, whatever the design: read with one end off the board
RESISTORS = tuple(map(Fraction, (22, 47, 150)))
MOST_BURNT_W = 5


@dataclass(frozen=True, slots=True)
class Condition:
    """How the stage stands while something is measured.

    `coils` are those a bench supply drives; None on the line and on battery, where the controller does. `fed` are the
    two points fed with `volts`, on the line its terminals; a small source through `ohm`, None for `resistor` of its
    volts. `course`: how the line came to its volts.
    """

    power: Power
    coils: frozenset[str] | None = None
    fed: tuple[str, str] | None = None
    volts: Fraction | None = None
    course: Approach | Literal["start"] | None = None
    ohm: Fraction | None = None


def resistor(volts: Fraction) -> Fraction:
    """Ohms through which a small source feeds: of the series E12, so that a dead short burns at most 5 W in them."""
    return next((ohm for ohm in RESISTORS if volts**2 <= MOST_BURNT_W * ohm), RESISTORS[-1])


@dataclass(frozen=True, slots=True)
class Measure:
    """A quantity under a condition: volts or ohms between two points, or something of one relay or part.

    `switch` is the line volts at which the coils change from band `at[0]` to band `at[1]`; `lamp` whether the
    series lamp is bright (a small source: whether it is pulled down); `current` what a small source gives; `rail`
    the direct volts that feed the coils, `ripple` the alternating volts on them; `battery` the volts of the battery.
    """

    condition: Condition
    what: What
    at: tuple[str, ...] = ()

    @property
    def effort(self) -> int:
        """How much it costs to make."""
        return EFFORT[self.condition.power]

    @property
    def unit(self) -> str:
        """The unit of its readings, "" for yes or no."""
        return UNITS.get(self.what, "")


def lug(point: str) -> str:
    """The name of a winding's own end at a point, before any lead."""
    return f"lug {point}"
