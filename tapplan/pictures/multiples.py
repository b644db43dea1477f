"""Sudden steps as a grid: a row for the band left, a column for the band finally entered, each pair's worst steps.

Each cell is a picture against the tolerance curve, all to one scale: time in decades across, percent of nominal up.
Bars are what the output can be until the relays have settled, dashes what the curve tolerates; the mark is the level
judged, at the end of its bar. Under it stand the worst on either side of the curve: a short dropout hides no surge.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
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
from tapplan.pictures.letters import Font, letters
from tapplan.pictures.pairs import SIDES, NumberedStep, StepCell, judged_phase, worst_of_pairs

WIDTH = 760
MOST_WIDE, SHAPE, LEAST_HIGH = 150.0, 0.62, 34.0  # of a cell; how high its picture is over how wide, and at least
GAP, PAD, LINE = 4.0, 4.0, 14.0
HEAD, SIDE, BESIDE = 24.0, 96.0, 32.0  # the most for a name of a row, and the room around it
FOOT = 55.0
LEAST_TOP = 150  # percent


def _in_one_line(one: NumberedStep) -> list[str]:
    return [f"{one.level}, {one.lasts}"]


def _in_two_lines(one: NumberedStep) -> list[str]:
    return [one.level, one.lasts]


def _level_alone(one: NumberedStep) -> list[str]:
    return [one.level]


def _level_in_two_lines(one: NumberedStep) -> list[str]:
    return [one.step.side, f"{one.step.percent:.0f} %"]


Wording = Callable[[NumberedStep], list[str]]
WORDINGS: tuple[Wording, ...] = (_in_one_line, _in_two_lines, _level_alone, _level_in_two_lines)


def _fitting(cells: Sequence[StepCell], wide: float) -> Wording:
    """The most words that fit into a cell; where none do, the narrowest."""
    sides = list(chain.from_iterable(one.sides for one in cells))
    for wording in WORDINGS:
        if all(_wide(text, one) + PAD <= wide for one in sides for text in wording(one)):
            return wording
    return WORDINGS[-1]


def _wide(text: str, one: NumberedStep) -> float:
    return Font(letters("small").size, bold=_verdict(text, one)).wide(text)


def _verdict(text: str, one: NumberedStep) -> bool:
    """Whether words tell that a side leaves the curve: all but those that are its time alone."""
    return not one.step.kept and text != one.lasts


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
    sides: tuple[str, ...]
    wording: Wording
    lines: int
    percents: float

    @property
    def high(self) -> float:
        """The height of a cell: its picture and its words."""
        return self.shown + 3 * PAD + len(self.sides) * self.lines * LINE

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
    starts, ends = _ordered([one.start for one in cells], bands), _ordered([one.end for one in cells], bands)
    font = letters("small")
    left = min(max(font.wide(one) for one in starts) + BESIDE, SIDE + BESIDE)
    wide = min((WIDTH - 8 - left) / len(ends) - GAP, MOST_WIDE)
    turned = any(font.wide(one) > wide for one in ends)
    wording = _fitting(cells, wide)
    every = list(chain.from_iterable(one.sides for one in cells))
    return Grid(
        starts=starts,
        ends=ends,
        left=left,
        top=HEAD + (min(max(font.wide(one) for one in ends), SIDE) + 8 if turned else LINE + 4),
        wide=wide,
        shown=max(wide * SHAPE, LEAST_HIGH),
        sides=tuple(side for side in SIDES if any(one.step.side == side for one in every)),
        wording=wording,
        lines=len(wording(every[0])),
        percents=_highest(every, nominal_v),
    )


def _highest(every: Iterable[NumberedStep], nominal_v: Fraction) -> float:
    """The upper edge of every picture, in percent: above all that any step of the grid lets the output be."""
    steps = [one.step for one in every]
    met = [100 * float(phase.output_v.high / nominal_v) for one in steps for phase in one.course]
    return max(LEAST_TOP, *(1.1 * one for one in (*met, *(one.percent for one in steps))))


def _ordered(names: Sequence[str], bands: Sequence[str]) -> tuple[str, ...]:
    met = dict.fromkeys(names)
    return (*(one for one in bands if one in met), *(one for one in met if one not in bands))


def multiples(stepped: Steps, bands: Sequence[str]) -> Any:
    """The grid of all pairs that some step joins, bands in the order of the table; None where no step moves relays.

    For a page: each cell is a group `step-cell-N` by the place in the answer of the step that is drawn in it.
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
        patch = grid.patch(one.start, one.end)
        scale, step = grid.scale(patch), one.shown.step
        shown = [*(_drawn(limit, scale) for limit in limits), *_bars(step, scale, nominal_v), *_mark(step, scale)]
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
        "dashed: the curve; bars: the output until the relays settle; mark: the bar judged, where that can be told",
        _told_words(grid),
    )
    for place, text in enumerate(told):
        drawing.append(drawsvg.Text(text, 11, 8, grid.bottom + 14 + 15 * place, class_="faint"))


