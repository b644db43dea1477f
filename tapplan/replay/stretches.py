"""The course in Python: numpy passes over quiet blocks of readings, and only the others are looked at one by one.

The least and the most of each block are found once. A standing that they cannot leave costs no more than that.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import Any

import numpy as np

from tapplan.replay.cells import ReadingCells, Stored
from tapplan.replay.course import Engine, Stretch, follow

BLOCK = 256
FIRST_LOOK = 32  # blocks looked at together at first; then ever more


class Seen:
    """The readings of a stretch, looked up from the front."""

    def __init__(self, stretch: Stretch, cells: ReadingCells) -> None:
        self._readings = stretch.readings
        self._begins: list[list[float]] = cells.begins.tolist()
        starts = np.arange(0, len(stretch.readings), BLOCK)
        self._least: Stored = np.minimum.reduceat(stretch.readings, starts)
        self._most: Stored = np.maximum.reduceat(stretch.readings, starts)
        self._block = -1
        self._listed: list[float] = []

    def cell(self, number: int, sample: int) -> int:
        """The cell, in a standing, that a sample's reading lies in."""
        self._open(sample // BLOCK)
        return bisect_right(self._begins[number], self._listed[sample % BLOCK]) - 1

    def leaves(self, number: int, cell: int, sample: int) -> int:
        """The first sample after one in this cell that lies in another; the number of samples where none does."""
        low, high = self._begins[number][cell : cell + 2]
        block = sample // BLOCK
        self._open(block)
        found = _outside(self._listed, low, high, sample % BLOCK + 1)
        while found == len(self._listed):
            block = self._mixed(low, high, block + 1)
            if block == len(self._least):
                return len(self._readings)
            self._open(block)
            found = _outside(self._listed, low, high, 0)
        return block * BLOCK + found

    def _open(self, block: int) -> None:
        if block != self._block:
            self._block = block
            self._listed = self._readings[block * BLOCK : (block + 1) * BLOCK].tolist()

    def _mixed(self, low: float, high: float, block: int) -> int:
        """The first block from one on that holds a reading outside; the number of blocks where none does."""
        look = FIRST_LOOK
        while block < len(self._least):
            part = slice(block, block + look)
            left = (self._least[part] < low) | (self._most[part] >= high)
            first = int(left.argmax())
            if left[first]:
                return block + first
            block, look = min(block + look, len(self._least)), 4 * look
        return block


def _outside(readings: list[float], low: float, high: float, place: int) -> int:
    for at in range(place, len(readings)):
        if not low <= readings[at] < high:
            return at
    return len(readings)


def _law(cells: ReadingCells) -> Any:
    flat = (cells.answers, cells.waits, cells.outside, cells.busy)
    return *(one.ravel().tolist() for one in flat), cells.answers.shape[1], cells.away


PYTHON = Engine(follow, Seen, _law, memoryview)
