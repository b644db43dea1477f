"""The output after a sudden step against a tolerance curve: time in decades, percent of nominal."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import log10
from typing import Any

from tapplan.answers.steps import Drawing
from tapplan.control.response import Response
from tapplan.design.standards import Curve
from tapplan.exact import Span
from tapplan.pictures.borne import DECADES, FIRST_MS, borne

WIDTH, HEIGHT = 760, 360
LEFT, RIGHT, TOP, BOTTOM = 64, 20, 20, 48


@dataclass(frozen=True, slots=True)
class Axes:
    """From ms and percent of nominal to places in the picture; `top` is the percentage at its upper edge."""

    top: Fraction
    left: int = LEFT
    wide: int = WIDTH - LEFT - RIGHT
    bottom: int = HEIGHT - BOTTOM
    high: int = HEIGHT - TOP - BOTTOM
    first_ms: int = FIRST_MS
    decades: int = DECADES

    def full_v(self, nominal: Fraction) -> Fraction:
        """The volts at the upper edge."""
        return nominal * self.top / 100

    @property
    def last_ms(self) -> Fraction:
        """The time at the right edge."""
        return Fraction(self.first_ms * 10**self.decades)


def axes_of(outputs: Iterable[Span], nominal: Fraction) -> Axes:
    """Axes with room for these outputs, at least to 150 % of nominal."""
    return Axes(max([Fraction(150), *(110 * one.high / nominal for one in outputs)]))


def envelope(response: Response, settled: Span | None, curve: Curve, nominal: Fraction) -> Any:
    """The drawing: what the output can be at its latest, phase by phase, and the limits of the curve.

    `settled` is the output once the relays have settled, None when it is nothing.
    """
    spans = [phase.output for phase in response.phases] + [settled]
    axes = axes_of((one for one in spans if one is not None), nominal)
    drawing = _empty(axes)
    last = Fraction(0)
    for until, span in zip([*(phase.until_ms for phase in response.phases), None], spans, strict=True):
        end = axes.last_ms if until is None else until
        _phase(drawing, _Shown(last, end, span), axes.full_v(nominal))
        last = end
    _limits(drawing, curve, axes)
    return drawing


def step_picture(drawing: Drawing) -> Any:
    """The picture of the worst sudden step against its curve."""
    return envelope(drawing.response, drawing.settled, drawing.curve, drawing.nominal_v)


def stage_for_steps(curve: Curve, axes: Axes) -> Any:
    """The same without a step: a page draws the phases of one into its group `phases`."""
    import drawsvg

    drawing = _empty(axes)
    drawing.append(drawsvg.Group(id="phases"))
    _limits(drawing, curve, axes)
    return drawing


def _empty(axes: Axes) -> Any:
    import drawsvg

    drawing = drawsvg.Drawing(WIDTH, HEIGHT)
    _axes(drawing, axes.top)
    return drawing


def _limits(drawing: Any, curve: Curve, axes: Axes) -> None:
    """What the curve tolerates at each time, as far as it lies in the picture."""
    import drawsvg

    for edge in borne(curve, float(axes.top)):
        places = [(_x(Fraction(one.time_ms)), _y(Fraction(one.percent) / axes.top)) for one in edge]
        drawing.append(drawsvg.Lines(*(end for place in places for end in place), class_="limit", fill="none"))


def _x(time_ms: Fraction) -> float:
    decades = log10(max(float(time_ms), FIRST_MS) / FIRST_MS)
    return LEFT + min(decades / DECADES, 1) * (WIDTH - LEFT - RIGHT)


def _y(share: Fraction) -> float:
    return HEIGHT - BOTTOM - float(share) * (HEIGHT - TOP - BOTTOM)


@dataclass(frozen=True, slots=True)
class _Shown:
    """From when to when, in ms, the output can be what; None: nothing."""

    from_ms: Fraction
    until_ms: Fraction
    output: Span | None


def _phase(drawing: Any, shown: _Shown, full_v: Fraction) -> None:
    """One phase as a bar; `full_v` are the volts at the top of the picture."""
    import drawsvg

    span = shown.output
    low, high = (Fraction(0), Fraction(0)) if span is None else (span.low / full_v, span.high / full_v)
    x = _x(shown.from_ms)
    height = max(_y(low) - _y(high), 2)
    drawing.append(drawsvg.Rectangle(x, _y(high), max(_x(shown.until_ms) - x, 0), height, class_="bar"))


def _axes(drawing: Any, top: Fraction) -> None:
    import drawsvg

    for percent in range(0, int(top) + 1, 50):
        y = _y(Fraction(percent) / top)
        drawing.append(drawsvg.Line(LEFT, y, WIDTH - RIGHT, y, class_="grid"))
        drawing.append(drawsvg.Text(f"{percent} %", 11, LEFT - 6, y + 4, text_anchor="end", class_="faint"))
    base = HEIGHT - BOTTOM
    for decade, name in enumerate(("1 ms", "10 ms", "100 ms", "1 s", "10 s")):
        x = _x(Fraction(FIRST_MS * 10**decade))
        drawing.append(drawsvg.Line(x, TOP, x, base, class_="grid"))
        drawing.append(drawsvg.Text(name, 11, x, base + 16, text_anchor="middle", class_="faint"))
    middle = (LEFT + WIDTH - RIGHT) / 2
    drawing.append(drawsvg.Text("since the step", 12, middle, HEIGHT - 8, text_anchor="middle", class_="words"))
