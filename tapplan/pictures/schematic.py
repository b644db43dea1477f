"""The schematic from the graph: points as level lines, windings between them on the left, contacts on the right.

Every point has a line of its own, taps of a winding in the order of their turns. A contact is a gap between two
plates on the upright between its two points, closed by a blade; where an upright crosses a line without a dot
nothing is joined.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tapplan.network.circuit import Circuit, Closed
from tapplan.network.turns import potentials

LEFT, TOP, ROW, COLUMN = 150, 30, 40, 66
WINDING = 70  # between windings drawn side by side
MARGIN = 100


@dataclass(frozen=True, slots=True)
class SchematicLayout:
    """Where things stand: the row of each point, the lane of each section, the column of each contact."""

    rows: tuple[int, ...]
    lanes: tuple[int, ...]
    columns: tuple[int, ...]

    @property
    def width(self) -> int:
        """The whole picture's width."""
        return self.column_x(max(self.columns, default=-1) + 1) + MARGIN

    @property
    def height(self) -> int:
        """The whole picture's height."""
        return TOP + (max(self.rows) + 1) * ROW

    def y(self, point: int) -> int:
        """The height of a point's line."""
        return TOP + self.rows[point] * ROW

    def lane_x(self, section: int) -> int:
        """Where a section's coil stands."""
        return LEFT + self.lanes[section] * WINDING

    def column_x(self, column: int) -> int:
        """Where a contact's upright stands."""
        return LEFT + (max(self.lanes, default=0) + 1) * WINDING + column * COLUMN


def layout_of(circuit: Circuit) -> SchematicLayout:
    """Rows from the top: terminals and joints, then windings, the highest point first; contacts as in the file."""
    joined = potentials(circuit, frozenset())
    wound = {end for section in circuit.sections for end in (section.start, section.finish)}
    islands: dict[int, list[int]] = {}
    for point in sorted(wound):
        islands.setdefault(joined.part[point], []).append(point)
    loose = [point for point in range(len(circuit.points)) if point not in wound]
    loose.sort(key=lambda point: (point != circuit.line, point != circuit.output, point))
    order = list(loose)
    for members in sorted(islands.values(), key=lambda one: circuit.neutral in one):
        order += sorted(members, key=lambda point: (sum(joined.height[point]), -point), reverse=True)
    rows = [0] * len(circuit.points)
    for row, point in enumerate(order):
        rows[point] = row
    return SchematicLayout(tuple(rows), tuple(_lanes(circuit, rows)), tuple(range(len(circuit.contacts))))


def _lanes(circuit: Circuit, rows: list[int]) -> list[int]:
    """The leftmost lane in which a section crosses no other."""
    taken: list[list[tuple[int, int]]] = []
    found = []
    for section in circuit.sections:
        low, high = sorted((rows[section.start], rows[section.finish]))
        lane = next((n for n, spans in enumerate(taken) if all(high <= a or b <= low for a, b in spans)), len(taken))
        if lane == len(taken):
            taken.append([])
        taken[lane].append((low, high))
        found.append(lane)
    return found


def schematic(circuit: Circuit, closed: Closed) -> Any:
    """The drawing, with the contacts of one state closed; its parts are named `net-N`, `section-N`, `contact-N`."""
    import drawsvg

    layout = layout_of(circuit)
    drawing = drawsvg.Drawing(layout.width, layout.height)
    for point in range(len(circuit.points)):
        drawing.append(_net(circuit, layout, point))
    for number in range(len(circuit.sections)):
        drawing.append(_section(circuit, layout, number))
    for number in range(len(circuit.contacts)):
        drawing.append(_contact(circuit, layout, number, is_closed=number in closed))
    return drawing


