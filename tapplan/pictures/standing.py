"""How long mains and output stood at which volts: one above the other, so that they can be compared."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from tapplan.answers.logrows import VoltsTime
from tapplan.answers.words import number
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.pictures.curve import ticks

WIDTH, LEFT, RIGHT = 380, 46, 14
TOP, HIGH, HEADS, BOTTOM = 40, 116, 62, 40
MOST_BINS = 110
SIZES = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)  # bins of the answer that make one of the picture
LEAST_BAR = 1.2  # so high is a time that is not nought


@dataclass(frozen=True, slots=True)
class _Bin:
    """From which volts to which, and how long the two voltages stood there."""

    from_v: float
    to_v: float
    line_s: float
    output_s: float


@dataclass(frozen=True, slots=True)
class _Frame:
    """Volts across, shares of the time from a base up."""

    volts: Span
    most: float
    base: float

    def x(self, volts: float | Fraction) -> float:
        share = float(volts - self.volts.low) / float(self.volts.high - self.volts.low)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, share: float) -> float:
        return self.base - share / self.most * HIGH


def standing_picture(rows: Sequence[VoltsTime], design: Design) -> Any:
    """The drawing; of rows in which there is any time."""
    import drawsvg

    bins, mains, window = _bins(rows), design.mains.span, design.output.window
    whole = sum(one.line_s for one in bins)
    most = max(max(one.line_s, one.output_s) for one in bins) / whole
    upper = _Frame(_across(bins, design), most, TOP + HIGH)
    lower = _Frame(upper.volts, most, upper.base + HEADS + HIGH)
    drawing = drawsvg.Drawing(WIDTH, lower.base + BOTTOM)
    _panel(drawing, upper, window)
    for volts in (mains.low, mains.high):
        drawing.append(drawsvg.Line(upper.x(volts), TOP, upper.x(volts), upper.base, class_="limit"))
    _bars(drawing, upper, bins, lambda one: one.line_s / whole)
    _heads(drawing, upper, "line", f"dashed: mains range {_told(mains)} V")
    _panel(drawing, lower, window)
    _bars(drawing, lower, bins, lambda one: one.output_s / whole)
    _heads(drawing, lower, "output, without load", f"shaded: window {_told(window)} V")
    _volts_axis(drawing, lower, max(one.to_v - one.from_v for one in bins))
    return drawing


def _told(span: Span) -> str:
    return f"{number(span.low, 1)} to {number(span.high, 1)}"


def _bins(rows: Sequence[VoltsTime]) -> list[_Bin]:
    """The rows, so many of them together that they can be told apart; empty ones left out."""
    width = rows[0].to_v - rows[0].from_v
    places = [round(one.from_v / width) for one in rows]
    size = next((one for one in SIZES if (places[-1] - places[0]) / one <= MOST_BINS), SIZES[-1])
    found: dict[int, list[float]] = {}
    for place, one in zip(places, rows, strict=True):
        both = found.setdefault(place // size, [0.0, 0.0])
        both[0] += float(one.line_s)
        both[1] += float(one.output_s)
    wide = size * width
    return [_Bin(at * wide, (at + 1) * wide, *both) for at, both in sorted(found.items())]


def _across(bins: Sequence[_Bin], design: Design) -> Span:
    """All that stood, the mains range and the window, with a little around."""
    ends = [end for span in (design.mains.span, design.output.window) for end in (span.low, span.high)]
    low, high = min([*ends, Fraction(bins[0].from_v)]), max([*ends, Fraction(bins[-1].to_v)])
    return Span(low - (high - low) / 50, high + (high - low) / 50)


def _panel(drawing: Any, frame: _Frame, window: Span) -> None:
    """The window as a shade, and how much of the time a height is."""
    import drawsvg

    left, right = frame.x(window.low), frame.x(window.high)
    drawing.append(drawsvg.Rectangle(left, frame.base - HIGH, right - left, HIGH, class_="window"))
    for percent in ticks(Span(Fraction(0), Fraction(frame.most) * 100), about=4):
        y = frame.y(float(percent) / 100)
        drawing.append(drawsvg.Line(LEFT, y, WIDTH - RIGHT, y, class_="grid"))
        told = f"{float(percent):g} %" if percent else "0"
        drawing.append(drawsvg.Text(told, 11, LEFT - 6, y + 4, text_anchor="end", class_="faint"))


def _bars(drawing: Any, frame: _Frame, bins: Sequence[_Bin], share: Callable[[_Bin], float]) -> None:
    import drawsvg

    bars = []
    for one in bins:
        if share(one) > 0:
            y = min(frame.y(share(one)), frame.base - LEAST_BAR)
            bars.append(f"M{frame.x(one.from_v):.1f} {frame.base:g}V{y:.1f}H{frame.x(one.to_v):.1f}V{frame.base:g}Z")
    drawing.append(drawsvg.Raw(f'<path class="share" d="{"".join(bars)}"/>'))


def _heads(drawing: Any, frame: _Frame, told: str, marked: str) -> None:
    """What stands in a panel, and what is marked in it."""
    import drawsvg

    drawing.append(drawsvg.Text(told, 13, LEFT, frame.base - HIGH - 22, class_="words"))
    drawing.append(drawsvg.Text(marked, 11, LEFT, frame.base - HIGH - 7, class_="small"))


def _volts_axis(drawing: Any, frame: _Frame, wide: float) -> None:
    import drawsvg

    for volts in ticks(frame.volts):
        x = frame.x(volts)
        drawing.append(drawsvg.Line(x, frame.base, x, frame.base + 5, class_="axis"))
        drawing.append(
            drawsvg.Text(f"{float(volts):g}", 11, x, frame.base + 17, text_anchor="middle", class_="faint")
        )
    middle = (LEFT + WIDTH - RIGHT) / 2
    drawing.append(
        drawsvg.Text(f"V, a bar each {wide:g} V", 12, middle, frame.base + 33, text_anchor="middle", class_="small")
    )
