"""The wires of a schematic between its placed parts, as straight runs and the dots where they join."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from tapplan.network.circuit import Circuit
from tapplan.pictures.letters import letters
from tapplan.pictures.schematic_layout import layout_of
from tapplan.pictures.schematic_placed import (
    COIL,
    GRID,
    LINK,
    THROW,
    PlacedPole,
    PlacedStack,
    SchematicLayout,
    tap_name,
    terminal_name,
    winding_width,
)
from tapplan.pictures.schematic_routing import Joints, Net, NoRoomError, Pin, WireGrid, routed

AROUND = 80  # free room about all parts
LINK_SHY = 0.3  # crossing a linkage is no riddle
MOST_ROOM = 12
MARGIN = 12  # about the whole sheet


@dataclass(frozen=True, slots=True)
class WireRun:
    """A straight piece of wire, level or upright, from its left or upper end."""

    x: int
    y: int
    to_x: int
    to_y: int

    @property
    def length(self) -> int:
        """From end to end."""
        return self.to_x - self.x + self.to_y - self.y


@dataclass(frozen=True, slots=True)
class Joint:
    """Where three or more pieces of one net meet, or a wire leaves a winding at a tap."""

    x: int
    y: int


@dataclass(frozen=True, slots=True)
class WiredNet:
    """The wires of one net."""

    runs: tuple[WireRun, ...]
    joints: tuple[Joint, ...]


@dataclass(frozen=True, slots=True)
class DrawnWiring:
    """Everything placed, the wires of every point, and the linkage of every relay of several poles."""

    layout: SchematicLayout
    nets: tuple[WiredNet, ...]
    links: dict[int, tuple[WireRun, ...]]
    width: int = 0
    height: int = 0


def wired(circuit: Circuit) -> DrawnWiring:
    """Places the parts and joins them, with more room between the parts until every wire has a way.

    Raises:
        NoRoomError: no way however much room there is.
    """
    for room in range(MOST_ROOM):
        layout = layout_of(circuit, room)
        try:
            return _joined(circuit, layout)
        except NoRoomError:
            if room == MOST_ROOM - 1:
                raise
    raise NoRoomError


@dataclass(frozen=True, slots=True)
class _Frame:
    """From units to cells."""

    left: int
    top: int
    width: int

    def cell(self, x: int, y: int) -> int:
        """The number of the cell at a place."""
        return (y - self.top) // GRID * self.width + (x - self.left) // GRID

    def cells(self, left: int, top: int, right: int, bottom: int) -> list[int]:
        """All cells in a rectangle, its edges included."""
        return [self.cell(x, y) for y in range(top, bottom + 1, GRID) for x in range(left, right + 1, GRID)]


def _joined(circuit: Circuit, layout: SchematicLayout) -> DrawnWiring:
    xs = [one.x for one in layout.poles] + [one.x for one in layout.stacks] + [one.x for one in layout.terminals]
    ys = [one.y for one in layout.poles] + [one.y for one in layout.terminals]
    ys += [y for one in layout.stacks for y in one.ys]
    left, top = min(xs) - AROUND - 40, min(ys) - AROUND - 60
    width, height = (max(xs) - left + AROUND + 40) // GRID, (max(ys) - top + AROUND + 60) // GRID
    frame = _Frame(left, top, width)
    grid = WireGrid(width, height)
    _obstacles(circuit, layout, frame, grid)
    ends: list[list[Pin]] = [[] for _ in circuit.points]
    for pole in layout.poles:
        _pole_pins(circuit, pole, frame, ends)
    for stack in layout.stacks:
        for point, y in zip(stack.stack.points, stack.ys, strict=True):
            ends[point].append(Pin(frame.cell(stack.x, y), (1, -1)))
    for terminal in layout.terminals:
        ends[terminal.point].append(Pin(frame.cell(terminal.x, terminal.y), (-terminal.side,)))
    linked = _link_pins(layout, frame)
    nets = [Net(tuple(one)) for one in ends] + [Net(tuple(one), LINK_SHY) for one in linked.values()]
    found = routed(grid, nets)
    points = len(circuit.points)
    taps = [frame.cell(one.x, y) for one in layout.stacks for y in one.ys[1:-1]]
    tips = [frame.cell(one.x, y) for one in layout.stacks for y in (one.ys[0], one.ys[-1])]
    return DrawnWiring(
        layout,
        tuple(_wired_net(frame, joints, [*taps, *taps, *tips]) for joints in found[:points]),
        {relay: _runs(frame, found[points + n]) for n, relay in enumerate(linked)},
    )


def _obstacles(circuit: Circuit, layout: SchematicLayout, frame: _Frame, grid: WireGrid) -> None:
    for pole in layout.poles:
        grid.close(frame.cells(pole.x - THROW, pole.y - THROW, pole.x + THROW, pole.y + THROW))
        if pole.coil:
            levels = sorted((pole.y + pole.coil * 30, pole.y + pole.coil * (COIL + 10)))
            grid.close(frame.cells(pole.x, levels[0], pole.x, levels[1]))
            levels = sorted((pole.y + pole.coil * (COIL - 10), pole.y + pole.coil * (COIL + 10)))
            grid.close(frame.cells(pole.x - THROW, levels[0], pole.x + THROW, levels[1]))
            _words(grid, frame.cells(pole.x - 30, levels[0], pole.x + 30, levels[1]))
        for side in (-1, 1):
            _words(grid, frame.cells(pole.x - 30, pole.y + side * 30, pole.x + 30, pole.y + side * 30))
    for stack in layout.stacks:
        _stack_obstacles(circuit, stack, frame, grid)
    for one in layout.terminals:
        wide = GRID * int(letters("terminal-name").wide(terminal_name(circuit, one.point)) // GRID)
        left = one.x if one.side < 0 else one.x - wide
        _words(grid, frame.cells(left, one.y - 20, left + wide, one.y - 10))
        _words(grid, frame.cells(left, one.y + 10, left + wide, one.y + 20))


def _stack_obstacles(circuit: Circuit, stack: PlacedStack, frame: _Frame, grid: WireGrid) -> None:
    for place, number in enumerate(stack.stack.sections):
        top, bottom = stack.ys[place], stack.ys[place + 1]
        grid.close(frame.cells(stack.x, top + GRID, stack.x + GRID, bottom - GRID))
        wide = GRID * (1 + int(winding_width(circuit, number) // GRID))
        _words(grid, frame.cells(stack.x - 10 - wide, top + GRID, stack.x - GRID, bottom - GRID))
    for point, y in zip(stack.stack.points, stack.ys, strict=True):
        wide = GRID * (1 + int(letters("small").wide(tap_name(circuit, point)) // GRID))
        _words(grid, frame.cells(stack.x + GRID, y - GRID, stack.x + 10 + wide, y - GRID))


def _words(grid: WireGrid, cells: Iterable[int]) -> None:
    for cell in cells:
        grid.words[cell] = 1


def _pole_pins(circuit: Circuit, pole: PlacedPole, frame: _Frame, ends: list[list[Pin]]) -> None:
    ends[pole.pole.com].append(Pin(frame.cell(pole.x + THROW * pole.faces, pole.y), (pole.faces,)))
    for number in pole.pole.contacts:
        contact = circuit.contacts[number]
        cell = frame.cell(pole.x - THROW * pole.faces, pole.throw_y(contact.throw))
        ends[contact.end].append(Pin(cell, (-pole.faces,)))


def _link_pins(layout: SchematicLayout, frame: _Frame) -> dict[int, list[Pin]]:
    """For relays of several poles: the far side of the pole below the coil, both sides of the others as they lie."""
    found: dict[int, list[Pin]] = {}
    for relay in dict.fromkeys(one.pole.relay for one in layout.poles):
        poles = [one for one in layout.poles if one.pole.relay == relay]
        if len(poles) > 1:
            found[relay] = [
                Pin(frame.cell(one.x, one.y + side * LINK), (side * frame.width,))
                for one in poles
                for side in (link_side(one, poles),)
            ]
    return found


def link_side(pole: PlacedPole, poles: list[PlacedPole]) -> int:
    """On which side (-1 above, 1 below) a pole's linkage to the other poles of its relay leaves it."""
    if pole.coil:
        return -pole.coil
    first = next(one for one in poles if one.coil)
    return -1 if first.y - first.coil * LINK < pole.y else 1


