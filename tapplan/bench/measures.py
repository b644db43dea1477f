"""What can be measured on a stage: under which condition, and which quantity.

Four conditions, from the safest on. `off`: the plug is out, a bench supply drives the coils chosen. `low`: a small
isolated alternating voltage feeds two points through a resistor, a bench supply drives the coils. `line`: the stage is
on the mains, by way of isolation, a variable supply and a series lamp, and its controller drives the coils.
`battery`: the plug is out and the stage runs from its battery, its controller driving the coils.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from tapplan.control.lookup import Approach
from tapplan.control.table import ControlTable
from tapplan.network.circuit import Circuit

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
MOST_FORCED = 16  # coil states that are offered under low voltage

# Highest volts between any two points of a stage fed from a small source, whatever is wrong with it: the limit of
# alternating touch voltage in dry conditions, IEC 60364-4-41 (from memory).
TOUCH_V = Fraction(50)
LOW_SOURCES = tuple(
    map(Fraction, ("24", "12", "6", "3", "1", "0.3", "0.1"))
)  # small isolated sources, the largest that is safe is taken


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


def measures(table: ControlTable, low_volts: Fraction) -> list[Measure]:
    """What is worth measuring on a design, the safest first; `low_volts` is the small source."""
    circuit = table.circuit
    return [*_power_off(circuit), *_low_voltage(table, low_volts), *_on_line(table)]


def _power_off(circuit: Circuit) -> Iterator[Measure]:
    rest = Condition("off", frozenset())
    for number, relay in enumerate(circuit.relays):
        drive = Condition("off", frozenset({relay}))
        yield Measure(rest, "coil-ohms", (relay,))
        yield Measure(drive, "click", (relay,))
        for contact in circuit.contacts:
            if contact.relay == number:
                ends = (f"{contact.label.rpartition('.')[0]}.com", contact.label)
                yield Measure(rest, "ohms", ends)
                yield Measure(drive, "ohms", ends)
    for section in circuit.sections:
        yield Measure(rest, "ohms", (lug(circuit.points[section.start]), lug(circuit.points[section.finish])))
    for point, end in _leads(circuit):
        yield Measure(rest, "ohms", (lug(point), end))


def _leads(circuit: Circuit) -> Iterator[tuple[str, str]]:
    """Each winding end that is led out, with a place at the other end of its lead: a terminal or a relay's pin."""
    ends = {end for section in circuit.sections for end in (section.start, section.finish)}
    for point in sorted(ends):
        pins = [contact.label for contact in circuit.contacts if contact.end == point]
        pins += [f"{one.label.rpartition('.')[0]}.com" for one in circuit.contacts if one.com == point]
        places = [circuit.points[point]] if point in circuit.terminals else []
        for place in [*places, *dict.fromkeys(pins)]:
            yield circuit.points[point], place


def _low_voltage(table: ControlTable, volts: Fraction) -> Iterator[Measure]:
    circuit = table.circuit
    line, neutral, output = (circuit.points[end] for end in circuit.terminals)
    for coils in forced_states(table):
        condition = Condition("low", coils, (line, neutral), volts)
        yield Measure(condition, "lamp")
        yield Measure(condition, "volts", (output, neutral))
    rest = Condition("low", frozenset(), (line, neutral), volts)
    for section in circuit.sections:
        yield Measure(rest, "volts", (lug(circuit.points[section.finish]), lug(circuit.points[section.start])))


def forced_states(table: ControlTable) -> list[frozenset[str]]:
    """The coil states in which a small source is used: those of the bands, none, and each relay alone."""
    states = [frozenset(row.energised) for row in table.rows]
    states += [frozenset(), *(frozenset({relay}) for relay in table.circuit.relays)]
    return list(dict.fromkeys(states))[:MOST_FORCED]


def _on_line(table: ControlTable) -> Iterator[Measure]:
    circuit = table.circuit
    _, neutral, output = (circuit.points[end] for end in circuit.terminals)
    mains = table.design.mains.span
    for row in table.rows:
        inside = row.input_hold.meet(mains) if row.input_hold is not None else None
        if inside is None:
            continue
        middle = Fraction(round((inside.low + inside.high) / 2))
        volts = middle if middle in inside else (inside.low + inside.high) / 2
        condition = Condition("line", None, None, volts, "rising")
        yield Measure(condition, "lamp")
        yield Measure(condition, "volts", (output, neutral))
        for relay in circuit.relays:
            yield Measure(condition, "drive", (relay,))
    for below, above in pairwise(table.rows):
        yield Measure(Condition("line", course="rising"), "switch", (below.name, above.name))
    for above, below in pairwise(reversed(table.rows)):
        yield Measure(Condition("line", course="falling"), "switch", (above.name, below.name))
