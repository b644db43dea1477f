"""Wires of the schematic: for each net the cheapest tree on a grid, after the method of C. Y. Lee (1961).

Two nets may cross at right angles and share nothing else: where one bends, branches or ends no other passes. Bends,
crossings and wires side by side cost more than length, and so do names; when all nets have their wires, each
that crosses another is taken out and sought again among the others.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

FREE, SOLID = -1, -2
BEND, CROSSING, BESIDE, WORDS = 4.0, 10.0, 1.5, 12.0
PASSES = 2


@dataclass(frozen=True, slots=True)
class Pin:
    """A cell at which a net ends, and the steps by which a wire may leave it."""

    cell: int
    steps: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Net:
    """Pins to be joined; `shy` says what a crossing costs as a share of the usual; the shyest come first."""

    pins: tuple[Pin, ...]
    shy: float = 1.0


@dataclass(slots=True)
class WireGrid:
    """The grid: what runs along each cell and across it, which cells words stand in. A step down is `width`."""

    width: int
    height: int
    along: list[int] = field(init=False)
    across: list[int] = field(init=False)
    words: bytearray = field(init=False)

    def __post_init__(self) -> None:
        size = self.width * self.height
        self.along, self.across, self.words = [FREE] * size, [FREE] * size, bytearray(size)
        for x in range(self.width):
            self.close([x, size - self.width + x])
        for y in range(self.height):
            self.close([y * self.width, (y + 1) * self.width - 1])

    def close(self, cells: Iterable[int]) -> None:
        """Lets nothing through."""
        for cell in cells:
            self.along[cell] = self.across[cell] = SOLID

    def own(self, cell: int, net: int) -> None:
        """Keeps a cell for one net."""
        self.along[cell] = self.across[cell] = net


Joints = frozenset[frozenset[int]]  # pairs of cells side by side that a net joins


class NoRoomError(Exception):
    """A net found no way; the parts stand too close together."""


def routed(grid: WireGrid, nets: Sequence[Net]) -> list[Joints]:
    """The wires of every net.

    Raises:
        NoRoomError: a net finds no way.
    """
    for number, net in enumerate(nets):
        for pin in net.pins:
            grid.own(pin.cell, number)
    found: list[Joints] = [frozenset()] * len(nets)
    order = sorted(range(len(nets)), key=lambda n: (-nets[n].shy, _spread(grid, nets[n]), n))
    for again in range(1 + PASSES):
        for number in order:
            if again and not _crossed(grid, number, found[number]):
                continue
            _taken_out(grid, nets[number], number, found[number])
            found[number] = _tree(grid, nets[number], number)
            _laid(grid, number, found[number])
    return found


def _crossed(grid: WireGrid, number: int, joints: Joints) -> bool:
    """Whether some wires cross those of another net."""
    cells = {cell for pair in joints for cell in pair}
    return any({grid.along[cell], grid.across[cell]} - {FREE, number} for cell in cells)


def _spread(grid: WireGrid, net: Net) -> int:
    xs = [pin.cell % grid.width for pin in net.pins]
    ys = [pin.cell // grid.width for pin in net.pins]
    return max(xs, default=0) - min(xs, default=0) + max(ys, default=0) - min(ys, default=0)


def _steps(joints: Joints) -> dict[int, set[int]]:
    """For every cell of some wires the steps that leave it along them."""
    found: dict[int, set[int]] = {}
    for one in joints:
        low, high = sorted(one)
        found.setdefault(low, set()).add(high - low)
        found.setdefault(high, set()).add(low - high)
    return found


def _laid(grid: WireGrid, number: int, joints: Joints) -> None:
    for cell, steps in _steps(joints).items():
        straight = len(steps) == 2 and sum(steps) == 0
        if not straight:
            grid.own(cell, number)
        elif 1 in steps:
            grid.along[cell] = number
        else:
            grid.across[cell] = number


def _taken_out(grid: WireGrid, net: Net, number: int, joints: Joints) -> None:
    pins = {pin.cell for pin in net.pins}
    for cell in _steps(joints):
        if cell not in pins:
            for lane in (grid.along, grid.across):
                if lane[cell] == number:
                    lane[cell] = FREE


def _tree(grid: WireGrid, net: Net, number: int) -> Joints:
    """Pin after pin, the nearest first, to whatever the net has already."""
    if len(net.pins) < 2:
        return frozenset()
    left = {pin.cell: pin.steps for pin in net.pins[1:]}
    leaving = {net.pins[0].cell: set(net.pins[0].steps)}
    pins = {pin.cell: pin.steps for pin in net.pins}
    found: set[frozenset[int]] = set()
    around = {1, -1, grid.width, -grid.width}
    while left:
        way = _Search(grid, net, number, left).way(leaving)
        del left[way[-1]]
        found |= {frozenset(pair) for pair in pairwise(way)}
        for cell in way:
            leaving[cell] = set(pins.get(cell, around))
    return frozenset(found)


class _Search:
    """The cheapest way from any cell of a tree to any pin: A*, over nodes of a cell and the step that led to it.

    A node is one number, four times the cell and the place of its step among `steps`, of which each even one and
    the next are opposite.
    """

    def __init__(self, grid: WireGrid, net: Net, number: int, goals: dict[int, tuple[int, ...]]) -> None:
        self.grid, self.net, self.number, self.goals = grid, net, number, goals
        self.steps = (1, -1, grid.width, -grid.width)
        self.places = [divmod(cell, grid.width) for cell in goals]
        self.best: dict[int, float] = {}
        self.before: dict[int, int] = {}
        self.queue: list[tuple[float, float, int]] = []

    def way(self, leaving: dict[int, set[int]]) -> list[int]:
        """The cells of the way, from the tree on.

        Raises:
            NoRoomError: there is none.
        """
        for cell, steps in sorted(leaving.items()):
            if self._free(cell):
                for step in sorted(steps):
                    self._offer(4 * cell + self.steps.index(step), 0.0)
        while self.queue:
            _, spent, node = heapq.heappop(self.queue)
            if spent > self.best[node]:
                continue
            cell, place = divmod(node, 4)
            if cell in self.goals and node in self.before:
                if -self.steps[place] in self.goals[cell]:
                    return self._traced(node)
                continue
            self._spread(node, spent)
        raise NoRoomError

    def _free(self, cell: int) -> bool:
        """Whether a wire may bend, begin or branch here."""
        mine = (FREE, self.number)
        return self.grid.along[cell] in mine and self.grid.across[cell] in mine

    def _spread(self, node: int, spent: float) -> None:
        cell, place = divmod(node, 4)
        turns = (place, 2, 3) if place < 2 else (place, 0, 1)
        for turn in turns if node in self.before and self._free(cell) else (place,):
            there = cell + self.steps[turn]
            cost = self._cost(there, self.steps[turn])
            if cost is not None:
                self._offer(4 * there + turn, spent + cost + (0.0 if turn == place else BEND), node)

    def _cost(self, there: int, step: int) -> float | None:
        """What a step into a cell costs, or None where it may not be taken."""
        grid, own = self.grid, (FREE, self.number)
        level = step in (1, -1)
        mine, other = (grid.along, grid.across) if level else (grid.across, grid.along)
        if mine[there] not in own or other[there] == SOLID:
            return None
        cost = 1.0
        if other[there] not in own:
            cost += CROSSING * self.net.shy
        if grid.words[there]:
            cost += WORDS
        for side in (grid.width, -grid.width) if level else (1, -1):
            if mine[there + side] not in own:
                cost += BESIDE
        return cost

    def _offer(self, node: int, spent: float, before: int | None = None) -> None:
        """Keeps a way to a node, if it is the cheapest so far."""
        if spent < self.best.get(node, 1e18):
            self.best[node] = spent
            if before is not None:
                self.before[node] = before
            level, x = divmod(node // 4, self.grid.width)
            ahead = min(abs(x - goal) + abs(level - row) for row, goal in self.places)
            heapq.heappush(self.queue, (spent + ahead, spent, node))

    def _traced(self, node: int) -> list[int]:
        way = [node // 4]
        while (back := self.before.get(node)) is not None:
            node = back
            way.append(node // 4)
        return way[::-1]