def _wired_net(frame: _Frame, joints: Joints, wound: list[int]) -> WiredNet:
    """Runs and dots; a cell of `wound` has that many pieces of winding on it."""
    degree: dict[int, int] = {}
    for pair in joints:
        for cell in pair:
            degree[cell] = degree.get(cell, 0) + 1
    dots = [cell for cell, count in sorted(degree.items()) if count + wound.count(cell) > 2]
    return WiredNet(
        _runs(frame, joints),
        tuple(Joint(frame.left + cell % frame.width * GRID, frame.top + cell // frame.width * GRID) for cell in dots),
    )


def _runs(frame: _Frame, joints: Joints) -> tuple[WireRun, ...]:
    """Joined cells in one line as one run each."""
    found = []
    for step in (1, frame.width):
        begins = {min(pair) for pair in joints if max(pair) - min(pair) == step}
        for cell in sorted(begins):
            if cell - step in begins:
                continue
            last = cell
            while last in begins:
                last += step
            (x, y), (to_x, to_y) = (
                (frame.left + one % frame.width * GRID, frame.top + one // frame.width * GRID) for one in (cell, last)
            )
            found.append(WireRun(x, y, to_x, to_y))
    return tuple(found)


def placed_in(wiring: DrawnWiring) -> DrawnWiring:
    """The same moved to the least sheet that holds it."""
    layout = wiring.layout
    runs = [run for net in wiring.nets for run in net.runs] + [run for one in wiring.links.values() for run in one]
    xs = [x for run in runs for x in (run.x, run.to_x)] + [one.x for one in layout.terminals]
    ys = [y for run in runs for y in (run.y, run.to_y)]
    for pole in layout.poles:
        xs += [pole.x - 32, pole.x + 32]
        ys += [pole.y + side * (COIL + 12 if pole.coil == side else 34) for side in (-1, 1)]
    for one in layout.terminals:
        ys += [one.y - 22, one.y + 18]
    for stack in layout.stacks:
        xs += [stack.x - 90 if stack.loose else stack.x - 20, stack.x + (90 if stack.loose else 20)]
        ys += [stack.ys[0] - 16, stack.ys[-1] + 4]
    across, down = MARGIN - min(xs), MARGIN - min(ys)
    return DrawnWiring(
        _moved(layout, across, down),
        tuple(
            WiredNet(
                tuple(_run_moved(run, across, down) for run in net.runs),
                tuple(Joint(one.x + across, one.y + down) for one in net.joints),
            )
            for net in wiring.nets
        ),
        {relay: tuple(_run_moved(run, across, down) for run in one) for relay, one in wiring.links.items()},
        max(xs) + across + MARGIN,
        max(ys) + down + MARGIN,
    )


def _run_moved(run: WireRun, across: int, down: int) -> WireRun:
    return WireRun(run.x + across, run.y + down, run.to_x + across, run.to_y + down)


def _moved(layout: SchematicLayout, across: int, down: int) -> SchematicLayout:
    return SchematicLayout(
        tuple(replace(one, x=one.x + across, y=one.y + down) for one in layout.poles),
        tuple(replace(one, x=one.x + across, ys=tuple(y + down for y in one.ys)) for one in layout.stacks),
        tuple(replace(one, x=one.x + across, y=one.y + down) for one in layout.terminals),
    )
