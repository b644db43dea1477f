"""Where the names of points stand in the schematic: beside their tap, or on a free place along their wires."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tapplan.network.circuit import Circuit
from tapplan.pictures.labels import Patch
from tapplan.pictures.letters import Font, letters
from tapplan.pictures.schematic_placed import (
    COIL,
    COIL_HIGH,
    COIL_WIDE,
    PlacedPole,
    PlacedStack,
    PlacedTerminal,
    tap_name,
    terminal_name,
    winding_texts,
)
from tapplan.pictures.schematic_symbols import pole_name
from tapplan.pictures.schematic_wires import DrawnWiring, WireRun

LONGEST = (92, 64, 44, 30)  # room tried for a name, until it finds a place
STEP = 5


@dataclass(frozen=True, slots=True)
class PointName:
    """A name and where it begins."""

    point: int
    text: str
    x: float
    baseline: float

    @property
    def box(self) -> Patch:
        """What it covers."""
        return text_patch(letters("small"), self.text, self.x, self.baseline)


def text_patch(drawn: Font, text: str, x: float, baseline: float) -> Patch:
    """What a text that begins at x covers; no letter of a name in a schematic stands taller than a capital."""
    return Patch(x, baseline - 0.8 * drawn.size, x + drawn.wide(text), baseline + 0.2 * drawn.size)


def net_labels(circuit: Circuit, wiring: DrawnWiring) -> dict[int, PointName]:
    """The name of every point that is no terminal: beside its first tap, else where its wires leave room.

    Under -1, -2, ... stand the names of the poles, where the coil does not name them.
    """
    found: dict[int, PointName] = {}
    for stack in wiring.layout.stacks:
        for point, y in zip(stack.stack.points, stack.ys, strict=True):
            if point not in found and point not in circuit.terminals:
                found[point] = PointName(
                    point, tap_name(circuit, point), stack.x + 15, y + 4 if stack.loose else y - 4
                )
    taken = [*_covered(circuit, wiring), *(one.box for one in found.values())]
    for n, pole in enumerate(wiring.layout.poles):
        label = _beside(circuit, pole, taken)
        if label is not None:
            found[-1 - n] = label
            taken.append(label.box)
    for point, net in enumerate(wiring.nets):
        if point not in found and point not in circuit.terminals:
            label = _free(point, circuit.points[point], net.runs, taken)
            if label is not None:
                found[point] = label
                taken.append(label.box)
    return found


def _beside(circuit: Circuit, pole: PlacedPole, taken: list[Patch]) -> PointName | None:
    """The name of a pole without a coil, about its common end."""
    text = pole_name(circuit, pole)
    if not text:
        return None
    wide = letters("small").wide(text)
    places = [
        PointName(-1, text, pole.x + (shift if pole.faces > 0 else -shift - wide), pole.y + down)
        for down in (-15, 24, -26, 35)
        for shift in (3, 10, 18)
    ]
    return next((one for one in places if not any(one.box.meets(box) for box in taken)), places[0])


def _free(point: int, name: str, runs: tuple[WireRun, ...], taken: list[Patch]) -> PointName | None:
    """The first free place along a net's wires, for the whole name or else for less of it."""
    texts = dict.fromkeys(letters("small").cut(name, most) for most in LONGEST)
    for text in texts:
        for run in sorted(runs, key=lambda one: (one.y != one.to_y, -one.length)):
            for label in _along(point, text, run):
                if not any(label.box.meets(box) for box in taken):
                    return label
    return None


def _along(point: int, text: str, run: WireRun) -> Iterator[PointName]:
    """Places along one run: above it, then below; right of an upright, then left."""
    wide = letters("small").wide(text)
    if run.y == run.to_y:
        spare = max(int(run.length - wide), 0)
        for baseline in (run.y - 4, run.y + 12):
            for shift in sorted(range(0, spare + 1, STEP), key=lambda one: abs(one - spare / 2)):
                yield PointName(point, text, run.x + shift, baseline)
            for x in (run.x - (wide - run.length) / 2, run.x, run.to_x - wide):
                yield PointName(point, text, x, baseline)
    else:
        for x in (run.x + 4, run.x - 4 - wide):
            for shift in sorted(range(0, run.length + 1, STEP), key=lambda one: abs(one - run.length / 2)):
                yield PointName(point, text, x, run.y + shift + 4)


def _covered(circuit: Circuit, wiring: DrawnWiring) -> list[Patch]:
    """What no name may stand on."""
    runs = [run for net in wiring.nets for run in net.runs] + [run for one in wiring.links.values() for run in one]
    found = [Patch(run.x - 1.5, run.y - 1.5, run.to_x + 1.5, run.to_y + 1.5) for run in runs]
    for pole in wiring.layout.poles:
        found += _pole_boxes(pole)
    for stack in wiring.layout.stacks:
        found += _stack_boxes(circuit, stack)
    for terminal in wiring.layout.terminals:
        found += _terminal_boxes(circuit, terminal)
    return found


def _pole_boxes(pole: PlacedPole) -> list[Patch]:
    found = [
        Patch(pole.x - 21, pole.y - 2, pole.x + 21, pole.y + 2),
        Patch(pole.x - 13, pole.y - 13, pole.x + 13, pole.y + 13),
    ]
    ends = sorted((pole.x, pole.x - pole.faces * 21))
    found.append(Patch(ends[0], pole.y - 22, ends[1], pole.y + 22))
    centre = pole.x - pole.faces * 18
    for throw in ("nc", "no") if len(pole.pole.contacts) == 2 else ("no",):
        y = pole.throw_y(throw)
        baseline = y - 4 if y < pole.y else y + 13
        found.append(Patch(centre - 15, baseline - 9, centre + 15, baseline + 3))
    if pole.coil:
        middle = pole.y + pole.coil * COIL
        wide, high = COIL_WIDE / 2 + 6, COIL_HIGH / 2 + 3
        found.append(Patch(pole.x - wide, middle - high, pole.x + wide, middle + high))
        ends = sorted((pole.y, middle))
        found.append(Patch(pole.x - 1.5, ends[0], pole.x + 1.5, ends[1]))
    return found


def _stack_boxes(circuit: Circuit, stack: PlacedStack) -> list[Patch]:
    found = []
    for place, number in enumerate(stack.stack.sections):
        top, bottom = stack.ys[place], stack.ys[place + 1]
        middle = (top + bottom) // 2
        found.append(Patch(stack.x - 8, top, stack.x + 13, bottom))
        for line, text in enumerate(winding_texts(circuit, number)):
            left = stack.x - 11 - letters("small").wide(text)
            found.append(text_patch(letters("small"), text, left, middle - 1 + 13 * line))
    return found


def _terminal_boxes(circuit: Circuit, terminal: PlacedTerminal) -> list[Patch]:
    wide = letters("terminal-name").wide(terminal_name(circuit, terminal.point))
    left = terminal.x - 5 if terminal.side < 0 else terminal.x + 5 - wide
    return [
        Patch(left, terminal.y - 20, left + wide, terminal.y + 6),
        Patch(left, terminal.y, left + 46, terminal.y + 20),
    ]
