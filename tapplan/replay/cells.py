"""The compiled controller over stored readings: for each standing the stretches of readings with one consequence.

A reading is the decimal that its stored number prints: 230.1 in a file is 230.1 V, whatever binary number holds it.
So a cell begins at the first number of the stored kind whose decimal lies at or above its exact mark; from there on
comparing stored numbers is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Mask, Wholes
from tapplan.control.decisions import Cut, Decisions, Node
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.replay.clock import number_of, pace_of, wait_us

Stored = NDArray[np.floating[Any]]
NEVER = np.iinfo(np.int64).min  # in place of a time that has not come about


@dataclass(frozen=True, slots=True)
class ReadingCell:
    """Readings from a cut to the next: what follows, how long that must stand, whether the output is outside."""

    begins: Cut | None
    answer: int
    wait: int
    outside: bool


@dataclass(frozen=True)
class ReadingCells:
    """All cells of a controller as arrays, a line for each standing, for readings of one stored kind.

    Cell c of standing s holds the readings from `begins[s][c]` to just below `begins[s][c + 1]`; what is beyond the
    last is infinite. Waits and `busy[a][b]`, as in `Pace`, are in microseconds.
    """

    begins: Stored
    answers: Wholes
    waits: Wholes
    outside: Mask
    busy: Wholes

    @property
    def away(self) -> int:
        """The number of being away."""
        return len(self.answers) - 1


def cells_of(made: Decisions, scale: Fraction, kind: np.dtype[Any], busy: Wholes | None = None) -> ReadingCells:
    """The cells of a controller for stored readings of a floating kind, worth `scale` volts each.

    `busy` where it is known already: no threshold changes it.
    """
    lines = [_line(made, node) for node in made.nodes]
    width = max(len(line) for line in lines) + 1
    begins = np.full((len(lines), width), inf, dtype=kind)
    answers, waits = np.zeros(begins.shape, np.int64), np.zeros(begins.shape, np.int64)
    outside = np.zeros(begins.shape, np.bool_)
    for number, line in enumerate(lines):
        for place, cell in enumerate(line):
            begins[number, place] = -inf if cell.begins is None else first_stored(cell.begins, scale, kind)
            answers[number, place], waits[number, place] = cell.answer, cell.wait
            outside[number, place] = cell.outside
    return ReadingCells(
        begins, answers, waits, outside, np.array(pace_of(made).busy, np.int64) if busy is None else busy
    )


def _line(made: Decisions, node: Node) -> list[ReadingCell]:
    """The cells of one standing, by rising reading, those without a difference joined."""
    inner = _inside(made.table, node.standing)
    cuts = {Cut(cut.mark / node.sensed, cut.above) for cut in node.cuts} if node.sensed else set()
    edges = [None, *sorted(cuts | set(inner))]
    found: list[ReadingCell] = []
    for edge in edges:
        cell = _cell(made, node, edge, inner)
        if not found or (cell.answer, cell.outside, cell.wait) != (
            found[-1].answer,
            found[-1].outside,
            found[-1].wait,
        ):
            found.append(cell)
    return found


def _cell(made: Decisions, node: Node, edge: Cut | None, inner: list[Cut]) -> ReadingCell:
    volts, side = (Fraction(0), -1) if edge is None else (edge.mark, int(edge.above))
    answer = AWAY if node.sensed is None else node.answer(volts * node.sensed, side)
    upward = isinstance(node.standing, InRow) and _above(made.table, node, volts)
    wait = 0 if answer == node.standing else wait_us(made.table, node, upward=upward)
    # Inside from the first cut of the window to the second: one of two cuts passed.
    inside = edge is not None and sum(cut <= edge for cut in inner) == 1
    return ReadingCell(edge, number_of(made, answer), wait, not inside)


def _above(table: ControlTable, node: Node, volts: Fraction) -> bool:
    """Whether a reading that does not keep a row lies above its hold."""
    hold = table.rows[number].input_hold if (number := _row_number(node.standing)) is not None else None
    return hold is not None and volts >= hold.high


def _row_number(standing: Standing) -> int | None:
    return standing.number if isinstance(standing, InRow) else None


def _inside(table: ControlTable, standing: Standing) -> list[Cut]:
    """Where the inputs that keep the window begin, and where they end; none where no output is given."""
    number = _row_number(standing)
    ratio = None if number is None else table.rows[number].ratio
    if not ratio or ratio < 0:
        return []
    low, high = table.design.output.window_v
    return [Cut(low / ratio, above=False), Cut(high / ratio, above=True)]


@lru_cache(maxsize=1 << 14)
def first_stored(cut: Cut, scale: Fraction, kind: np.dtype[Any]) -> Any:
    """The first number of a floating kind whose decimal, times the scale, lies at a cut or beyond it."""
    mark = cut.mark / scale
    number = kind.type(float(mark))
    while _beyond(number, mark, above=cut.above):
        number = np.nextafter(number, kind.type(-inf))
    while not _beyond(number, mark, above=cut.above):
        number = np.nextafter(number, kind.type(inf))
    return number


def _beyond(number: Any, mark: Fraction, *, above: bool) -> bool:
    decimal = Fraction(str(number))
    return decimal > mark if above else decimal >= mark
