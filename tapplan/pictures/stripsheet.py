"""The sheet that strips over time are drawn on: its form, its labels, and paths through its columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np

from tapplan.arrays import Floats, Mask, Micros
from tapplan.exact import Span
from tapplan.replay.view import LogView

TOP, HEAD, DATES = 36, 38, 34
BEYOND = 10  # above and below the output, for the marks of what is outside
LETTER = 6.1  # the mean width of one in the labels, rather too wide than too narrow


@dataclass(frozen=True, slots=True)
class StripForm:
    """How wide the picture is, what room labels have on either side, how high line and output stand."""

    width: int
    left: int
    right: int
    high: int

    @property
    def end(self) -> int:
        """Where the columns end."""
        return self.width - self.right

    @property
    def across(self) -> int:
        """The room for the columns."""
        return self.end - self.left


WIDE = StripForm(760, 80, 88, 130)
NARROW = StripForm(400, 62, 84, 110)


@dataclass(frozen=True, slots=True)
class VoltStrip:
    """Volts from a top down."""

    form: StripForm
    top: float
    volts: Span

    @property
    def bottom(self) -> float:
        """Where it ends."""
        return self.top + self.form.high

    def y(self, volts: Fraction) -> float:
        """Down."""
        return float(self.ys(np.array([float(volts)]))[0])

    def ys(self, volts: Floats) -> Floats:
        """Down; what is beyond lies on the edge."""
        share = (volts - float(self.volts.low)) / float(self.volts.high - self.volts.low)
        found: Floats = self.bottom - np.clip(share, 0, 1) * self.form.high
        return found


@dataclass(frozen=True, slots=True)
class Tall:
    """From a height down to another."""

    top: float
    bottom: float


@dataclass(frozen=True)
class StripSheet:
    """A drawing on its way, and where the columns stand in it."""

    drawing: Any
    form: StripForm
    view: LogView
    hatch: str

    @property
    def xs(self) -> Floats:
        """The edges of the columns."""
        return self.places(self.view.edges)

    def places(self, times: Micros) -> Floats:
        """Where times stand across."""
        begin, end = int(self.view.edges[0]), int(self.view.edges[-1])
        found: Floats = self.form.left + (times - begin) / (end - begin) * self.form.across
        return found

    def words(self, told: str, y: float) -> None:
        """What a strip shows."""
        import drawsvg

        self.drawing.append(drawsvg.Text(told, 13, self.form.left, y, class_="words"))

    def left(self, told: str, y: float, kind: str = "small") -> None:
        """A label at the left, cut where it is too long."""
        import drawsvg

        most = int((self.form.left - 6) / LETTER)
        cut = told if len(told) <= most else f"{told[: most - 1]}\u2026"
        self.drawing.append(drawsvg.Text(cut, 11, self.form.left - 6, y, text_anchor="end", class_=kind))

    def right(self, told: str, y: float) -> None:
        """A label at the right."""
        import drawsvg

        self.drawing.append(drawsvg.Text(told, 11, self.form.end + 5, y, class_="small"))

    def level(self, y: float, kind: str) -> None:
        """A line through all columns."""
        import drawsvg

        self.drawing.append(drawsvg.Line(self.form.left, y, self.form.end, y, class_=kind))

    def across(self, tall: Tall, kind: str) -> None:
        """An area through all columns."""
        import drawsvg

        high = tall.bottom - tall.top
        self.drawing.append(drawsvg.Rectangle(self.form.left, tall.top, self.form.across, high, class_=kind))

    def path(self, kind: str, steps: str) -> None:
        """One that is made of figures."""
        import drawsvg

        if steps:
            self.drawing.append(drawsvg.Raw(f'<path class="{kind}" d="{steps}"/>'))


def runs(where: Mask) -> Iterator[range]:
    """Columns that are so, one after the other."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], where.astype(np.int8), [0]]))).tolist()
    return (range(begin, end) for begin, end in zip(ends[::2], ends[1::2], strict=True))


@dataclass(frozen=True, slots=True)
class StripCorner:
    """Where a path turns."""

    x: float
    y: float


def stairs(edges: Floats, heights: Floats) -> list[StripCorner]:
    """Level in each column; columns of one height as one."""
    found: list[StripCorner] = []
    for place, y in enumerate(np.round(heights, 1).tolist()):
        if not found or found[-1].y != y:
            found.append(StripCorner(float(edges[place]), y))
        else:
            found.pop()
        found.append(StripCorner(float(edges[place + 1]), y))
    return found


def path_through(points: Sequence[StripCorner]) -> str:
    """A path through some points, most of them level with the one before or upright from it."""
    told = [f"{points[0].x:.1f} {points[0].y:g}"]
    for before, point in pairwise(points):
        if point.y == before.y:
            told.append(f"H{point.x:.1f}")
        elif point.x == before.x:
            told.append(f"V{point.y:g}")
        else:
            told.append(f"L{point.x:.1f} {point.y:g}")
    return "".join(told)
