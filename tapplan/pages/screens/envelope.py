"""The output after a sudden step against a tolerance curve, drawn in text: time in decades, percent of nominal."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from tapplan.answers.steps import Drawing
from tapplan.control.response import Phase
from tapplan.exact import Span

FIRST_MS, DECADES = 1, 4  # from 1 ms to 10 s
HEIGHT = 17
LEGEND = "# output, at its latest; - the curve's limits; X both in one place"


def envelope(drawing: Drawing, width: int) -> list[str]:
    """The picture as lines of plain text, `width` characters wide (48 at least)."""
    response, settled, curve, nominal = drawing.response, drawing.settled, drawing.curve, drawing.nominal_v
    columns = max(width - 8, 40)
    times = [_time_ms(column, columns) for column in range(columns)]
    spans = [_at(response.phases, time, settled) for time in times]
    top = max([Fraction(200), *(100 * span.high / nominal for span in spans if span is not None)])
    row_of = _rows(top)
    grid = [[" "] * columns for _ in range(HEIGHT)]
    for column, (time, span) in enumerate(zip(times, spans, strict=True)):
        limits = (curve.may_rise_to(time / 1000), curve.may_fall_to(time / 1000))
        for limit in limits:
            if limit is not None and limit <= top:
                grid[row_of(limit)][column] = "-"
        if span is not None:
            for row in range(row_of(100 * span.high / nominal), row_of(100 * span.low / nominal) + 1):
                grid[row][column] = "X" if grid[row][column] == "-" else "#"
    lines = [f"{_label(row, top):>5} |{''.join(marks).rstrip()}" for row, marks in enumerate(grid)]
    return [*lines, "      +" + "-" * columns, _ticks(columns)]


def _time_ms(column: int, columns: int) -> Fraction:
    return Fraction(round(FIRST_MS * 10 ** (DECADES * (column + 0.5) / columns) * 1000), 1000)


def _at(phases: tuple[Phase, ...], time: Fraction, settled: Span | None) -> Span | None:
    return next((phase.output for phase in phases if time <= phase.until_ms), settled)


def _rows(top: Fraction) -> Callable[[Fraction], int]:
    return lambda percent: min(max(round((HEIGHT - 1) * (1 - percent / top)), 0), HEIGHT - 1)


def _label(line: int, top: Fraction) -> str:
    return f"{float(top * (HEIGHT - 1 - line) / (HEIGHT - 1)):.0f} %" if line % 4 == 0 else ""


def _ticks(columns: int) -> str:
    line = ""
    for decade, name in enumerate(("1 ms", "10 ms", "100 ms", "1 s", "10 s")):
        at = 7 + round(columns * decade / DECADES)
        line = f"{line:<{max(at - (len(name) if decade == DECADES else 0), 0)}}{name}"
    return line
