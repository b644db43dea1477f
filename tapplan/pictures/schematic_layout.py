"""Where everything of the schematic stands: line left, output right, in strips no wider than a sheet."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from tapplan.network.circuit import Circuit
from tapplan.pictures.letters import letters
from tapplan.pictures.schematic_columns import columns_of
from tapplan.pictures.schematic_heights import Heights
from tapplan.pictures.schematic_parts import parts_of
from tapplan.pictures.schematic_placed import (
    GRID,
    THROW,
    PlacedPole,
    PlacedStack,
    PlacedTerminal,
    SchematicLayout,
    tap_name,
    winding_width,
)

SHEET = 1120  # how wide a strip may be
BEFORE = 110  # free at the left of a strip that goes on from the one above
LOOSE_APART = 150  # between windings that no contact reaches


def layout_of(circuit: Circuit, room: int = 0) -> SchematicLayout:
    """The places of all poles, windings and terminals; `room` is how many more uprights fit between two columns."""
    parts = parts_of(circuit)
    heights = Heights(circuit, parts, columns_of(circuit, parts))
    heights.settle()
    return _placed(heights, room)


def _placed(heights: Heights, room: int) -> SchematicLayout:
    """The same with a place across for every column, in as many strips as its width needs."""
    columns = heights.columns
    strips = _strips(heights, room)
    poles = tuple(
        PlacedPole(
            one,
            strips.x(columns.poles[n]),
            strips.y(columns.poles[n], heights.pole_y[n]),
            heights.faces[n],
            heights.nc_side[n],
            heights.coil[n],
        )
        for n, one in enumerate(heights.poles)
    )
    stacks = [
        PlacedStack(
            one,
            strips.x(columns.stacks[n]),
            tuple(strips.y(columns.stacks[n], heights.tap_y[n, place]) for place in range(len(one.points))),
            loose=False,
        )
        for n, one in enumerate(heights.stacks)
        if n not in columns.loose
    ]
    terminals = tuple(
        PlacedTerminal(point, strips.edge if side > 0 else 0, strips.y(heights.column_of(point, side), y), side)
        for (point, side), y in heights.terminal_y.items()
    )
    low = max([y for one in stacks for y in one.ys] + [one.y + 60 for one in poles] + [one.y for one in terminals])
    return SchematicLayout(poles, (*stacks, *_loose(heights, stacks[0].x, low + 50)), terminals)


def _loose(heights: Heights, x: int, top: int) -> list[PlacedStack]:
    """Windings that no contact reaches, below all else and side by side."""
    found = []
    for n in sorted(heights.columns.loose):
        heights.hang(n, top)
        stack = heights.stacks[n]
        ys = tuple(heights.tap_y[n, place] for place in range(len(stack.points)))
        found.append(PlacedStack(stack, x, ys, loose=True))
        x += LOOSE_APART
    return found


@dataclass(frozen=True, slots=True)
class _Strips:
    """Where each column stands, and by how much its strip is moved left and down."""

    centres: dict[int, int]
    strip: dict[int, int]
    left: tuple[int, ...]
    down: tuple[int, ...]
    edge: int

    def x(self, column: int) -> int:
        """The place across of a column in its strip."""
        return self.centres[column] - self.left[self.strip[column]]

    def y(self, column: int, height: int) -> int:
        """A height in the strip of a column."""
        return height + self.down[self.strip[column]]


def _strips(heights: Heights, room: int) -> _Strips:
    """Columns from left to right; what is wider than a sheet goes on below, from a winding on."""
    centres, begins = _across(heights, room)
    count = heights.columns.count
    wide = begins[count]
    strips = -(-wide // SHEET)
    stacked = {one for n, one in enumerate(heights.columns.stacks) if n not in heights.columns.loose}
    strip: dict[int, int] = {}
    here = 0
    for column in range(count):
        due = begins[column] >= (here + 1) * wide / strips - 40
        if due and column in stacked:
            here += 1
        strip[column] = here
    firsts = [next(one for one in range(count) if strip[one] == n) for n in range(here + 1)]
    left = tuple(0 if one == 0 else begins[one] - BEFORE for one in firsts)
    ends = [begins[one] - left[strip[one - 1]] for one in [*firsts[1:], count]]
    return _Strips(centres, strip, left, _down(heights, strip), max(ends) + 50)


def _down(heights: Heights, strip: dict[int, int]) -> tuple[int, ...]:
    """How far each strip is moved down to stand below the one before it."""
    columns = heights.columns
    levels: list[list[int]] = [[] for _ in range(max(strip.values(), default=0) + 1)]
    for n, y in heights.pole_y.items():
        levels[strip[columns.poles[n]]] += [y - 70, y + 70]
    for (n, _), y in heights.tap_y.items():
        if n not in columns.loose:
            levels[strip[columns.stacks[n]]] += [y - 20, y + 20]
    down = [0]
    for before, after in pairwise(levels):
        down.append(max(before) + down[-1] + 10 - min(after))
    return tuple(down)


def _across(heights: Heights, room: int) -> list[dict[int, int]]:
    """Where each column stands, and where its room begins; the count stands for the end."""
    columns = heights.columns
    centres, begins = {}, {}
    x = 70
    for column in range(columns.count):
        begins[column] = x
        stacks = [n for n, one in enumerate(columns.stacks) if one == column and n not in columns.loose]
        left = right = THROW
        if stacks:
            left = GRID * -(-int(_left_room(heights, stacks)) // GRID)
            right = GRID * -(-int(_right_room(heights, stacks)) // GRID)
        x += left
        centres[column] = x
        x += right + GRID * (_tracks(heights, column) + 1 + room)
    begins[columns.count] = x
    return [centres, begins]


def _left_room(heights: Heights, stacks: list[int]) -> float:
    """What the names left of windings need."""
    return max(winding_width(heights.circuit, n) for k in stacks for n in heights.stacks[k].sections) + 18


def _right_room(heights: Heights, stacks: list[int]) -> float:
    """What the names of taps right of windings need."""
    taps = [point for k in stacks for point in heights.stacks[k].points if point not in heights.circuit.terminals]
    return max((letters("small").wide(tap_name(heights.circuit, one)) for one in taps), default=0) + 20


def _tracks(heights: Heights, column: int) -> int:
    """How many uprights may be wanted between a column and the next."""
    nets = set()
    for n, pole in enumerate(heights.poles):
        side = heights.faces[n]
        ends = [heights.circuit.contacts[one].end for one in pole.contacts]
        if heights.columns.poles[n] == column:
            nets |= {pole.com} if side > 0 else set(ends)
        elif heights.columns.poles[n] == column + 1:
            nets |= {pole.com} if side < 0 else set(ends)
    return min(max(len(nets), 2), 8) if nets else 1
