"""Sudden steps as a grid: a row for the band left, a column for the band finally entered, each pair's worst step.

Each cell is a picture against the tolerance curve, all to one scale: time in decades across, percent of nominal up.
Bars are what the output can be until the relays have settled, dashes what the curve tolerates; the mark is the level
judged, where it ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from math import log10
from typing import Any

from tapplan.answers import words
from tapplan.answers.steps import StepRow, Steps
from tapplan.design.standards import curve as known_curve
from tapplan.pictures.borne import DECADES, FIRST_MS, EdgeCorner, borne
from tapplan.pictures.labels import Patch
from tapplan.pictures.letters import letters

WIDTH = 760
MOST_WIDE, SHAPE, LEAST_HIGH = 150.0, 0.62, 34.0  # of a cell; how high its picture is over how wide, and at least
GAP, PAD, LINE = 4.0, 4.0, 14.0
HEAD, SIDE, BESIDE = 24.0, 96.0, 32.0  # the most for a name of a row, and the room around it
FOOT = 40.0
LEAST_TOP = 150  # percent


@dataclass(frozen=True, slots=True)
class StepCell:
    """The worst step of a pair: its place among all steps, and the step."""

    number: int
    step: StepRow

    @property
    def told(self) -> str:
        """The verdict in one word."""
        return "kept" if self.step.kept else self.step.side

    @property
    def percent(self) -> str:
        """The level judged."""
        return f"{self.step.percent:.0f} %"


def worst_of_pairs(found: Sequence[StepRow]) -> list[StepCell]:
    """For each band left and band finally entered the step that leaves the curve most, or comes nearest to it.

    The order is that of `checks.recovery`: first what leaves it, then by how many percent, then by how long.
    """
    worst: dict[tuple[str, str], StepCell] = {}
    for number, one in enumerate(found):
        key = (one.start, one.entered[-1])
        if key not in worst or _harm(one) > _harm(worst[key].step):
            worst[key] = StepCell(number, one)
    return list(worst.values())


def _harm(one: StepRow) -> list[float]:
    beyond = (one.percent - one.allowed_percent) * (1 if one.side == "over" else -1)
    late = 0 if one.allowed_ms is None else float(one.lasts_ms - one.allowed_ms)
    return [float(not one.kept), beyond, late]


@dataclass(frozen=True, slots=True)
class CellScale:
    """From ms and percent of nominal to places in one cell; `top` is the percentage at the upper edge."""

    room: Patch
    top: float

    def x(self, time_ms: float) -> float:
        """Across; what comes before the first ms stands at the left edge, what comes after the last at the right."""
        share = log10(max(time_ms, FIRST_MS) / FIRST_MS) / DECADES
        return self.room.left + min(share, 1) * (self.room.right - self.room.left)

    def y(self, percent: float) -> float:
        """Down."""
        return self.room.bottom - min(percent / self.top, 1) * (self.room.bottom - self.room.top)


@dataclass(frozen=True, slots=True)
class Grid:
    """Which names the rows and columns have, how large cells are and where they stand."""

    starts: tuple[str, ...]
    ends: tuple[str, ...]
    left: float
    top: float
    wide: float
    shown: float
    lines: int
    percents: float

    @property
    def high(self) -> float:
        """The height of a cell: its picture and its words."""
        return self.shown + 3 * PAD + self.lines * LINE

    @property
    def bottom(self) -> float:
        """Where the last row ends."""
        return self.top + len(self.starts) * (self.high + GAP)

    def patch(self, start: str, end: str) -> Patch:
        """The room of one cell."""
        x = self.left + self.ends.index(end) * (self.wide + GAP)
        y = self.top + self.starts.index(start) * (self.high + GAP)
        return Patch(x, y, x + self.wide, y + self.high)

    def scale(self, patch: Patch) -> CellScale:
        """The scale of the picture in a cell."""
        room = Patch(patch.left + PAD, patch.top + PAD, patch.right - PAD, patch.top + PAD + self.shown)
        return CellScale(room, self.percents)


def grid_of(cells: Sequence[StepCell], bands: Sequence[str], nominal_v: Fraction) -> Grid:
    """Rows and columns in the order of the bands, others after them; cells as large as the width allows."""
    starts, ends = _ordered([one.step.start for one in cells], bands), _ordered([_end(one) for one in cells], bands)
    font = letters("small")
    left = min(max(font.wide(one) for one in starts) + BESIDE, SIDE + BESIDE)
    wide = min((WIDTH - 8 - left) / len(ends) - GAP, MOST_WIDE)
    beside = font.wide("under 000 %") + 2 * PAD <= wide
    turned = any(font.wide(one) > wide for one in ends)
    head = min(max(font.wide(one) for one in ends), SIDE) + 8 if turned else LINE + 4
    levels = chain.from_iterable((phase.output_v.high for phase in one.step.course) for one in cells)
    top = max(
        [LEAST_TOP, *(110 * float(one / nominal_v) for one in levels), *(1.1 * one.step.percent for one in cells)]
    )
    return Grid(starts, ends, left, HEAD + head, wide, max(wide * SHAPE, LEAST_HIGH), 1 if beside else 2, top)


def _end(cell: StepCell) -> str:
    return cell.step.entered[-1]


def _ordered(names: Sequence[str], bands: Sequence[str]) -> tuple[str, ...]:
    met = dict.fromkeys(names)
    return (*(one for one in bands if one in met), *(one for one in met if one not in bands))


def multiples(stepped: Steps, bands: Sequence[str]) -> Any:
    """The grid of all pairs that some step joins, bands in the order of the table; None where no step moves relays.

    For a page: each cell is a group `step-cell-N` by the place of its step in the answer.
    """
    import drawsvg

    against = known_curve(stepped.curve)
    if against is None or stepped.drawing is None:
        return None
    nominal_v = stepped.drawing.nominal_v
    cells = worst_of_pairs(stepped.steps)
    grid = grid_of(cells, bands, nominal_v)
    drawing = drawsvg.Drawing(WIDTH, grid.bottom + FOOT)
    _names(drawing, grid)
    limits = borne(against, grid.percents)
    for one in cells:
        patch = grid.patch(one.step.start, _end(one))
        shown = [*(_drawn(limit, grid.scale(patch)) for limit in limits), *_bars(one, grid.scale(patch), nominal_v)]
        drawing.append(_cell(one, grid, patch, shown))
    return drawing


def _names(drawing: Any, grid: Grid) -> None:
    """Which band is left and which one is finally entered, and what a cell shows."""
    import drawsvg

    font = letters("small")
    turned = any(font.wide(one) > grid.wide for one in grid.ends)
    for name in grid.ends:
        patch = grid.patch(grid.starts[0], name)
        x, y = (patch.left + patch.right) / 2, grid.top - 6
        text = font.cut(name, SIDE if turned else grid.wide)
        how = {"transform": f"rotate(-90 {x + 4} {y})"} if turned else {"text_anchor": "middle"}
        drawing.append(drawsvg.Text(text, 11, x + 4 if turned else x, y, class_="small", **how))
    for name in grid.starts:
        patch = grid.patch(name, grid.ends[0])
        y = (patch.top + patch.bottom) / 2 + 4
        drawing.append(
            drawsvg.Text(
                font.cut(name, grid.left - BESIDE + 1), 11, grid.left - 8, y, text_anchor="end", class_="small"
            )
        )
    drawing.append(drawsvg.Text("finally in", 11, grid.left, 14, class_="faint"))
    middle = (grid.top + grid.bottom) / 2
    turn = f"rotate(-90 12 {middle})"
    drawing.append(drawsvg.Text("from", 11, 12, middle, text_anchor="middle", transform=turn, class_="faint"))
    told = (
        f"across: 1 ms to 10 s after the step; up: 0 to {grid.percents:.0f} % of nominal",
        "dashed: the curve; bars: the output until the relays settle; mark: the level judged, where it ends",
    )
    for place, text in enumerate(told):
        drawing.append(drawsvg.Text(text, 11, 8, grid.bottom + 14 + 15 * place, class_="faint"))


def _drawn(limit: Sequence[EdgeCorner], scale: CellScale) -> Any:
    import drawsvg

    ends = [round(place, 1) for one in limit for place in (scale.x(one.time_ms), scale.y(one.percent))]
    return drawsvg.Lines(*ends, class_="limit", fill="none")


def _bars(cell: StepCell, scale: CellScale, nominal_v: Fraction) -> list[Any]:
    """What the output can be, phase by phase, each at its latest."""
    import drawsvg

    drawn = []
    for phase in cell.step.course:
        left, right = scale.x(float(phase.from_ms)), scale.x(float(phase.until_ms))
        low, high = (scale.y(100 * float(one / nominal_v)) for one in (phase.output_v.low, phase.output_v.high))
        drawn.append(drawsvg.Rectangle(left, high, right - left, max(low - high, 1.5), class_="bar"))
    return drawn


def _cell(cell: StepCell, grid: Grid, patch: Patch, shown: Sequence[Any]) -> Any:
    """A cell: its picture, the level judged where it ends, the verdict and the percentage in words."""
    import drawsvg

    one, scale = cell.step, grid.scale(patch)
    kind = "kept" if one.kept else "left"
    group = drawsvg.Group(id=f"step-cell-{cell.number}", class_=f"cell {kind}")
    group.append_title(_sentence(cell))
    group.append(drawsvg.Rectangle(patch.left, patch.top, grid.wide, grid.high, class_="edge"))
    group.extend(shown)
    x, y = scale.x(float(one.lasts_ms)), scale.y(one.percent)
    if one.kept:
        group.append(drawsvg.Circle(x, y, 2.4, class_="dot"))
    else:
        for side in (-3, 3):
            group.append(drawsvg.Lines(x - 3, y - side, x + 3, y + side, class_="cross"))
    texts = [f"{cell.told} {cell.percent}"] if grid.lines == 1 else [cell.told, cell.percent]
    for place, text in enumerate(texts):
        base = patch.bottom - 5 - LINE * (len(texts) - 1 - place)
        middle = (patch.left + patch.right) / 2
        group.append(drawsvg.Text(text, 11, middle, base, text_anchor="middle", class_="small verdict"))
    return group


def _sentence(cell: StepCell) -> str:
    one = cell.step
    line, lasts = words.number(one.at_v, 1), words.number(one.lasts_ms, 0)
    through, allowed = " > ".join((one.start, *one.entered)), "" if one.allowed_ms is None else " ms"
    return (
        f"{through}, the line to {line} V: {one.percent:.0f} % for {lasts} ms, "
        f"allowed {one.allowed_told}{allowed}; {one.verdict}"
    )
