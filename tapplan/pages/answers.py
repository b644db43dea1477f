"""The JSON answers: plain dicts in the keys that scripts rely on.

Exact numbers become JSON numbers here and only here; a ratio is given exactly as text as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from tapplan.checks.coverage import feasible, inputs_of
from tapplan.checks.finding import Finding
from tapplan.checks.judgement import Judgement
from tapplan.checks.witnesses import Witness
from tapplan.checks.witnesses.counted import BrokenInCounts
from tapplan.control.lookup import Answer, InForce, in_force
from tapplan.control.table import ControlTable
from tapplan.design.standards import CURVES, SUPPLIES, Curve, Supply
from tapplan.exact import Span
from tapplan.network.circuit import Circuit
from tapplan.network.states import State, way_of
from tapplan.network.turns import Gain

if TYPE_CHECKING:
    from tapplan.checks.faulted import AnyFault, FaultRow

Json = dict[str, object]


def number(value: Fraction | None) -> int | float | None:
    """A JSON number: whole where it is whole."""
    if value is None:
        return None
    return int(value) if value.denominator == 1 else float(value)


def ends(value: Span | None) -> list[int | float | None] | None:
    """A span as [low, high]."""
    return None if value is None else [number(value.low), number(value.high)]


def ratio_keys(value: Fraction | None) -> Json:
    """A ratio twice: exact text and float."""
    return {
        "ratio": None if value is None else str(value),
        "ratio_float": None if value is None else float(value),
    }


def state(circuit: Circuit, one: State, symbolic: str | None = None, *, grouped: bool = False) -> Json:
    """One relay state, or one group of them."""
    found = way_of(circuit, one)
    gain = one.outcome if isinstance(one.outcome, Gain) else None
    row: Json = {
        "energised": list(one.energised),
        "kind": one.kind.value,
        **ratio_keys(one.ratio),
        "turns_out": number(gain.turns_out) if gain else None,
        "turns_in": number(gain.turns_in) if gain else None,
        "line_tap": found.line_tap if found else None,
        "output_tap": found.output_tap if found else None,
        "path": list(found.steps) if found else None,
    }
    if grouped:
        row |= {"any": list(one.free), "count": one.count}
    if symbolic is not None:
        row["symbolic"] = symbolic or None
    return row


def table(control: ControlTable, gaps: Sequence[Finding]) -> Json:
    """The truth table and its coverage gaps."""
    return {
        "bands": [_table_row(control, place) for place in range(len(control.rows))],
        "gaps": [
            {
                "code": gap.code,
                "from_v": number(inputs_of(gap).low),
                "to_v": number(inputs_of(gap).high),
                "message": gap.message,
            }
            for gap in gaps
        ],
        "derived": control.derived,
        "placed": control.placed,
    }


def _table_row(control: ControlTable, place: int) -> Json:
    row = control.rows[place]
    entry = control.entries(place)
    hold = row.input_hold
    return {
        "name": row.name,
        "energised": list(row.energised),
        "kind": row.state.kind.value,
        **ratio_keys(row.ratio),
        "hold_v": ends(row.hold),
        "enter_rising_v": number(entry[0]),
        "leave_rising_v": number(hold.high) if hold else None,
        "enter_falling_v": number(entry[1]),
        "leave_falling_v": number(hold.low) if hold else None,
        "output_v": ends(control.output_nominal(row)),
        "worst_output_v": ends(control.output_worst(row)),
    }


def bands(control: ControlTable, gaps: Sequence[Finding]) -> Json:
    """The derived bands, with the room between neighbours, ready to be written into a file."""
    rooms = control.rooms
    inner = [room for room in rooms if room is not None]
    return {
        "bands": [
            {
                "name": row.name,
                "energised": list(row.energised),
                "kind": row.state.kind.value,
                **ratio_keys(row.ratio),
                "hold_v": ends(row.hold),
                "room_above_v": number(rooms[place]) if place < len(rooms) else None,
            }
            for place, row in enumerate(control.rows)
        ],
        "feasible": feasible(control, gaps),
        "room_v": number(min(inner)) if inner else None,
        "gaps": table(control, gaps)["gaps"],
    }


def findings(found: Iterable[Finding]) -> Json:
    """The findings of a check."""
    return {"findings": _listed(found)}


def _listed(found: Iterable[Finding]) -> list[Json]:
    return [
        {
            "code": one.code,
            "severity": one.severity.value,
            "where": one.where,
            "message": one.told,
            "witness": witness(one.witness),
        }
        for one in found
    ]


def judgement(found: Judgement) -> Json:
    """The verdict: sound or not, promises, findings, traits, and what the file accepts."""
    return {
        "sound": found.sound,
        "told": found.told,
        "promises": [
            {
                "promise": one.code,
                "held": one.held,
                "margin": number(one.margin),
                "unit": None if one.margin is None else "V",
                "where": one.where or None,
            }
            for one in found.promises
        ],
        **findings(found.findings),
        "traits": [
            {
                "code": one.code,
                "value": number(one.value),
                "unit": one.unit,
                "where": one.where,
                "limit": number(one.limit),
                "lasts_ms": number(one.lasts_ms),
                "rows": one.rows,
                "verb": one.verb,
            }
            for one in found.traits
        ],
        "accepted": [
            {**row, "reason": one.reason}
            for one, row in zip(found.accepted, _listed(one.finding for one in found.accepted), strict=True)
        ],
    }


def witness(one: Witness) -> Json:
    """What a witness states; ratios twice, volts as numbers. What breaks in counts stands beside its own keys."""
    if isinstance(one, BrokenInCounts):
        return {**witness(one.case), "step_v": number(one.step_v), "broken": one.broken}
    return _stated(one)


def _stated(one: Any) -> Json:  # any dataclass: a witness, or a part of one
    stated: Json = {}
    for field in fields(one):
        value = getattr(one, field.name)
        if value is not None:
            stated |= ratio_keys(value) if field.name == "ratio" else {field.name: _plain(value)}
    return stated


def _plain(value: object) -> object:
    """A value of a witness in what JSON has; a position or a kind by its name."""
    if isinstance(value, Fraction):
        return number(value)
    if isinstance(value, Enum):
        return value.name.lower()
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return _stated(value) if is_dataclass(value) else value


def faults(rows: Sequence[FaultRow], never: Sequence[AnyFault]) -> Json:
    """What each single fault does in each band, and the faults that no band survives."""
    return {
        "faults": [
            {
                "part": row.fault.part,
                "fault": row.fault.fault,
                "band": row.row.name,
                "kind": row.outcome.kind.value,
                **ratio_keys(row.outcome.ratio if isinstance(row.outcome, Gain) else None),
                "output_v": ends(row.output),
                "away": row.away,
                "severity": row.severity.value,
            }
            for row in rows
        ],
        "never_survived": [{"part": one.part, "fault": one.fault} for one in never],
    }


def at_point(control: ControlTable, answer: Answer) -> Json:
    """The bands in force at one input, each with the ways the line can have come to it; and where none is, why."""
    found = in_force(control, answer)
    point: Json = {
        "input_v": number(answer.input_v),
        "answers": [_in_force(control, answer, one) for one in found if one.row is not None],
    }
    outside = [one for one in found if one.row is None]
    if outside:
        point["outside"] = outside[0].why
        point["outside_when"] = [course for one in outside for course in one.when]
    return point


def _in_force(control: ControlTable, answer: Answer, one: InForce) -> Json:
    """One band in force at an input."""
    row = one.row
    found = None if row is None else way_of(control.circuit, row.state)
    ratio = None if row is None else row.ratio
    return {
        "band": None if row is None else row.name,
        "energised": [] if row is None else list(row.energised),
        "when": list(one.when),
        "path": list(found.steps) if found else None,
        **ratio_keys(ratio),
        "output_v": None if ratio is None else number(ratio * answer.input_v),
    }


def standards() -> Json:
    """The published supplies and curves."""
    return {"supplies": [_supply(one) for one in SUPPLIES], "curves": [_curve(one) for one in CURVES]}


def _supply(one: Supply) -> Json:
    return {
        "key": one.key,
        "nominal_v": number(one.nominal_v),
        "range_v": [number(end) for end in one.range_v],
        "frequency_hz": number(one.frequency_hz),
        "title": one.title,
        "source": one.source,
        "seen": one.seen,
    }


def _curve(one: Curve) -> Json:
    return {
        "key": one.key,
        "title": one.title,
        "upper": [{"seconds": float(time), "percent": number(level)} for time, level in one.upper],
        "lower": [{"seconds": float(time), "percent": number(level)} for time, level in one.lower],
        "source": one.source,
        "seen": one.seen,
        "note": one.note,
    }
