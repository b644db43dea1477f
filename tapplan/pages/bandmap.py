"""The band map: along the mains range, which band holds where, where bands overlap, where nothing holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.coverage import inputs_of
from tapplan.checks.finding import Finding
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.pages.words import number

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


def band_map(control: ControlTable, gaps: Sequence[Finding], width: int) -> list[str]:
    """The map as lines of plain text, at most `width` characters wide (40 at least)."""
    rows = [(row.name, row.input_hold) for row in control.rows if row.input_hold is not None]
    mains = control.design.mains.span
    ends = [mains, *(hold for _, hold in rows)]
    low, high = min(end.low for end in ends), max(end.high for end in ends)
    names = [name for name, _ in rows] + [gap.code for gap in gaps] + ["mains range"]
    label = min(max(len(name) for name in names), 24)
    scale = _Scale(low, high, max(width, 40) - label - 20)
    lines = [_line("mains range", (mains, "|-|"), scale, label)]
    lines += [_line(name, (hold, "[=]"), scale, label) for name, hold in rows]
    for gap in gaps:
        lines.append(_line(gap.code, (inputs_of(gap), "xxx"), scale, label))
    return lines


def _line(name: str, drawn: tuple[Span, str], scale: _Scale, label: int) -> str:
    hold, marks = drawn
    first, last = scale.column(hold.low), scale.column(hold.high)
    inner = marks[1] * (last - first - 1)
    bar = marks[0] + inner + marks[2] if last > first else marks[1]
    shown = name if len(name) <= label else name[: label - 2] + ".."
    ends = f"{number(hold.low, 1)} - {number(hold.high, 1)} V"
    return f"{shown:<{label}} {' ' * first}{bar:<{scale.columns - first}} {ends}"
