"""What is placed in a schematic, and where: poles, stacks of windings, terminals, on a grid of ten units."""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.network.circuit import Circuit
from tapplan.pictures.letters import letters
from tapplan.pictures.schematic_parts import DrawnPole, Stack

GRID = 10
THROW = 20  # from a pole's middle up and down to its throws, and aside to its ends
COIL = 50  # from a pole's middle to the middle of its relay's coil
COIL_WIDE, COIL_HIGH = 44, 18
LINK = 30  # from a pole's middle to where a linkage from another pole meets it
WINDING_ROOM, TAP_ROOM, TERMINAL_ROOM = 80, 64, 92  # the most that a name may take


@dataclass(frozen=True, slots=True)
class PlacedPole:
    """A pole's middle; `faces` is 1 with its common end on the right, -1 on the left, `coil` -1 above, 1 below."""

    pole: DrawnPole
    x: int
    y: int
    faces: int
    nc_side: int
    coil: int

    def throw_y(self, throw: str) -> int:
        """The height at which a throw's wire begins."""
        if len(self.pole.contacts) == 1:
            return self.y
        return self.y + THROW * (self.nc_side if throw == "nc" else -self.nc_side)


@dataclass(frozen=True, slots=True)
class PlacedStack:
    """A stack of windings: its upright, the height of each of its points, and whether no contact reaches it."""

    stack: Stack
    x: int
    ys: tuple[int, ...]
    loose: bool


@dataclass(frozen=True, slots=True)
class PlacedTerminal:
    """A terminal's circle: at the left edge (`side` -1) or at the right one (1)."""

    point: int
    x: int
    y: int
    side: int


@dataclass(frozen=True, slots=True)
class SchematicLayout:
    """All that is placed before wires are drawn."""

    poles: tuple[PlacedPole, ...]
    stacks: tuple[PlacedStack, ...]
    terminals: tuple[PlacedTerminal, ...]


def winding_texts(circuit: Circuit, number: int) -> list[str]:
    """What stands beside a winding, line by line: its name, its turns."""
    return [letters("small").cut(circuit.sections[number].name, WINDING_ROOM), turns_told(circuit, number)]


def winding_width(circuit: Circuit, number: int) -> float:
    """How wide the texts beside a winding are."""
    return max(letters("small").wide(text) for text in winding_texts(circuit, number))


def tap_name(circuit: Circuit, point: int) -> str:
    """A point's name as it stands beside a winding."""
    return letters("small").cut(circuit.points[point], TAP_ROOM)


def terminal_name(circuit: Circuit, point: int) -> str:
    """A terminal's name as it stands over its circle."""
    return letters("terminal-name").cut(circuit.points[point], TERMINAL_ROOM)


def turns_told(circuit: Circuit, number: int) -> str:
    """A winding's turns in words."""
    turns = float(abs(circuit.sections[number].turns) * circuit.turn_unit)
    return f"{turns:g} turn{'' if turns == 1 else 's'}"
