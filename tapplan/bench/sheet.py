"""The test sheet of a design: what to measure, in the safe order, and what a healthy stage shows."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.bench.defects import HEALTHY, defects
from tapplan.bench.isolation import highest, low_source
from tapplan.bench.measures import Measure, measures
from tapplan.bench.meter import Meter
from tapplan.bench.predictions import Bench
from tapplan.bench.values import Prediction
from tapplan.control.table import ControlTable
from tapplan.exact import Span


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line of the sheet: the step's number, what to measure, the readings that pass, and what to watch for."""

    step: int
    measure: Measure
    passes: Prediction
    watch: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the sheet with its heading and what to do before it."""

    heading: str
    before: str
    lines: tuple[SheetLine, ...]


@dataclass(frozen=True, slots=True)
class Coils:
    """One band: its true inputs, the coils driven, and what the output should stand between."""

    name: str
    inputs: Span | None
    energised: tuple[str, ...]
    output: Span | None


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole sheet; `source_v` is the small source, `most_v` the most volts it can bring about, healthy or not."""

    table: ControlTable
    source_v: Fraction
    most_v: Fraction
    coils: tuple[Coils, ...]
    parts: tuple[Part, ...]


BEFORE = {
    "off": "Plug out, battery out, load and meters of the board off; discharge, prove dead. A bench supply of the "
    "coils' own volts drives one coil at a time.",
    "low": "Still unplugged. Feed the two points named, and no others, from an isolated source through a resistor or "
    "a small lamp; all terminals are live while it is on.",
    "line": "Isolation transformer, variable supply and series lamp, one hand, a lamp of 25 to 60 W at the output. "
    "Only when all above has passed: the lamp bright means a short, switch off.",
    "rising": "From the lowest volts slowly up. Note the line volts at which the coils change.",
    "falling": "From the highest volts slowly down.",
}
HEADINGS = {
    "off": "1. Power off: contacts, coils, windings, leads",
    "low": "2. Small source: ratios",
    "line": "3. On the line: coils and output",
    "rising": "4. Rising sweep",
    "falling": "5. Falling sweep",
}


def sheet(table: ControlTable, meter: Meter) -> Sheet:
    """The sheet of a design."""
    bench = Bench(table)
    every = (HEALTHY, *((one,) for one in defects(table)))
    source = low_source(bench, every)
    listed = measures(table, source)
    most = max(
        highest(bench, one, measure.condition)
        for measure in listed
        if measure.condition.power == "low"
        for one in every
    )
    parts, step = [], 0
    for key in HEADINGS:
        lines = []
        for measure in listed:
            if _part(measure) == key:
                step += 1
                passes = meter.widened(measure, bench.predicted(HEALTHY, measure))
                lines.append(SheetLine(step, measure, passes, _watch(table, measure)))
        if lines:
            parts.append(Part(HEADINGS[key], BEFORE[key], tuple(lines)))
    return Sheet(table, source, most, tuple(_coils(table)), tuple(parts))


def _part(measure: Measure) -> str:
    if measure.what == "switch":
        return measure.condition.course or ""
    return measure.condition.power


def _watch(table: ControlTable, measure: Measure) -> str:
    """At a switch point the output just before and just after it."""
    if measure.what != "switch":
        return ""
    rows = {row.name: row for row in table.rows}
    here, there = rows[measure.at[0]], rows[measure.at[1]]
    hold = here.input_hold
    if hold is None or here.ratio is None or there.ratio is None:
        return ""
    end = hold.high if measure.condition.course == "rising" else hold.low
    return f"output {float(here.ratio * end):.1f} V before, {float(there.ratio * end):.1f} V after"


def _coils(table: ControlTable) -> list[Coils]:
    return [Coils(row.name, row.input_hold, row.energised, table.output_nominal(row)) for row in table.rows]
