"""How high the parts of a schematic stand: solved from the main winding outward, then pushed apart.

A pole stands where its throws meet the taps they choose between, or straight before its tap when the other throw
leads on in a chain; then all is pushed down just as far as rails that pass a column, and the symbols in it, need.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapplan.network.circuit import Circuit
from tapplan.pictures.schematic_columns import Columns, pole_along
from tapplan.pictures.schematic_parts import DrawnPole, SchematicParts, Standings
from tapplan.pictures.schematic_placed import GRID, THROW

PITCH, MAIN_PITCH = 40, 60  # between the ends of a winding; of the one with the most turns
ENOUGH = 80  # room for a coil beside its pole
WISHES, ROUNDS = 3, 5


@dataclass(slots=True)
class _Item:
    """Something with a height: where it wants to be, the columns it takes room in, and how much."""

    ideal: int
    columns: range
    above: int
    below: int
    y: int = 0


class Heights:
    """The heights: what each part wishes for, and where it stands when all have room."""

    def __init__(self, circuit: Circuit, parts: SchematicParts, columns: Columns) -> None:
        self.circuit, self.columns = circuit, columns
        self.poles, self.stacks, at = parts.poles, parts.stacks, parts.at
        poles = self.poles
        self.faces = [_faces(circuit, one, at) for one in poles]
        self.nc_side = [-1] * len(poles)
        self.first = {next(n for n, one in enumerate(poles) if one.relay == k) for k in {one.relay for one in poles}}
        self.coil = [-1 if n in self.first else 0 for n in range(len(poles))]
        self.tap_wish: dict[tuple[int, int], int] = {}
        self.tap_y: dict[tuple[int, int], int] = {}
        self.pole_wish: dict[int, int] = {}
        self.pole_y: dict[int, int] = {}
        self.terminal_y: dict[tuple[int, int], int] = {}
        self.hang(0, 0)

    def column_of(self, point: int, side: int) -> int:
        """The column in whose strip a terminal of this point stands."""
        wound = [self.columns.stacks[n] for n, _ in self.tap_y if point in self.stacks[n].points]
        met = [
            self.columns.poles[n]
            for n, one in enumerate(self.poles)
            if point in (one.com, *(self.circuit.contacts[k].end for k in one.contacts))
        ]
        return wound[0] if wound else (max if side > 0 else min)(met, default=0)

    def hang(self, number: int, top: int) -> None:
        """Lets a stack wish for the heights that it has alone, from its top down."""
        stack = self.stacks[number]
        most = max(abs(one.turns) for one in self.circuit.sections)
        y = top
        for place in range(len(stack.points)):
            self.tap_wish[number, place] = self.tap_y[number, place] = y
            if place < len(stack.sections):
                y += MAIN_PITCH if abs(self.circuit.sections[stack.sections[place]].turns) == most else PITCH

    def settle(self) -> None:
        """All wishes and all room given; poles are asked a few times only, so that none drives another on."""
        for again in range(ROUNDS):
            if again < WISHES:
                self._wish()
                self._coils()
            self._push()

    def _outward(self) -> list[int]:
        """Poles and stacks (after the poles) from the main stack outward."""
        middle = self.columns.stacks[0]
        column = [*self.columns.poles, *self.columns.stacks]
        loose = {len(self.poles) + n for n in self.columns.loose}
        parts = [n for n in range(len(column)) if n != len(self.poles) and n not in loose]
        return sorted(parts, key=lambda n: (abs(column[n] - middle), n))

    def _wish(self) -> None:
        for part in self._outward():
            if part < len(self.poles):
                self._wish_pole(part)
                self.pole_wish[part] = self.pole_y[part]
            else:
                self._wish_stack(part - len(self.poles))

    def known(self, point: int, but: int) -> list[int]:
        """Heights at which a point is met: at its windings, else at the poles placed, one of them left out."""
        wound = [self.tap_y[n, k] for n, k in self.tap_y if self.stacks[n].points[k] == point]
        if wound:
            return wound
        return [
            y
            for n, here in self.pole_y.items()
            if n != but
            for other, y in [(self.poles[n].com, here), *self._throws(n)]
            if other == point
        ]

    def _throws(self, number: int) -> list[tuple[int, int]]:
        here, pole = self.pole_y[number], self.poles[number]
        ends = [self.circuit.contacts[one].end for one in pole.contacts]
        if len(ends) == 1:
            return [(ends[0], here)]
        side = self.nc_side[number]
        return [(ends[0], here + THROW * side), (ends[1], here - THROW * side)]

    def _wish_pole(self, number: int) -> None:
        pole = self.poles[number]
        wound = {point for n, one in enumerate(self.stacks) if (n, 0) in self.tap_y for point in one.points}
        ends = [self.circuit.contacts[one].end for one in pole.contacts]
        met = [self.known(end, number) for end in ends]
        coms = self.known(pole.com, number)
        if len(ends) == 1:
            found = met[0] or coms
            self.pole_y[number] = _mean(found) if found else 0
            return
        if all(met):
            self.nc_side[number] = -1 if _mean(met[0]) <= _mean(met[1]) else 1
        fixed = [end in wound for end in ends]
        side = [self.nc_side[number], -self.nc_side[number]]
        if all(met) and fixed[0] == fixed[1]:
            self.pole_y[number] = _round((_mean(met[0]) + _mean(met[1])) / 2)
        elif any(met):
            straight = next((n for n in (0, 1) if met[n] and fixed[n]), 0 if met[0] else 1)
            self.pole_y[number] = _mean(met[straight]) - THROW * side[straight]
        else:
            self.pole_y[number] = _mean(coms) if coms else 0

    def _wish_stack(self, number: int) -> None:
        """So that its points stand at the heights at which poles already placed meet them."""
        stack = self.stacks[number]
        self.hang(number, 0)
        offsets = []
        for place, point in enumerate(stack.points):
            here = self.tap_y.pop((number, place))
            offsets += [y - here for y in self.known(point, -1)]
        self.hang(number, _mean(offsets) if offsets else 0)

    def _reach(self, point: int, column: int) -> range:
        """The columns between which a tap's rail runs from its own column, the ends left out but its own."""
        columns = [column]
        for n, pole in enumerate(self.poles):
            if point in (pole.com, *(self.circuit.contacts[one].end for one in pole.contacts)):
                here = self.columns.poles[n]
                columns.append(here - 1 if here > column else here + 1 if here < column else here)
        if point in (self.circuit.line, self.circuit.neutral):
            columns.append(0)
        if point in (self.circuit.output, self.circuit.neutral):
            columns.append(self.columns.count - 1)
        return range(min(columns), max(columns) + 1)

    def _coils(self) -> None:
        """Each coil on the side with more room; where both have enough, away from where the common wire leads."""
        for n in self.first:
            y = self.pole_y[n]
            levels = self._passing(n)
            above = min([ENOUGH, *(y - level for level in levels if level < y)])
            below = min([ENOUGH, *(level - y for level in levels if level >= y)])
            coms = self.known(self.poles[n].com, n)
            self.coil[n] = 1 if below > above or (below == above and coms and _mean(coms) < y) else -1

    def _passing(self, number: int) -> list[int]:
        """The heights of what else is in a pole's column: rails that pass, and other poles."""
        column = self.columns.poles[number]
        rails = [
            y
            for (n, place), y in self.tap_y.items()
            if column in self._reach(self.stacks[n].points[place], self.columns.stacks[n])
        ]
        return rails + [y for n, y in self.pole_y.items() if n != number and self.columns.poles[n] == column]

    def _items(self) -> list[_Item]:
        found = []
        self.keys: list[tuple[str, int, int]] = []
        for n, place in self.tap_y:
            reach = self._reach(self.stacks[n].points[place], self.columns.stacks[n])
            found.append(_Item(self.tap_wish[n, place], reach, 10, 0))
            self.keys.append(("tap", n, place))
        for n, y in self.pole_wish.items():
            above, below = (60 if self.coil[n] == side else 30 for side in (-1, 1))
            found.append(_Item(y, range(self.columns.poles[n], self.columns.poles[n] + 1), above, below))
            self.keys.append(("pole", n, 0))
        for (point, side), y in self._terminals().items():
            column = -1 if side < 0 else self.columns.count
            found.append(_Item(y, range(column, column + 1), 20, 10))
            self.keys.append(("terminal", point, side))
        return found

    def _terminals(self) -> dict[tuple[int, int], int]:
        circuit = self.circuit
        sides = [(circuit.line, -1), (circuit.neutral, -1), (circuit.output, 1), (circuit.neutral, 1)]
        return {one: _mean(self.known(one[0], -1) or [0]) for one in sides}

    def _push(self) -> None:
        """From the top down, each as high as it wants to be and no nearer to another than both have room."""
        items = self._items()
        order = sorted(range(len(items)), key=lambda n: (items[n].ideal, self.keys[n]))
        for place, n in enumerate(order):
            one = items[n]
            one.y = one.ideal
            for k in order[:place]:
                other = items[k]
                if range(max(one.columns[0], other.columns[0]), min(one.columns[-1], other.columns[-1]) + 1):
                    one.y = max(one.y, other.y + self._apart(k, n, other.below + GRID + one.above))
        for n, (kind, number, place) in enumerate(self.keys):
            if kind == "tap":
                self.tap_y[number, place] = items[n].y
            elif kind == "pole":
                self.pole_y[number] = items[n].y
            else:
                self.terminal_y[number, place] = items[n].y

    def _apart(self, upper: int, lower: int, room: int) -> int:
        one, two = self.keys[upper], self.keys[lower]
        if one[0] == two[0] == "tap":
            return PITCH if one[1] == two[1] else 2 * GRID
        return room


def _faces(circuit: Circuit, pole: DrawnPole, at: Standings) -> int:
    """On which side of a pole its common end is: where it leads on to."""
    return 1 if at.along[pole.com] >= pole_along(circuit, pole, at) else -1


def _mean(found: Sequence[int]) -> int:
    return _round(sum(found) / len(found))


def _round(value: float) -> int:
    return GRID * round(value / GRID)