def _told_words(grid: Grid) -> str:
    """What the words in a cell say."""
    lasts = " and the ms it lasts of those allowed" if grid.wording in (_in_one_line, _in_two_lines) else ""
    return f"words: the worst level {' and '.join(grid.sides)} the curve{lasts}; bold: not allowed so long"


def _drawn(limit: Sequence[EdgeCorner], scale: CellScale) -> Any:
    import drawsvg

    ends = [round(place, 1) for one in limit for place in (scale.x(one.time_ms), scale.y(one.percent))]
    return drawsvg.Lines(*ends, class_="limit", fill="none")


def _bars(step: StepRow, scale: CellScale, nominal_v: Fraction) -> list[Any]:
    """What the output can be, phase by phase, each at its latest."""
    import drawsvg

    drawn = []
    for phase in step.course:
        left, right = scale.x(float(phase.from_ms)), scale.x(float(phase.until_ms))
        low, high = (scale.y(100 * float(one / nominal_v)) for one in (phase.output_v.low, phase.output_v.high))
        drawn.append(drawsvg.Rectangle(left, high, right - left, max(low - high, 1.5), class_="bar"))
    return drawn


def _mark(step: StepRow, scale: CellScale) -> list[Any]:
    """A dot where the curve bears the level judged, else a cross, at the end of its bar."""
    import drawsvg

    judged = judged_phase(step)
    if judged is None:
        return []
    x, y = scale.x(float(judged.until_ms)), scale.y(step.percent)
    if step.kept:
        return [drawsvg.Circle(x, y, 2.4, class_="dot")]
    return [drawsvg.Lines(x - 3, y - side, x + 3, y + side, class_="cross") for side in (-3, 3)]


def _cell(cell: StepCell, grid: Grid, patch: Patch, shown: Sequence[Any]) -> Any:
    """A cell: its picture, and in words what is worst on each side; its frame tells whether one of them is left."""
    import drawsvg

    kind = "kept" if cell.kept else "left"
    group = drawsvg.Group(id=f"step-cell-{cell.shown.number}", class_=f"cell {kind}")
    group.append_title("\n".join(_sentence(one.step) for one in cell.sides))
    group.append(drawsvg.Rectangle(patch.left, patch.top, grid.wide, grid.high, class_="edge"))
    group.extend(shown)
    middle = (patch.left + patch.right) / 2
    for one in cell.sides:
        after = len(grid.sides) * grid.lines - 1 - grid.sides.index(one.step.side) * grid.lines
        for place, text in enumerate(grid.wording(one)):
            how = "small verdict" if _verdict(text, one) else "small"
            base = patch.bottom - 5 - LINE * (after - place)
            group.append(drawsvg.Text(text, 11, middle, base, text_anchor="middle", class_=how))
    return group


def _sentence(one: StepRow) -> str:
    line, lasts = words.number(one.at_v, 1), words.number(one.lasts_ms, 0)
    through, allowed = " > ".join((one.start, *one.entered)), "" if one.allowed_ms is None else " ms"
    return (
        f"{through}, the line to {line} V: {one.percent:.0f} % for {lasts} ms, "
        f"allowed {one.allowed_told}{allowed}; {one.verdict}"
    )
