"""The test sheet of a design: what to measure, in the safe order, and what a healthy stage shows.

A line that no single fault breaks tells nothing and is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.bench.defects import HEALTHY, Hypothesis, defects
from tapplan.bench.measures import Measure, resistor
from tapplan.bench.meter import Meter
from tapplan.bench.offered import HowFar, keep_to_work, measures, unwatched
from tapplan.bench.predictions import Bench
from tapplan.bench.safety import highest, low_source
from tapplan.bench.values import Prediction, meets
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
    """The whole sheet; `source_v` is the small source, `most_v` the most volts it can bring about, healthy or not.

    `resistor_ohm` is what it feeds through, `resistor_w` what that burns into a dead short.
    """

    table: ControlTable
    source_v: Fraction
    resistor_ohm: Fraction
    resistor_w: Fraction
    most_v: Fraction
    coils: tuple[Coils, ...]
    parts: tuple[Part, ...]


BEFORE = {
    "off": "Plug out, battery out, load and meters of the board off; discharge, prove dead. A bench supply of the "
    "coils' own volts drives one coil at a time, its plus at the coil's end where the diode has its ring: the other "
    "way round the diode shorts it. Fuse, cut-out and suppressor are read with one end off the board.",
    "low": "Still unplugged. Feed the two points named, no others, from the isolated source through its resistor; "
    "10 kohm across the output, no lamp there: it would load the source. All terminals are live while it is on.",
    "battery": "Plug out, nothing near its pins: they may be live. The output is at mains volts from the battery; a "
    "lamp of 25 to 60 W on it.",
    "line": "Isolation transformer, variable supply and series lamp, one hand, a lamp of 25 to 60 W at the output. "
    "Only when all above has passed: the lamp bright means a short, switch off.",
    "rising": "From the lowest volts slowly up. Note the line volts at which the coils change.",
    "falling": "From the highest volts slowly down.",
}
HEADINGS = {
    "off": "Power off: contacts, coils, windings, leads",
    "low": "Small source: shorts and ratios",
    "battery": "On its battery",
    "line": "On the line: coils and output",
    "rising": "Rising sweep",
    "falling": "Falling sweep",
}


def sheet(table: ControlTable, meter: Meter, watch: HowFar = unwatched) -> Sheet:
    """The sheet of a design; `watch` is told how many measurements, of how many, have been foretold.

    Raises:
        UsageError: it would take longer than can be waited for.
    """
    every = (HEALTHY, *((one,) for one in defects(table)))
    keep_to_work(table, len(every) - 1)
    bench = Bench(table)
    source = low_source(bench, every)
    listed = measures(table, source)
    fed = dict.fromkeys(measure.condition for measure in listed if measure.condition.power == "low")
    most = max(highest(bench, one, condition) for condition in fed for one in every)
    lines: list[_Line] = []
    for number, measure in enumerate(listed):
        watch(number, len(listed))
        line = _line(bench, measure, meter, every)
        lines += [line] if line.breaks else []
    parts: list[Part] = []
    step = 0
    for key, heading in HEADINGS.items():
        own = [one for one in lines if _part(one.measure) == key]
        if own:
            numbered = tuple(
                SheetLine(step + number, one.measure, one.passes, _watch(table, one))
                for number, one in enumerate(own, 1)
            )
            step += len(own)
            parts.append(Part(f"{len(parts) + 1}. {heading}", BEFORE[key], numbered))
    ohm = resistor(source)
    return Sheet(table, source, ohm, source**2 / ohm, most, tuple(_coils(table)), tuple(parts))


@dataclass(frozen=True, slots=True)
class _Line:
    """A measurement, the readings that pass, and the first defect that fails it for sure."""

    measure: Measure
    passes: Prediction
    breaks: Hypothesis


def _line(bench: Bench, measure: Measure, meter: Meter, every: Sequence[Hypothesis]) -> _Line:
    """The measurement with a defect that breaks it, the empty hypothesis where none does."""
    sound = bench.predicted(HEALTHY, measure)
    passes = meter.widened(measure, sound)
    shown = ((one, bench.predicted(one, measure)) for one in every)
    broken = (one for one, own in shown if own != sound and not meets(meter.widened(measure, own), passes))
    return _Line(measure, passes, next(broken, HEALTHY))


def _part(measure: Measure) -> str:
    if measure.what == "switch":
        return measure.condition.course or ""
    return measure.condition.power


def _watch(table: ControlTable, line: _Line) -> str:
    """At a switch point the output just before and just after it; of a current what too much of it means."""
    measure = line.measure
    if measure.what == "current":
        return "more: turns or contacts are shorted, and the line stays off"
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
