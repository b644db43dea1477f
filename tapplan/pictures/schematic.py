"""The schematic from the graph: taps as level wires, poles between them and the terminals, from line to output.

Contacts are drawn as they stand for one set of closed contacts; everything else that can be shown of a stage is a
class that a page may set: `live`, `fed`, `lost` on nets, contacts and windings, `driven` on coils, and on a pole how
it stands (`at-rest`, `is-driven`, `in-flight`, `bridged`). Where wires cross without a dot nothing is joined.
"""

from __future__ import annotations

from typing import Any

from tapplan.network.circuit import Circuit, Closed
from tapplan.pictures.schematic_labels import PointName, net_labels
from tapplan.pictures.schematic_placed import PlacedPole, SchematicLayout
from tapplan.pictures.schematic_symbols import (
    SMALL,
    coil_symbol,
    lost_mark,
    pole_symbol,
    section_symbol,
    terminal_symbol,
)
from tapplan.pictures.schematic_wires import DrawnWiring, link_side, placed_in, wired


def schematic(circuit: Circuit, closed: Closed) -> Any:
    """The drawing, with these contacts closed; parts are `net-N`, `section-N`, `pole-N`, `contact-N` and `coil-K`."""
    import drawsvg

    wiring = placed_in(wired(circuit))
    drawing = drawsvg.Drawing(wiring.width, wiring.height)
    for relay in wiring.links:
        drawing.append(_linkage(wiring, relay))
    labels = net_labels(circuit, wiring)
    for point in range(len(circuit.points)):
        drawing.append(_net(circuit, wiring, point, labels.get(point)))
    for stack in wiring.layout.stacks:
        for place in range(len(stack.stack.sections)):
            drawing.append(section_symbol(circuit, stack, place))
        if stack.loose:
            for y in (stack.ys[0], stack.ys[-1]):
                drawing.append(drawsvg.Circle(stack.x, y, 3.2, class_="ring"))
    for n, pole in enumerate(wiring.layout.poles):
        symbol = pole_symbol(circuit, pole, closed, _sides(wiring.layout, pole))
        if -1 - n in labels:
            symbol.append(_told(labels[-1 - n], "small pole-name"))
        drawing.append(symbol)
    for pole in wiring.layout.poles:
        if pole.coil:
            drawing.append(coil_symbol(circuit, pole, _driven(circuit, pole.pole.relay, closed)))
    return drawing


def _told(label: PointName, kind: str) -> Any:
    import drawsvg

    return drawsvg.Text(label.text, SMALL, label.x, label.baseline, class_=kind)


def _driven(circuit: Circuit, relay: int, closed: Closed) -> str:
    """A coil is drawn driven when its contacts stand as a driven relay's do."""
    stands = {(one.throw == "no") == (n in closed) for n, one in enumerate(circuit.contacts) if one.relay == relay}
    return "driven" if stands == {True} else ""


def _sides(layout: SchematicLayout, pole: PlacedPole) -> list[int]:
    """The sides from which linkages reach a pole: from its coil, and from the other poles of its relay."""
    poles = [one for one in layout.poles if one.pole.relay == pole.pole.relay]
    sides = {pole.coil} if pole.coil else set()
    if len(poles) > 1:
        sides.add(link_side(pole, poles))
    return sorted(sides)


def _linkage(wiring: DrawnWiring, relay: int) -> Any:
    """The dashed line that joins the poles of one relay."""
    import drawsvg

    group = drawsvg.Group(class_="linkage")
    for run in wiring.links[relay]:
        group.append(drawsvg.Line(run.x, run.y, run.to_x, run.to_y, class_="link"))
    return group


def _net(circuit: Circuit, wiring: DrawnWiring, point: int, label: PointName | None) -> Any:
    """A point's wires, dots, terminals and name."""
    import drawsvg

    net = wiring.nets[point]
    group = drawsvg.Group(id=f"net-{point}", class_="net")
    group.append_title(circuit.points[point])
    for run in net.runs:
        group.append(drawsvg.Line(run.x, run.y, run.to_x, run.to_y, class_="wire"))
    for joint in net.joints:
        group.append(drawsvg.Circle(joint.x, joint.y, 2.8, class_="dot"))
    for terminal in wiring.layout.terminals:
        if terminal.point == point:
            group.append(terminal_symbol(circuit, terminal))
    if label is not None:
        group.append(_told(label, "small net-name"))
    group.append(_lost_at(wiring, point))
    return group


def _lost_at(wiring: DrawnWiring, point: int) -> Any:
    """The cross over a point's lead: where it leaves its winding, else on the longest of its wires."""
    runs = wiring.nets[point].runs
    taps = [
        (one.x, y)
        for one in wiring.layout.stacks
        for p, y in zip(one.stack.points, one.ys, strict=True)
        if p == point
    ]
    for x, y in taps:
        for run in runs:
            if run.y == run.to_y == y and run.x <= x <= run.to_x:
                return lost_mark(x + 22 if run.to_x >= x + 30 else x - 22, y)
    if not runs:
        return lost_mark(*taps[0]) if taps else lost_mark(0, 0)
    longest = max(runs, key=lambda one: one.length)
    return lost_mark((longest.x + longest.to_x) / 2, (longest.y + longest.to_y) / 2)