def _ends(circuit: Circuit, layout: SchematicLayout, point: int) -> tuple[int, int]:
    """From where to where a point's line runs."""
    xs = [layout.lane_x(n) for n, one in enumerate(circuit.sections) if point in (one.start, one.finish)]
    xs += [
        layout.column_x(layout.columns[n]) for n, one in enumerate(circuit.contacts) if point in (one.com, one.end)
    ]
    if point in (circuit.line, circuit.neutral):
        xs.append(LEFT - 40)
    if point in (circuit.output, circuit.neutral):
        xs.append(layout.width - MARGIN)
    return (min(xs), max(xs)) if xs else (LEFT, LEFT)


def _net(circuit: Circuit, layout: SchematicLayout, point: int) -> Any:
    import drawsvg

    group = drawsvg.Group(id=f"net-{point}", class_="net")
    y = layout.y(point)
    low, high = _ends(circuit, layout, point)
    group.append(drawsvg.Line(low, y, high, y, class_="wire"))
    name = _cut(circuit.points[point])
    group.append(drawsvg.Text(name, 13, low - 8, y + 4, text_anchor="end", class_="words"))
    if point in (circuit.output, circuit.neutral):
        group.append(drawsvg.Text(name, 13, high + 8, y + 4, class_="words"))
    for number, section in enumerate(circuit.sections):
        if point in (section.start, section.finish):
            group.append(drawsvg.Circle(layout.lane_x(number), y, 2.6, class_="dot"))
    for number, contact in enumerate(circuit.contacts):
        if point in (contact.com, contact.end):
            group.append(drawsvg.Circle(layout.column_x(layout.columns[number]), y, 2.6, class_="dot"))
    return group


def _cut(name: str, most: int = 12) -> str:
    return name if len(name) <= most else name[: most - 1] + "\u2026"


def _section(circuit: Circuit, layout: SchematicLayout, number: int) -> Any:
    """Half-round loops down the lane; a dot of its own marks the finish."""
    import drawsvg

    section = circuit.sections[number]
    group = drawsvg.Group(id=f"section-{number}", class_="section")
    x = layout.lane_x(number)
    top, bottom = sorted((layout.y(section.start), layout.y(section.finish)))
    loops = max(round((bottom - top - 12) / 9), 2)
    size = (bottom - top - 12) / loops
    path = drawsvg.Path(class_="coil").M(x, top).L(x, top + 6)
    for loop in range(loops):
        path.A(size / 2, size / 2, 0, 0, 1, x, top + 6 + size * (loop + 1))
    group.append(path.L(x, bottom))
    down = layout.y(section.finish) > layout.y(section.start)
    group.append(drawsvg.Circle(x - 7, bottom - 9 if down else top + 9, 2.2, class_="dot"))
    turns = float(section.turns * circuit.turn_unit)
    middle = (top + bottom) / 2 + 4
    group.append(drawsvg.Text(f"{turns:g}", 11, x - 12, middle, text_anchor="end", class_="small"))
    return group


def _contact(circuit: Circuit, layout: SchematicLayout, number: int, *, is_closed: bool) -> Any:
    import drawsvg

    contact = circuit.contacts[number]
    state = "closed" if is_closed else "open"
    group = drawsvg.Group(id=f"contact-{number}", class_=f"contact {state}")
    x = layout.column_x(layout.columns[number])
    top, bottom = sorted((layout.y(contact.com), layout.y(contact.end)))
    gap = top + 20
    group.append(drawsvg.Line(x, top, x, gap - 5, class_="wire"))
    group.append(drawsvg.Line(x, gap + 5, x, bottom, class_="wire"))
    for y in (gap - 5, gap + 5):
        group.append(drawsvg.Line(x - 8, y, x + 8, y, class_="plate"))
    group.append(drawsvg.Line(x, gap - 5, x, gap + 5, class_="blade"))
    relay = _cut(circuit.relays[contact.relay], 8)
    pole = "" if contact.pole == 1 else f".{contact.pole}"
    text = drawsvg.Text(f"{relay}{pole} {contact.throw.upper()}", 11, x + 11, gap + 4, class_="small")
    group.append(text)
    return group
