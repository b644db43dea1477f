"""The output after a sudden step against a tolerance curve: time in decades, percent of nominal."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import log10
from typing import Any

from tapplan.control.response import Response
from tapplan.design.standards import Curve
from tapplan.exact import Span

WIDTH, HEIGHT = 760, 360
LEFT, RIGHT, TOP, BOTTOM = 64, 20, 20, 48
FIRST_MS, DECADES = 1, 4
FINE = 400  # times at which the curve's limits are drawn


def envelope(response: Response, settled: Span | None, curve: Curve, nominal: Fraction) -> Any:
    """The drawing: what the output can be at its latest, phase by phase, and the limits of the curve.

    `settled` is the output once the relays have settled, None when it is nothing.
    """
    import drawsvg

    spans = [phase.output for phase in response.phases] + [settled]
    top = max([Fraction(150), *(110 * span.high / nominal for span in spans if span is not None)])
    drawing = drawsvg.Drawing(WIDTH, HEIGHT)
    _axes(drawing, top)
    last = Fraction(0)
    for until, span in zip([*(phase.until_ms for phase in response.phases), None], spans, strict=True):
        end = Fraction(FIRST_MS * 10**DECADES) if until is None else until
        _phase(drawing, _Shown(last, end, span), nominal * top / 100)
        last = end
    for limit in (curve.may_rise_to, curve.may_fall_to):
        points: list[float] = []
        for step in range(FINE + 1):
            time = Fraction(round(FIRST_MS * 10 ** (DECADES * step / FINE) * 1000), 1000)
            percent = limit(time / 1000)
            if percent is not None and percent <= top:
                points += [_x(time), _y(percent / top)]
        if len(points) >= 4:
            drawing.append(drawsvg.Lines(*points, class_="limit"))
    return drawing


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
