"""Mains and output over time, one strip under the other, and under them which band was in force.

A lane a band, in the order of the inputs as in the strip above, so that lanes rise where the line does: as high in
each column as the share of its time. What stood for any time at all is drawn, however narrow its column.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np

from tapplan.answers.words import number
from tapplan.arrays import Mask, Micros
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.pictures.curve import ticks
from tapplan.pictures.dates import TimeRange, time_marks
from tapplan.pictures.stripsheet import (
    BEYOND,
    DATES,
    HEAD,
    LETTER,
    TOP,
    WIDE,
    StripForm,
    StripSheet,
    Tall,
    VoltStrip,
    path_through,
    runs,
    stairs,
)
from tapplan.pictures.style import hatched
from tapplan.replay.machine import Machine
from tapplan.replay.view import LogView, Reach
from tapplan.replay.zone import Zone

LANE, BAR, LEAST_BAR = 17, 13, 1.5  # a lane, what of it is full, and the least of what is not nought
HATCHED = 8  # a gap wider than this is hatched; a narrower one would show no line of it
MARK_ROOM = 35  # between two fine marks of time
NEAR_END = 6
MOST_WIDER = 0.6  # of what a strip shows anyway: so much more on either side for volts beyond it
AROUND = 0.04


def strips(view: LogView, machine: Machine, form: StripForm = WIDE) -> Any:
    """The drawing; of a view with at least one column."""
    import drawsvg

    table, unit = machine.table, float(machine.grain.volts)
    line, output = view.line(unit), view.output(machine.ratios, unit)
    above = VoltStrip(form, TOP, _line_span(table, line))
    below = VoltStrip(form, above.bottom + HEAD + 2 * BEYOND, _output_span(table, output))
    lanes, first = _lanes(view, machine.names), below.bottom + BEYOND + HEAD
    bottom = first + LANE * len(lanes)
    drawing = drawsvg.Drawing(form.width, bottom + DATES)
    sheet = StripSheet(drawing, form, view, hatched(drawing, f"missing-{form.width}"))
    through = [Tall(above.top, above.bottom), Tall(below.top, below.bottom), Tall(first, bottom)]
    _dates(sheet, machine.zone, through)
    _line_strip(sheet, above, table, line)
    _output_strip(sheet, below, table, output)
    sheet.words("in force, share of the time", first - 8)
    for place, lane in enumerate(lanes):
        _lane(sheet, first + LANE * place, lane)
    return drawing


# --- which volts are shown ---


def _line_span(table: ControlTable, line: Reach) -> Span:
    """Every hold and the mains range, and the line as far as that leaves them legible."""
    holds = [row.input_hold for row in table.rows if row.input_hold is not None]
    spans = [table.design.mains.span, *holds]
    return _wider(Span(min(one.low for one in spans), max(one.high for one in spans)), line)


def _output_span(table: ControlTable, output: Reach) -> Span:
    window = table.design.output.window
    around = (window.high - window.low) / 4
    return _wider(Span(window.low - around, window.high + around), output)


def _wider(span: Span, reach: Reach) -> Span:
    """A little around it, and farther where volts are beyond, but not so far that all else is flat."""
    low, high = float(span.low), float(span.high)
    wide, stood = high - low, ~np.isnan(reach.least)
    least, most = float(reach.least.min(initial=low, where=stood)), float(reach.most.max(initial=high, where=stood))
    floor, top = max(least, low - MOST_WIDER * wide), min(most, high + MOST_WIDER * wide)
    return Span(Fraction(floor - AROUND * wide), Fraction(top + AROUND * wide))


# --- the strips ---


def _line_strip(sheet: StripSheet, strip: VoltStrip, table: ControlTable, line: Reach) -> None:
    sheet.words(f"line, V: {_reach_told(line)}", strip.top - 10)
    _frame(sheet, strip)
    _handovers(sheet, strip, table)
    _reach(sheet, strip, line)


def _output_strip(sheet: StripSheet, strip: VoltStrip, table: ControlTable, output: Reach) -> None:
    window = table.design.output.window
    shade = Tall(strip.y(window.high), strip.y(window.low))
    sheet.words(f"output without load, V: {_reach_told(output)}", strip.top - BEYOND - 10)
    sheet.across(shade, "window")
    _frame(sheet, strip)
    middle = (shade.top + shade.bottom) / 2
    sheet.right("window", middle - 2)
    sheet.right(_ends(window.low, window.high), middle + 11)
    _reach(sheet, strip, output)
    _beyond(sheet, strip, window, output)


def _ends(low: Fraction, high: Fraction) -> str:
    return f"{number(low, 1)}\u2013{number(high, 1)}"


def _reach_told(reach: Reach) -> str:
    stood = ~np.isnan(reach.least)
    if not stood.any():
        return "none"
    return f"{reach.least[stood].min():.1f} to {reach.most[stood].max():.1f}"


def _frame(sheet: StripSheet, strip: VoltStrip) -> None:
    """Round volts at the left, and where there is nothing for a gap."""
    import drawsvg

    for volts in ticks(strip.volts, about=5):
        y = strip.y(volts)
        sheet.level(y, "grid")
        if strip.top + NEAR_END < y < strip.bottom - NEAR_END:  # else it would stand upon what is beside
            sheet.left(f"{float(volts):g}", y + 4, "faint")
    xs = sheet.xs
    for run in runs(sheet.view.gaps * 2 > np.diff(sheet.view.edges)):
        x, wide = float(xs[run.start]), float(xs[run.stop] - xs[run.start])
        looks = {"fill": sheet.hatch, "class_": "blank"} if wide > HATCHED else {"class_": "missing"}
        sheet.drawing.append(drawsvg.Rectangle(x, strip.top, wide, strip.form.high, **looks))


@dataclass(frozen=True, slots=True)
class _Label:
    """What stands beside a strip, around a height."""

    y: float
    told: str


def _handovers(sheet: StripSheet, strip: VoltStrip, table: ControlTable) -> None:
    """Where a falling and a rising line change the band, and where they leave all bands."""
    holds = [row.input_hold for row in table.rows if row.input_hold is not None]
    labels = []
    for one, other in pairwise(holds):
        low, high = sorted((one.high, other.low))
        between = Tall(strip.y(high), strip.y(low))
        sheet.across(between, "between")
        sheet.level(between.top, "handover")
        sheet.level(between.bottom, "handover")
        labels.append(_Label((between.top + between.bottom) / 2, _ends(low, high)))
    for volts, side in ((holds[0].low, "<"), (holds[-1].high, ">")) if holds else ():
        sheet.level(strip.y(volts), "limit")
        labels.append(_Label(strip.y(volts), f"away {side} {number(volts, 1)}"))
    for label in _with_room(labels):
        sheet.right(label.told, label.y + 4)


def _with_room(labels: Sequence[_Label]) -> list[_Label]:
    """Labels none upon another: first the outermost, then as many as there is room for."""
    kept: list[_Label] = []
    order = sorted(labels, key=lambda one: one.y)
    for one in (*order[:1], *order[-1:], *order[1:-1]):
        if all(abs(one.y - other.y) >= 13 for other in kept):
            kept.append(one)
    return kept


def _reach(sheet: StripSheet, strip: VoltStrip, reach: Reach) -> None:
    """From the least to the most in each column."""
    xs, paths = sheet.xs, []
    for run in runs(~np.isnan(reach.least)):
        edges = xs[run.start : run.stop + 1]
        upper = stairs(edges, strip.ys(reach.most[run.start : run.stop]))
        lower = stairs(edges, strip.ys(reach.least[run.start : run.stop]))
        paths.append(f"M{path_through([*upper, *reversed(lower)])}Z")
    sheet.path("stood", "".join(paths))


def _beyond(sheet: StripSheet, strip: VoltStrip, window: Span, output: Reach) -> None:
    """A mark above or below the strip for each column with time outside the window in a band."""
    outside = sheet.view.outside > sheet.view.away
    up = np.nan_to_num(output.most - float(window.high), nan=-np.inf)
    down = np.nan_to_num(float(window.low) - output.least, nan=np.inf)
    high = outside & ((up > 0) | (up >= down))  # of neither, by less than a grain: the nearer end
    low = outside & ((down > 0) | (down > up))
    _ticks_at(sheet, high, "too high", strip.top - BEYOND)
    _ticks_at(sheet, low, "too low", strip.bottom + 3)


def _ticks_at(sheet: StripSheet, where: Mask, told: str, y: float) -> None:
    if where.any():
        middles = (sheet.xs[1:] + sheet.xs[:-1])[where] / 2
        sheet.path("beyond", "".join(f"M{x:.1f} {y:g}v{BEYOND - 3}" for x in middles.tolist()))
        sheet.left(told, y + 7, "hurt")


# --- the lanes ---


@dataclass(frozen=True)
class _Lane:
    """What is in force or missing, how long in each column, of how long in all, and how it looks."""

    told: str
    lasting: Micros
    of: int
    kind: str = "share"


def _lanes(view: LogView, names: Sequence[str]) -> list[_Lane]:
    """The bands from the highest inputs down, being away, and the gaps where there are any."""
    seen = int(view.lasting.sum())
    found = [_Lane(name, view.lasting[place], seen) for place, name in enumerate(names[:-1])]
    found = [*reversed(found), _Lane(names[-1], view.away, seen, "away")]
    gaps = _Lane("gap", view.gaps, int(view.edges[-1] - view.edges[0]), "missing")
    return [*found, gaps] if view.gaps.any() else found


def _lane(sheet: StripSheet, top: float, lane: _Lane) -> None:
    base = top + BAR + 1
    sheet.level(base, "grid")
    sheet.left(lane.told, base - 3)
    sheet.right(_share_told(int(lane.lasting.sum()), lane.of), base - 3)
    share = lane.lasting / np.diff(sheet.view.edges)
    heights = base - np.where(share > 0, np.maximum(share * BAR, LEAST_BAR), 0)
    xs, bars = sheet.xs, []
    for run in runs(share > 0):
        points = stairs(xs[run.start : run.stop + 1], heights[run.start : run.stop])
        bars.append(f"M{points[0].x:.1f} {base:g}L{path_through(points)}V{base:g}Z")
    sheet.path(lane.kind, "".join(bars))


def _share_told(lasting: int, of: int) -> str:
    """Per cent; what is not nought is not told as nought, nor what is not all as all."""
    if not lasting:
        return "none"
    percent = 100 * lasting / of
    if percent < 0.05:
        return "< 0.1 %"
    return "> 99.9 %" if percent >= 99.95 and lasting < of else f"{percent:.1f} %"


# --- time ---


def _dates(sheet: StripSheet, zone: Zone, through: Sequence[Tall]) -> None:
    """Upright lines through all that is above, and under them what they mean: fine and coarse."""
    form, view, bottom = sheet.form, sheet.view, through[-1].bottom
    marks = time_marks(TimeRange(int(view.edges[0]), int(view.edges[-1]), zone), form.across // MARK_ROOM)
    fine, coarse = (
        [_Placed(float(sheet.places(np.array(mark.time))), mark.told, middle) for mark in row]
        for row, middle in ((marks.fine, True), (marks.coarse, False))
    )
    for kind, places in (("fine", fine), ("axis", coarse[1:])):
        steps = (f"M{one.x:.1f} {tall.top:g}V{tall.bottom:g}" for one in places for tall in through)
        sheet.path(kind, "".join(steps))
    _labels(sheet, _apart(fine), bottom + 15, "faint")
    _labels(sheet, [one for one in _apart(coarse[::-1]) if one.end <= form.width], bottom + 29, "small")


@dataclass(frozen=True, slots=True)
class _Placed:
    """A label under the axis, around a place or beginning there."""

    x: float
    told: str
    middle: bool

    @property
    def wide(self) -> float:
        return LETTER * len(self.told)

    @property
    def begin(self) -> float:
        return self.x - (self.wide / 2 if self.middle else 0)

    @property
    def end(self) -> float:
        return self.begin + self.wide


def _apart(labels: Sequence[_Placed]) -> list[_Placed]:
    """Those that do not come upon one that stands before them in the list."""
    kept: list[_Placed] = []
    for one in labels:
        if all(one.end + 5 < other.begin or other.end + 5 < one.begin for other in kept):
            kept.append(one)
    return kept


def _labels(sheet: StripSheet, labels: Sequence[_Placed], y: float, kind: str) -> None:
    import drawsvg

    for one in labels:
        anchor = "middle" if one.middle else "start"
        sheet.drawing.append(drawsvg.Text(one.told, 11, one.x, y, text_anchor=anchor, class_=kind))
