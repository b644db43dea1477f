"""The test sheet of a design: what `bench` answers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, ends, more, names, number, said, word
from tapplan.answers.origin import origin_told
from tapplan.answers.words import CAUTION
from tapplan.bench.measures import YES_NO
from tapplan.bench.meter import Meter
from tapplan.bench.offered import HowFar, unwatched
from tapplan.bench.sheet import Coils, Sheet, SheetLine, sheet
from tapplan.bench.words import asked, condition_told, measure_told, readings_told
from tapplan.control.table import ControlTable
from tapplan.design.fingerprint import fingerprint
from tapplan.exact import Span

ENDLESS = 10**6  # a reading that may be as high as this has no upper limit worth printing

# What is done before any measurement; common practice, no source. Local codes and licensed practice come first.
SET_UP = (
    "Only for people qualified for such circuits; local codes and the maker's instructions come before this sheet.",
    "Unplug, take the battery out or off, lock out. Discharge large capacitors through a resistor, prove below 50 V.",
    "Power-off and small-source tests first; the line last, and only when they have passed.",
    "On the line: isolation transformer, then variable supply, then a series incandescent lamp. A variable "
    "autotransformer does not isolate, nor does the stage itself.",
    "One hand, insulated tools, a meter of the right category; an oscilloscope only on the isolated side.",
    "On the line and on battery a lamp of 25 to 60 W at the output, on the small source 10 kohm: an open path then "
    "reads nothing and not a ghost.",
    "After a repair: earth continuity and insulation, then this sheet once more from the top.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilsRow:
    """One band: its true inputs, the coils driven, and what the output should stand between."""

    band: Annotated[str, word("band")]
    input_v: Annotated[Span | None, ends("line volts", unit="")]
    energised: Annotated[tuple[str, ...], coils("coils driven")]
    output_v: Annotated[Span | None, ends("output volts", unit="")]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRow:
    """One measurement: the readings that pass, and what to watch for. `limits`: the ends of the only span, if any."""

    step: Annotated[int, number("step", digits=0)]
    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    asked: Annotated[str, word()]
    unit: Annotated[str, word()]
    to_do: Annotated[str, said("measure")]
    passes: Annotated[str, word("passes")]
    spans: Annotated[tuple[tuple[float, float], ...], more()]
    watch: Annotated[str, word()]
    limits: tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRows:
    """A part of the sheet, with what to do before it."""

    heading: Annotated[str, word("part")]
    before: Annotated[str, word("before")]
    lines: Annotated[tuple[LineRow, ...], more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSheet(Answer):
    """The whole sheet; `most_v` is the most volts that the small source can bring about, healthy or not."""

    heading = "Test sheet"
    caution = CAUTION

    title: str
    fingerprint: Annotated[str, word()]
    source_v: Annotated[Fraction, number()]
    resistor_ohm: Annotated[Fraction, number()]
    resistor_w: Annotated[Fraction, number()]
    most_v: Annotated[Fraction, number()]
    set_up: Annotated[tuple[str, ...], names()]
    coils: Annotated[tuple[CoilsRow, ...], more()]
    sections: Annotated[tuple[PartRows, ...], more(key="parts")]
    origin_told: str

    @property
    def source_told(self) -> str:
        """What the small source can do to a hand."""
        return (
            f"The small source is {float(self.source_v):g} V AC, isolated, through {float(self.resistor_ohm):g} ohm "
            f"(a dead short burns {float(self.resistor_w):.1f} W in it: take one of twice that). Its current is the "
            "volts across this resistor over its ohms. Fed as said here, up to "
            f"{float(self.most_v):.0f} V can stand somewhere on the winding, whatever single fault it has; fed "
            "elsewhere, far more."
        )

    @property
    def lines(self) -> tuple[LineRow, ...]:
        """All measurements in order."""
        return tuple(line for part in self.sections for line in part.lines)

    def rows(self, part: str | None = None) -> tuple[LineRow | CoilsRow | PartRows, ...]:
        """The measurements, or a table by name."""
        return self.lines if part is None else super(BenchSheet, self).rows(part)


def bench_sheet(table: ControlTable, meter: Meter, watch: HowFar = unwatched) -> BenchSheet:
    """The sheet for one design and meter; `watch` is told how far it is.

    Raises:
        UsageError: it would take longer than can be waited for.
    """
    return bench_sheet_of(sheet(table, meter, watch))


def bench_sheet_of(made: Sheet) -> BenchSheet:
    """The same of a sheet at hand."""
    return BenchSheet(
        title=made.table.design.title,
        fingerprint=fingerprint(made.table.stated),
        source_v=made.source_v,
        resistor_ohm=made.resistor_ohm,
        resistor_w=made.resistor_w,
        most_v=made.most_v,
        set_up=SET_UP,
        coils=tuple(_coils(one) for one in made.coils),
        origin_told=origin_told(made.table),
        sections=tuple(
            PartRows(heading=part.heading, before=part.before, lines=tuple(_line(one) for one in part.lines))
            for part in made.parts
        ),
    )


def _coils(one: Coils) -> CoilsRow:
    return CoilsRow(band=one.name, input_v=one.inputs, energised=one.energised, output_v=one.output)


def _line(line: SheetLine) -> LineRow:
    told = asked(line.measure)
    return LineRow(
        step=line.step,
        condition=condition_told(line.measure.condition),
        measure=measure_told(line.measure),
        asked=told,
        unit=line.measure.unit,
        to_do=f"{told} ({line.watch})" if line.watch else told,
        passes=readings_told(line.measure, line.passes),
        spans=tuple((float(one.low), float(one.high)) for one in line.passes),
        watch=line.watch,
        limits=_limits(line),
    )


def _limits(line: SheetLine) -> tuple[str, str]:
    if line.measure.what in YES_NO or len(line.passes) != 1 or line.passes[0].high > ENDLESS:
        return "", ""
    return f"{float(line.passes[0].low):.4g}", f"{float(line.passes[0].high):.4g}"
