"""What the live part of the report knows: thresholds in tenths of a volt, states, and what each fault makes of them.

The page's script looks up and draws; it works out no state. Rows and faults name states by their numbers.
"""

from __future__ import annotations

from fractions import Fraction

from tapplan.answers.forms import Json
from tapplan.answers.shown import SHOWN
from tapplan.checks.broken import broken, known_faults, whole
from tapplan.checks.faulted import AnyFault
from tapplan.checks.review import Review
from tapplan.control.decisions import Node
from tapplan.control.misreading import Misreading
from tapplan.control.moves import energised_in
from tapplan.network.circuit import Circuit
from tapplan.network.faults import Fault
from tapplan.pages.states import ShownStates
from tapplan.pictures.curve import scale_of
from tapplan.pictures.schematic_parts import DrawnPole, poles_of

PER_VOLT = Fraction(10)


def live(review: Review) -> Json:
    """Everything the page's program reads; it decides as the controller does, and a test holds it to that."""
    circuit, nodes, states = review.circuit, review.decisions.nodes, ShownStates(review.circuit)
    healthy = [whole(review, node.standing) for node in nodes]
    inputs = scale_of(review.table).inputs
    return {
        "per_volt": int(PER_VOLT),
        "names": [*(row.name for row in review.table.rows), _away_name(review)],
        "on_backup": review.design.backup is not None,
        "coils": [_coils(review, node) for node in nodes],
        "stands": [states.number(one) for one in healthy],
        "decides": [_decides(review, node, node.sensed) for node in nodes],
        "faults": [_fault(review, states, one) for one in known_faults(review)],
        "states": states.told,
        "shown": {kind.value: told for kind, told in SHOWN.items()},
        "senses": _senses(review),
        "relays": list(circuit.relays),
        "points": list(circuit.points),
        "sections": [one.name for one in circuit.sections],
        "contacts": _contacts(circuit),
        "window": [float(review.window.low), float(review.window.high)],
        "from": max(int(inputs.low * PER_VOLT), 0),
        "to": int(inputs.high * PER_VOLT),
        "at": int(review.design.mains.nominal_v * PER_VOLT),
    }


def _contacts(circuit: Circuit) -> list[Json]:
    poles = {number: one.number for one in poles_of(circuit) for number in one.contacts}
    return [
        {
            "label": one.label,
            "relay": one.relay,
            "throw": one.throw,
            "pole": poles[number],
            "makes_first": one.relay in circuit.makes_first,
        }
        for number, one in enumerate(circuit.contacts)
    ]


def _away_name(review: Review) -> str:
    return "outside all bands" if review.design.backup is None else "away: on the backup"


def _senses(review: Review) -> str:
    at = review.design.sensing.at
    return f"at the {at}" if isinstance(at, str) else f"between {at[0]} and {at[1]}"


def _coils(review: Review, node: Node) -> list[int]:
    driven = energised_in(review.table, node.standing)
    return [number for number, relay in enumerate(review.circuit.relays) if relay in driven]


def _decides(review: Review, node: Node, sensed: Fraction | None) -> Json:
    """Where each answer but the first begins, in steps of the inlet's volts, and the answers as numbers of nodes.

    `read` is what is read of an input volt, None where nothing fixes it: then the controller is taken to stay.
    """
    numbers = {one.standing: number for number, one in enumerate(review.decisions.nodes)}
    if sensed is None:
        return {"read": None, "firsts": [], "answers": [numbers[node.standing]]}
    if not sensed:
        return {"read": 0, "firsts": [], "answers": [numbers[node.answer(Fraction(0))]]}
    found = node.whole(PER_VOLT / sensed)
    return {
        "read": float(sensed),
        "firsts": list(found.firsts),
        "answers": [numbers[answer] for answer in found.answers],
    }


def _fault(review: Review, states: ShownStates, fault: AnyFault) -> Json:
    """What one fault makes of every standing, and where its part is drawn; how it decides, where that differs."""
    nodes, found = review.decisions.nodes, list(broken(review, fault))
    told: Json = {
        "name": f"{fault.part}: {fault.fault}",
        "stands": [states.number(one) for one in found],
        "lost": _lost(review.circuit, fault),
        "freezes": fault.fault == "frozen",
    }
    read = [node.sensed if node.sensed is None else one.sensed for node, one in zip(nodes, found, strict=True)]
    if read != [node.sensed for node in nodes]:
        told["decides"] = [_decides(review, node, sensed) for node, sensed in zip(nodes, read, strict=True)]
    return told


def _lost(circuit: Circuit, fault: AnyFault) -> list[str]:
    """The parts of the schematic that a fault takes away, or holds, by the names they are drawn under."""
    poles = [] if isinstance(fault, Misreading) else _poles(circuit, fault)
    match fault.fault:
        case "nc-open" | "no-open":
            ends = [one.nc if fault.fault == "nc-open" else one.no for one in poles]
            return [f"contact-{number}" for number in ends if number is not None]
        case "com-open":
            return [f"contact-{number}" for one in poles for number in one.contacts]
        case "stuck-rest" | "stuck-driven":
            return [f"coil-{one.relay}" for one in poles[:1]]
        case "bridged":
            return [f"pole-{one.number}" for one in poles]
        case "open":
            return [f"section-{number}" for number, one in enumerate(circuit.sections) if one.name == fault.part]
        case "lead-open":
            return [f"net-{circuit.points.index(fault.part)}"]
    return []


def _poles(circuit: Circuit, fault: Fault) -> list[DrawnPole]:
    """The poles that a fault is about: all of a relay's where it names none."""
    return [one for one in poles_of(circuit) if one.relay == fault.relay and fault.pole in (None, one.pole)]
