"""The symbols of the schematic, in the manner of IEC 60617: poles with their contacts, coils, windings, terminals.

A break contact ends in a stub that the blade touches at rest, a make contact is a plain end that the blade reaches
when driven. Every blade a pole can have is drawn; a class on its group says which are seen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from tapplan.network.circuit import Circuit, Closed
from tapplan.pictures.letters import letters
from tapplan.pictures.schematic_placed import (
    COIL,
    COIL_HIGH,
    COIL_WIDE,
    LINK,
    THROW,
    PlacedPole,
    PlacedStack,
    PlacedTerminal,
    terminal_name,
    turns_told,
    winding_texts,
)

PIVOT = 12  # from a pole's middle to where its blades turn
TIP = 9  # to the ends of its contacts
STUB = 13  # how far from the middle's height the stub of a break contact ends
LONGEST = 64  # of the loops of one winding
SMALL, LARGE = 11, 13  # sizes of letters


@dataclass(frozen=True, slots=True)
class Blade:
    """Where a blade ends, seen from the pole's middle with its common end on the right."""

    name: str
    x: int
    y: float

    @property
    def middle(self) -> float:
        """Its height where the linkage meets it."""
        return self.y * PIVOT / (PIVOT - self.x)


def blades_of(pole: PlacedPole) -> tuple[Blade, ...]:
    """The blades at rest, driven and in flight; a pole of one contact rests off or on it."""
    side = pole.nc_side
    if len(pole.pole.contacts) == 2:
        return Blade("rest", -13, side * 15.5), Blade("driven", -TIP, -side * THROW), Blade("flight", -17, 0)
    if pole.pole.nc is None:
        return Blade("rest", -13, -15), Blade("driven", -TIP, 0), Blade("flight", -15, -8)
    return Blade("rest", -13, -8.5), Blade("driven", -9, -19), Blade("flight", -12, -15)


def pole_symbol(circuit: Circuit, pole: PlacedPole, closed: Closed, sides: Iterable[int]) -> Any:
    """One pole with its contacts and all its blades, those shown that close what is closed; linkages from `sides`."""
    import drawsvg

    group = drawsvg.Group(id=f"pole-{pole.pole.number}", class_=f"pole {standing_class(pole, closed)}")
    relay = circuit.relays[pole.pole.relay]
    name = relay if pole.pole.pole == 1 and pole.coil else f"{relay}, pole {pole.pole.pole}"
    group.append_title(f"{name}, makes before it breaks" if pole.pole.relay in circuit.makes_first else name)
    for number in pole.pole.contacts:
        group.append(_contact(circuit, pole, number, closed))
    f, x, y = pole.faces, pole.x, pole.y
    group.append(drawsvg.Line(x + f * THROW, y, x + f * PIVOT, y, class_="wire com"))
    group.append(drawsvg.Circle(x + f * PIVOT, y, 1.8, class_="dot"))
    for blade in blades_of(pole):
        one = drawsvg.Group(class_=f"blade {blade.name}")
        for side in sides:
            reach = COIL - COIL_HIGH // 2 if side == pole.coil else LINK
            one.append(drawsvg.Line(x, y + side * reach, x, y + blade.middle, class_="link"))
        one.append(drawsvg.Line(x + f * PIVOT, y, x + f * blade.x, y + blade.y, class_="arm"))
        group.append(one)
    group.append(lost_mark(x, y))
    return group


def pole_name(circuit: Circuit, pole: PlacedPole) -> str:
    """What is written beside a pole that its relay's coil does not stand by."""
    return "" if pole.coil else f"{letters('small').cut(circuit.relays[pole.pole.relay], COIL_WIDE)}.{pole.pole.pole}"


def standing_class(pole: PlacedPole, closed: Closed) -> str:
    """What a pole's group is called for the contacts that are closed; neither of two is flight."""
    nc, no = pole.pole.nc in closed, pole.pole.no in closed
    if nc and no:
        return "bridged"
    if nc or no:
        return "at-rest" if nc else "is-driven"
    if len(pole.pole.contacts) == 2:
        return "in-flight"
    return "at-rest" if pole.pole.nc is None else "is-driven"


def _contact(circuit: Circuit, pole: PlacedPole, number: int, closed: Closed) -> Any:
    import drawsvg

    contact = circuit.contacts[number]
    group = drawsvg.Group(
        id=f"contact-{number}", class_=f"contact {contact.throw} {'closed' if number in closed else 'open'}"
    )
    group.append_title(contact.label)
    f, x, y = pole.faces, pole.x, pole.throw_y(contact.throw)
    path = drawsvg.Path(class_="wire").M(x - f * THROW, y).L(x - f * TIP, y)
    if contact.throw == "nc":
        path.L(x - f * TIP, pole.y + pole.nc_side * STUB if y != pole.y else y - 7)
    group.append(path)
    group.append(lost_mark(x - f * 14, y))
    baseline = y - 4 if y < pole.y else y + 13
    group.append(
        drawsvg.Text(contact.throw.upper(), SMALL, x - f * 18, baseline, text_anchor="middle", class_="small")
    )
    return group


