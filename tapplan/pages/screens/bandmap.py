"""The band map: along the mains range, which band holds where, where bands overlap, where nothing holds."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.answers.table import TruthTable
from tapplan.answers.words import number
from tapplan.exact import Span

LEGEND = "[===] readings that keep the band, in input volts; one above another: overlap; xxx no band, or no state"


@dataclass(frozen=True, slots=True)
class _Scale:
    """Input volts to columns of text."""

    low: Fraction
    high: Fraction
    columns: int

    def column(self, volts: Fraction) -> int:
        share = (volts - self.low) / (self.high - self.low)
        return round(share * (self.columns - 1))


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Some inputs and their name, drawn with a mark at each end and one in between."""

    name: str
    inputs: Span
    marks: str


def band_map(answer: TruthTable, width: int) -> list[str]:
    """The map as lines of plain text, at most `width` characters wide (40 at least)."""
    holds = [_Stretch(row.band, row.input_hold, "[=]") for row in answer.bands if row.input_hold is not None]
    ends = [answer.mains, *(one.inputs for one in holds)]
    gaps = [_Stretch(gap.code, Span(gap.from_v, gap.to_v), "xxx") for gap in answer.gaps]
    shown = [_Stretch("mains range", answer.mains, "|-|"), *holds, *gaps]
    label = min(max(len(one.name) for one in shown), 24)
    scale = _Scale(min(end.low for end in ends), max(end.high for end in ends), max(width, 40) - label - 20)
    return [_line(one, scale, label) for one in shown]


def _line(one: _Stretch, scale: _Scale, label: int) -> str:
    first, last = scale.column(one.inputs.low), scale.column(one.inputs.high)
    left, inner, right = tuple(one.marks)
    bar = left + inner * (last - first - 1) + right if last > first else inner
    shown = one.name if len(one.name) <= label else one.name[: label - 2] + ".."
    ends = f"{number(one.inputs.low, 1)} - {number(one.inputs.high, 1)} V"
    return f"{shown:<{label}} {' ' * first}{bar:<{scale.columns - first}} {ends}"
