"""Output against input: each band with its hysteresis, the window, the worst case as a shade, gaps marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from tapplan.control.table import ControlTable, Row
from tapplan.exact import Span

WIDTH, HEIGHT = 760, 420
LEFT, RIGHT, TOP, BOTTOM = 64, 20, 20, 48


@dataclass(frozen=True, slots=True)
class Scale:
    """From volts to places in the picture."""

    inputs: Span
    outputs: Span

    def x(self, volts: Fraction) -> float:
        """Across."""
        share = float((volts - self.inputs.low) / (self.inputs.high - self.inputs.low))
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, volts: Fraction) -> float:
        """Down."""
        share = float((volts - self.outputs.low) / (self.outputs.high - self.outputs.low))
        return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def scale_of(table: ControlTable) -> Scale:
    """Room for every hold, the mains range and the window, with a little around."""
    mains, window = table.design.mains.span, table.design.output.window
    holds = [row.input_hold for row in table.rows if row.input_hold is not None]
    low = min([mains.low, *(one.low for one in holds)])
    high = max([mains.high, *(one.high for one in holds)])
    outputs = [end for row in table.rows if (one := _worst(row)) for end in (one.low, one.high)]
    around = (high - low) / 20
    floor, top = min([window.low, *outputs]), max([window.high, *outputs])
    return Scale(Span(low - around, high + around), Span(floor - (top - floor) / 10, top + (top - floor) / 10))


def _around(one: Scale, two: Scale) -> Scale:
    """Room for both."""
    inputs = Span(min(one.inputs.low, two.inputs.low), max(one.inputs.high, two.inputs.high))
    outputs = Span(min(one.outputs.low, two.outputs.low), max(one.outputs.high, two.outputs.high))
    return Scale(inputs, outputs)


def _worst(row: Row) -> Span | None:
    return None if row.input_hold is None else row.output_over(row.input_hold)


@dataclass(frozen=True, slots=True)
class Mark:
    """An input and an output in volts, and the code of what is wrong there."""

    input_v: Fraction
    output_v: Fraction
    code: str


def curve(
    table: ControlTable, gaps: Sequence[Span], older: ControlTable | None = None, marks: Sequence[Mark] = ()
) -> Any:
    """The drawing, an older revision's bands dashed upon it, marks at what is wrong.

    A page may move the marker in its group `now`.
    """
    import drawsvg

    scale = scale_of(table) if older is None else _around(scale_of(table), scale_of(older))
    drawing = drawsvg.Drawing(WIDTH, HEIGHT)
    _frame(drawing, table, scale)
    for gap in gaps:
        x, wide = scale.x(gap.low), max(scale.x(gap.high) - scale.x(gap.low), 3)
        drawing.append(drawsvg.Rectangle(x, TOP, wide, HEIGHT - TOP - BOTTOM, class_="gap"))
        drawing.append(drawsvg.Text("gap", 12, x + wide / 2, TOP + 14, text_anchor="middle", class_="hurt"))
    for row in table.rows:
        _band(drawing, table, scale, row)
    _moves(drawing, table, scale)
    for row in older.rows if older is not None else ():
        if row.input_hold is not None and row.ratio is not None:
            ends = [(scale.x(one), scale.y(row.ratio * one)) for one in (row.input_hold.low, row.input_hold.high)]
            drawing.append(drawsvg.Line(*ends[0], *ends[1], class_="older"))
    for number, mark in enumerate(marks):
        if mark.input_v in scale.inputs and mark.output_v in scale.outputs:
            x, y = scale.x(mark.input_v), scale.y(mark.output_v)
            drawing.append(drawsvg.Lines(x - 6, y - 6, x + 6, y + 6, class_="cross"))
            drawing.append(drawsvg.Lines(x - 6, y + 6, x + 6, y - 6, class_="cross"))
            words = {"text_anchor": "end", "class_": "hurt"}
            drawing.append(drawsvg.Text(mark.code, 12, x - 10, y + 4 + 12 * (number % 3), **words))
    if older is None:  # one marker in a page
        marker = drawsvg.Group(id="now", visibility="hidden")
        marker.append(drawsvg.Circle(0, 0, 6, class_="point"))
        drawing.append(marker)
    return drawing


def _frame(drawing: Any, table: ControlTable, scale: Scale) -> None:
    import drawsvg

    window, mains = table.design.output.window, table.design.mains.span
    top, bottom = scale.y(window.high), scale.y(window.low)
    drawing.append(drawsvg.Rectangle(LEFT, top, WIDTH - LEFT - RIGHT, bottom - top, class_="window"))
    for volts in ticks(scale.outputs):
        y = scale.y(volts)
        drawing.append(drawsvg.Line(LEFT, y, WIDTH - RIGHT, y, class_="grid"))
        drawing.append(drawsvg.Text(f"{float(volts):g}", 11, LEFT - 6, y + 4, text_anchor="end", class_="faint"))
    for volts in ticks(scale.inputs):
        x = scale.x(volts)
        drawing.append(drawsvg.Line(x, HEIGHT - BOTTOM, x, HEIGHT - BOTTOM + 5, class_="axis"))
        drawing.append(
            drawsvg.Text(f"{float(volts):g}", 11, x, HEIGHT - BOTTOM + 18, text_anchor="middle", class_="faint")
        )
    for volts in (mains.low, mains.high):
        drawing.append(drawsvg.Line(scale.x(volts), TOP, scale.x(volts), HEIGHT - BOTTOM, class_="limit"))
    drawing.append(drawsvg.Line(LEFT, HEIGHT - BOTTOM, WIDTH - RIGHT, HEIGHT - BOTTOM, class_="axis"))
    middle = (LEFT + WIDTH - RIGHT) / 2
    drawing.append(drawsvg.Text("line, V", 12, middle, HEIGHT - 8, text_anchor="middle", class_="words"))
    turned = f"rotate(-90 14 {HEIGHT / 2})"
    drawing.append(
        drawsvg.Text("output, V", 12, 14, HEIGHT / 2, text_anchor="middle", transform=turned, class_="words")
    )


def ticks(span: Span, about: int = 7) -> list[Fraction]:
    """Round numbers inside a span, some `about` of them."""
    rough = float(span.high - span.low) / about
    power = Fraction(10) ** len(str(int(rough))) / 10 if rough >= 1 else Fraction(1, 10)
    step = next((power * size for size in (1, 2, 5, 10) if power * size >= Fraction(rough)), power * 10)
    first = -(-span.low // step)
    found = []
    while first * step <= span.high:
        found.append(first * step)
        first += 1
    return found


def _band(drawing: Any, table: ControlTable, scale: Scale, row: Row) -> None:
    import drawsvg

    hold, real = row.input_hold, row.real_hold(table.blur)
    if hold is None or real is None or row.ratio is None or row.full is None:
        return
    corners = [(real.low, row.ratio), (real.high, row.ratio), (real.high, row.full), (real.low, row.full)]
    shade = [place for volts, ratio in corners for place in (scale.x(volts), scale.y(ratio * volts))]
    group = drawsvg.Group()
    group.append(drawsvg.Lines(*shade, close=True, class_="worst"))
    reach = [(scale.x(volts), scale.y(row.ratio * volts)) for volts in (real.low, real.high)]
    group.append(drawsvg.Line(*reach[0], *reach[1], class_="reach"))
    ends = [(scale.x(volts), scale.y(row.ratio * volts)) for volts in (hold.low, hold.high)]
    group.append(drawsvg.Line(*ends[0], *ends[1], class_="band"))
    middle = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2)
    name = row.name if len(row.name) <= 16 else row.name[:15] + "\u2026"
    group.append(drawsvg.Text(name, 12, middle[0] - 6, middle[1] - 8, text_anchor="end", class_="words"))
    drawing.append(group)


def _moves(drawing: Any, table: ControlTable, scale: Scale) -> None:
    """The steps between neighbours: one where a rising line leaves, one where a falling line does."""
    for below, above in pairwise(table.rows):
        if below.input_hold and above.input_hold and below.ratio and above.ratio:
            up, down = below.input_hold.high, above.input_hold.low
            if up < down:
                continue  # a gap: no band is entered there
            _step(drawing, scale.x(up), scale.y(below.ratio * up), scale.y(above.ratio * up))
            _step(drawing, scale.x(down), scale.y(above.ratio * down), scale.y(below.ratio * down))


def _step(drawing: Any, x: float, start: float, finish: float) -> None:
    import drawsvg

    drawing.append(drawsvg.Line(x, start, x, finish, class_="step"))
    tip = 7 if finish > start else -7
    drawing.append(drawsvg.Lines(x, finish, x - 4, finish - tip, x + 4, finish - tip, close=True, class_="arrow"))


def bandbars(table: ControlTable, gaps: Sequence[Span]) -> Any:
    """The readings that keep each band, one bar under the other: overlaps are hysteresis, gaps are marked."""
    import drawsvg

    scale = scale_of(table)
    row_height = 26
    height = TOP + row_height * len(table.rows) + BOTTOM
    drawing = drawsvg.Drawing(WIDTH, height)
    base = TOP + row_height * len(table.rows)
    for volts in ticks(scale.inputs):
        x = scale.x(volts)
        drawing.append(drawsvg.Line(x, TOP, x, base, class_="grid"))
        drawing.append(drawsvg.Text(f"{float(volts):g}", 11, x, base + 16, text_anchor="middle", class_="faint"))
    for gap in gaps:
        wide = max(scale.x(gap.high) - scale.x(gap.low), 3)
        drawing.append(drawsvg.Rectangle(scale.x(gap.low), TOP, wide, base - TOP, class_="gap"))
    for number, row in enumerate(table.rows):
        if row.input_hold is None:
            continue
        x, y = scale.x(row.input_hold.low), TOP + number * row_height + 4
        drawing.append(drawsvg.Rectangle(x, y, scale.x(row.input_hold.high) - x, row_height - 8, class_="bar"))
        drawing.append(drawsvg.Text(_told(row), 12, x + 6, y + 13, class_="words"))
    for volts in (table.design.mains.span.low, table.design.mains.span.high):
        drawing.append(drawsvg.Line(scale.x(volts), TOP, scale.x(volts), base, class_="limit"))
    drawing.append(drawsvg.Text("line, V", 12, WIDTH / 2, height - 8, text_anchor="middle", class_="words"))
    return drawing


def _told(row: Row) -> str:
    driven = "+".join(row.energised) or "none"
    text = f"{row.name}: {driven}"
    return text if len(text) <= 40 else text[:39] + "\u2026"