def coil_symbol(circuit: Circuit, pole: PlacedPole, driven: str) -> Any:
    """The relay's coil, named, by its first pole; a second outline says that it is driven."""
    import drawsvg

    relay, x, y = pole.pole.relay, pole.x, pole.y + pole.coil * COIL
    group = drawsvg.Group(id=f"coil-{relay}", class_=f"relay {driven}".strip())
    group.append_title(circuit.relays[relay])
    wide, high = COIL_WIDE // 2, COIL_HIGH // 2
    group.append(drawsvg.Rectangle(x - wide - 3, y - high - 3, 2 * wide + 6, 2 * high + 6, class_="outline"))
    for side in (-1, 1):
        group.append(drawsvg.Line(x + side * wide, y, x + side * (wide + 5), y, class_="lead"))
    group.append(drawsvg.Rectangle(x - wide, y - high, 2 * wide, 2 * high, class_="body"))
    name = letters("coil-name").cut(circuit.relays[relay], COIL_WIDE - 2)
    group.append(drawsvg.Text(name, SMALL, x, y + 4, text_anchor="middle", class_="coil-name"))
    group.append(lost_mark(x, pole.y + pole.coil * (LINK + 2)))
    return group


def section_symbol(circuit: Circuit, stack: PlacedStack, place: int) -> Any:
    """One winding as half-round loops with its piece of core, its name and turns; the dot marks its finish."""
    import drawsvg

    number = stack.stack.sections[place]
    section = circuit.sections[number]
    x, top, bottom = stack.x, stack.ys[place], stack.ys[place + 1]
    group = drawsvg.Group(id=f"section-{number}", class_="section")
    core = f", on {circuit.cores[section.core]}" if len(circuit.cores) > 1 else ""
    group.append_title(f"{section.name}: {turns_told(circuit, number)}{core}")
    middle, half = (top + bottom) // 2, min((bottom - top) // 2 - 8, LONGEST // 2)
    group.append(_loops(x, top, bottom))
    group.append(drawsvg.Line(x + 11, middle - half, x + 11, middle + half, class_="core"))
    finish_above = section.finish == stack.stack.points[place]
    dot = middle - half + 1 if finish_above else middle + half - 1
    group.append(drawsvg.Circle(x - 5, dot, 2.2, class_="dot"))
    for line, text in enumerate(winding_texts(circuit, number)):
        group.append(drawsvg.Text(text, SMALL, x - 11, middle - 1 + 13 * line, text_anchor="end", class_="small"))
    group.append(lost_mark(x + 3, middle))
    return group


def _loops(x: int, top: int, bottom: int) -> Any:
    """Half-round loops in the middle of an upright, no more of them than a short one has."""
    import drawsvg

    length = min(bottom - top - 16, LONGEST)
    first = (top + bottom - length) / 2
    loops = max(round(length / 8), 2)
    size = length / loops
    path = drawsvg.Path(class_="coil").M(x, top).L(x, first)
    for loop in range(loops):
        path.A(size / 2, size / 2, 0, 0, 1, x, first + size * (loop + 1))
    return path.L(x, bottom)


def lost_mark(x: float, y: float) -> Any:
    """What is drawn over a part that is lost; hidden until its group says so."""
    import drawsvg

    return drawsvg.Path(class_="gone").M(x - 8, y - 8).L(x + 8, y + 8).M(x - 8, y + 8).L(x + 8, y - 8)


def terminal_symbol(circuit: Circuit, terminal: PlacedTerminal) -> Any:
    """A terminal's circle, its name above and, where the name does not say it, what it is beneath."""
    import drawsvg

    group = drawsvg.Group(class_="terminal")
    name, x, y = circuit.points[terminal.point], terminal.x, terminal.y
    group.append_title(f"{name}, {terminal_role(circuit, terminal.point)} terminal")
    anchor = "start" if terminal.side < 0 else "end"
    edge = x + terminal.side * 5
    group.append(drawsvg.Circle(x, y, 4, class_="ring"))
    shown = terminal_name(circuit, terminal.point)
    group.append(drawsvg.Text(shown, LARGE, edge, y - 9, text_anchor=anchor, class_="terminal-name"))
    role = terminal_role(circuit, terminal.point)
    if not tells_role(name, role):
        group.append(drawsvg.Text(role, SMALL, edge, y + 17, text_anchor=anchor, class_="faint"))
    return group


def tells_role(name: str, role: str) -> bool:
    """Whether a terminal's name says what it is for."""
    return name.casefold() in (role, role[:3])


def terminal_role(circuit: Circuit, point: int) -> str:
    """What a terminal is for."""
    return {circuit.neutral: "neutral", circuit.output: "output", circuit.line: "line"}[point]
