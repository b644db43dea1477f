"""What the live part of the report knows: thresholds in tenths of a volt, paths, and what each fault would do."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from tapplan.answers.forms import Json
from tapplan.checks.faulted import FaultRow, fault_table
from tapplan.checks.review import Review
from tapplan.control.decisions import Node
from tapplan.control.table import Row
from tapplan.network.circuit import Circuit
from tapplan.network.paths import way
from tapplan.pictures.curve import scale_of

PER_VOLT = Fraction(10)


def live(review: Review) -> Json:
    """Everything the page's program reads; it decides as the controller does, and a test holds it to that."""
    table = review.table
    away = table.away.state.energised
    scale = scale_of(table)
    ends = [scale.inputs.low, scale.inputs.high]
    return {
        "per_volt": int(PER_VOLT),
        "rows": [_row(review.circuit, row) for row in table.rows],
        "away": {"name": _away_name(review), **_state(review.circuit, away)},
        "nodes": [_node(review, node) for node in review.decisions.nodes],
        "relays": list(review.circuit.relays),
        "window": [float(review.window.low), float(review.window.high)],
        "from": max(int(ends[0] * PER_VOLT), 0),
        "to": int(ends[1] * PER_VOLT),
        "at": int(table.design.mains.nominal_v * PER_VOLT),
        "x": _line(scale.x(ends[0]), scale.x(ends[1]), scale.inputs.low, scale.inputs.high),
        "y": _line(scale.y(scale.outputs.low), scale.y(scale.outputs.high), scale.outputs.low, scale.outputs.high),
        "faults": _faults(review),
    }


def _node(review: Review, node: Node) -> Json:
    """Where each answer but the first begins, in steps of the inlet's volts, and the answers as numbers of nodes."""
    numbers = {one.standing: number for number, one in enumerate(review.decisions.nodes)}
    if node.sensed is None:  # nothing is read: away, and away it stays
        return {"firsts": [], "answers": [len(numbers) - 1]}
    whole = node.whole(PER_VOLT / node.sensed)
    return {"firsts": list(whole.firsts), "answers": [numbers[answer] for answer in whole.answers]}


def _away_name(review: Review) -> str:
    return "outside all bands" if review.design.backup is None else "away: on the backup"


def _line(low: float, high: float, first: Fraction, last: Fraction) -> list[float]:
    """Place = a + b volts."""
    slope = (high - low) / float(last - first)
    return [low - slope * float(first), slope]


def _row(circuit: Circuit, row: Row) -> Json:
    ratio = None if row.ratio is None else float(row.ratio)
    return {"name": row.name, "ratio": ratio, **_state(circuit, row.energised)}


def _state(circuit: Circuit, energised: tuple[str, ...]) -> Json:
    """The contacts closed, and the parts on the plainest way from line to output."""
    closed = circuit.state(energised)
    found = way(circuit, closed)
    steps = set(found.steps) if found is not None else set()
    nets = [number for number, point in enumerate(circuit.points) if point in steps]
    contacts = [number for number, one in enumerate(circuit.contacts) if one.label in steps and number in closed]
    order = [step for step in (found.steps if found is not None else ()) if step in circuit.points]
    pairs = {frozenset(pair) for pair in pairwise(order)}
    sections = [
        number
        for number, one in enumerate(circuit.sections)
        if frozenset({circuit.points[one.start], circuit.points[one.finish]}) in pairs
    ]
    return {
        "energised": list(energised),
        "closed": sorted(closed),
        "nets": nets,
        "contacts": contacts,
        "sections": sections,
        "path": list(found.steps) if found is not None else [],
    }


def _faults(review: Review) -> list[Json]:
    """By fault, what each row of the table then does; in the order of harm."""
    names = [row.name for row in review.table.rows]
    found: dict[str, list[Json | None]] = {}
    for one in fault_table(review):
        rows = found.setdefault(f"{one.fault.part}: {one.fault.fault}", [None] * len(names))
        rows[names.index(one.row.name)] = _faulted(one)
    return [{"name": told, "rows": rows} for told, rows in found.items()]


def _faulted(one: FaultRow) -> Json:
    output = None if one.output is None else [float(one.output.low), float(one.output.high)]
    kind = "away" if one.away else one.outcome.kind.value
    return {"kind": kind, "output": output, "harmless": one.harmless, "energised": list(one.energised)}
