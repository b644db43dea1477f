"""The coil in its window, cut across: limb, former, layers with their sections, what is left of the window."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from tapplan.design.coil import Coil, Placed, Run

LEFT, TOP, UNDER, BESIDE = 76, 44, 34, 190
MOST_WIDE, MOST_HIGH = 380.0, 420.0
LINE = 18  # between labels


@dataclass(frozen=True, slots=True)
class CutScale:
    """From millimetres in the window to places in the picture: outward to the right, along the limb downward."""

    points: float

    def across(self, mm: object) -> float:
        """How far to the right."""
        return LEFT + self.long(mm)

    def down(self, mm: object) -> float:
        """How far down."""
        return TOP + self.long(mm)

    def long(self, mm: object) -> float:
        """A length."""
        return float(mm) * self.points  # type: ignore[arg-type]


def coil_picture(coil: Coil) -> Any:
    """The drawing of one side of the coil, sections named where they lie."""
    import drawsvg

    window = coil.limb.window
    scale = CutScale(min(MOST_WIDE / float(window.wide_mm), MOST_HIGH / float(window.high_mm)))
    right, bottom = scale.across(window.wide_mm), scale.down(window.high_mm)
    last = max([bottom, *(label.at for label in _labels(coil, scale))])
    drawing = drawsvg.Drawing(right + BESIDE, max(bottom, last + 2 * LINE) + UNDER)
    _limb(drawing, right, bottom)
    _former(drawing, coil, scale)
    for number, one in enumerate(coil.placed):
        for run in one.runs:
            _run(drawing, _bar(coil, scale, one.turn.wide_mm, run), f"copper{number % 2}")
    _names(drawing, coil, scale, right)
    return drawing


def _limb(drawing: Any, right: float, bottom: float) -> None:
    """The iron around the window, and which flange is which."""
    import drawsvg

    drawing.append(drawsvg.Rectangle(LEFT - 22, TOP - 8, 22, bottom - TOP + 16, class_="iron"))
    drawing.append(drawsvg.Rectangle(LEFT, TOP, right - LEFT, bottom - TOP, class_="axis"))
    drawing.append(drawsvg.Text("limb", 11, LEFT - 28, (TOP + bottom) / 2, text_anchor="end", class_="words"))
    drawing.append(drawsvg.Text("start flange", 11, LEFT, TOP - 14, class_="small"))
    drawing.append(drawsvg.Text("far flange", 11, LEFT, bottom + 22, class_="small"))


def _former(drawing: Any, coil: Coil, scale: CutScale) -> None:
    """Base and flanges, and how far the coil is thought to bulge."""
    import drawsvg

    former, high = coil.former, coil.limb.window.high_mm
    base, flange, out = (scale.long(one) for one in (former.base, former.flange_mm, coil.build_mm))
    top, bottom = scale.down(0), scale.down(high)
    drawing.append(drawsvg.Rectangle(LEFT, top, base, bottom - top, class_="former"))
    drawing.append(drawsvg.Rectangle(LEFT, top, out, flange, class_="former"))
    drawing.append(drawsvg.Rectangle(LEFT, bottom - flange, out, flange, class_="former"))
    drawing.append(drawsvg.Line(LEFT + out, top, LEFT + out, bottom, class_="limit"))


@dataclass(frozen=True, slots=True)
class _Bar:
    """Turns in one layer as they are drawn; `hairs` are how far down two turns meet, where that can be seen."""

    x: float
    y: float
    across: float
    down: float
    hairs: tuple[float, ...]


def _bar(coil: Coil, scale: CutScale, wide: Fraction, run: Run) -> _Bar:
    """A run of turns that are so wide, in mm."""
    layer, first = run.layer, coil.former.flange_mm + coil.former.margin_mm
    start, room = run.before * wide, coil.traverse_mm
    low = start if layer.begins == "start" else room - start - run.turns * wide
    x, y = scale.across(coil.former.base + layer.middle_mm - layer.tall_mm / 2), scale.down(first + low)
    told_apart = range(1, int(run.turns)) if scale.long(wide) > 3 else ()
    hairs = tuple(y + scale.long(turn * wide) for turn in told_apart)
    return _Bar(x, y, scale.long(layer.tall_mm), scale.long(run.turns * wide), hairs)


def _run(drawing: Any, bar: _Bar, kind: str) -> None:
    """Turns in one layer as a bar, with a hair between turns where they can be told apart."""
    import drawsvg

    drawing.append(drawsvg.Rectangle(bar.x, bar.y, bar.across, bar.down, class_=kind))
    for at in bar.hairs:
        drawing.append(drawsvg.Line(bar.x, at, bar.x + bar.across, at, class_="hair"))


@dataclass(frozen=True, slots=True)
class _Named:
    """A section's name, and the place it points to."""

    told: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class _Label:
    """A name, and how far down it stands."""

    named: _Named
    at: float


def _names(drawing: Any, coil: Coil, scale: CutScale, right: float) -> None:
    """Each section's name beside the window, from the start flange down, with a line to where it lies."""
    import drawsvg

    labels = _labels(coil, scale)
    for label in labels:
        one, at = label.named, label.at
        drawing.append(drawsvg.Lines(one.x, one.y, right + 6, at - 4, right + 12, at - 4, class_="leader"))
        drawing.append(drawsvg.Circle(one.x, one.y, 2.4, class_="dot"))
        drawing.append(drawsvg.Text(one.told, 11, right + 16, at, class_="small"))
    under = max(scale.down(coil.limb.window.high_mm) - LINE, labels[-1].at + LINE)
    for told, y in (("dashed: with its bulge", under), ("frame: the window", under + LINE)):
        drawing.append(drawsvg.Text(told, 11, right + 16, y, class_="faint"))


def _labels(coil: Coil, scale: CutScale) -> list[_Label]:
    """Each section's label, from the start flange down, none upon another."""
    labels, at = list[_Label](), float(TOP)
    for one in sorted((_named(coil, scale, one) for one in coil.placed), key=lambda one: one.y):
        at = max(at + LINE, one.y)
        labels.append(_Label(one, at))
    return labels


def _named(coil: Coil, scale: CutScale, one: Placed) -> _Named:
    """In the middle of the section's last layer, where nothing of it lies farther out."""
    first = coil.former.flange_mm + coil.former.margin_mm
    run = one.runs[-1]
    middle = (run.before + run.turns / 2) * one.turn.wide_mm
    room = coil.traverse_mm
    along = middle if run.layer.begins == "start" else room - middle
    x = scale.across(coil.former.base + run.layer.middle_mm)
    return _Named(f"{one.section}: {float(one.turns):g} turns", x, scale.down(first + along))
