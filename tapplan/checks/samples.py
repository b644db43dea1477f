"""The likely case beside the worst: line, reading error and load drawn at random, counted band by band.

Drawn independently and evenly: the line over the mains range, the error over +/- error_pct, the load from none to
full, and, where several bands hold the reading, the one in force. The noise is left out: it moves relays, but it
does not change what a band that stays in force can hold. No sample may lie outside the exact worst case.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Floats
from tapplan.checks.review import Review
from tapplan.control.table import ControlTable, Row

_SLICE = 1_000_000  # samples at a time, to bound the memory
_ROUNDING = 1e-9  # what binary floats may differ from the exact bound, relative


@dataclass(frozen=True, slots=True)
class Drawn:
    """The samples that fell to one band: how many, and their output volts, lowest, at 1, 50 and 99 %, highest.

    `volts` is None without samples, or where the band has no ratio: then all its samples lie outside the window.
    """

    row: Row
    count: int
    volts: tuple[float, float, float, float, float] | None
    outside_window: int
    outside_worst: int


@dataclass(frozen=True, slots=True)
class Samples:
    """All samples: band by band, and those whose reading no band holds."""

    count: int
    seed: int
    bands: tuple[Drawn, ...]
    unheld: int


def samples(review: Review, count: int, seed: int) -> Samples:
    """`count` independent draws; the same seed gives the same draws."""
    table = review.table
    if not table.rows:
        return Samples(count, seed, (), count)
    outputs: list[list[Floats]] = [[] for _ in table.rows]
    unheld = 0
    for drawn in _slices(table, count, np.random.default_rng(seed)):
        volts, held = drawn.volts, drawn.held
        unheld += int((held < 0).sum())
        for number in range(len(table.rows)):
            outputs[number].append(volts[held == number])
    bands = tuple(_drawn(review, row, np.concatenate(parts)) for row, parts in zip(table.rows, outputs, strict=True))
    return Samples(count, seed, bands, unheld)


@dataclass(frozen=True, slots=True)
class _Slice:
    """Output volts, and beside each the number of the row in force or -1."""

    volts: Floats
    held: NDArray[np.int64]


def _slices(table: ControlTable, count: int, chance: np.random.Generator) -> Iterator[_Slice]:
    """All draws, slice by slice."""
    mains, error = table.design.mains.span, float(table.blur.error)
    ratios = np.array([float(row.ratio or 0) for row in table.rows])
    drops = np.array([_drop(row) for row in table.rows])
    for first in range(0, count, _SLICE):
        size = min(_SLICE, count - first)
        line = chance.uniform(float(mains.low), float(mains.high), size)
        reading = line * chance.uniform(1 - error, 1 + error, size)
        held = _in_force(table, reading, chance)
        load = chance.uniform(0, 1, size)
        yield _Slice(line * ratios[held] / (1 + load * drops[held]), held)


def _drop(row: Row) -> float:
    """R/Z, for a full-load ratio of g Z/(Z + R)."""
    return float(row.ratio / row.full - 1) if row.ratio and row.full else 0.0


def _in_force(table: ControlTable, reading: Floats, chance: np.random.Generator) -> NDArray[np.int64]:
    """For each reading one of the rows that hold it, each as likely; -1 where none does."""
    pick = chance.uniform(0, 1, reading.size)
    holds = [row.input_hold for row in table.rows]
    masks = [
        np.zeros(reading.size, dtype=bool)
        if hold is None
        else (reading >= float(hold.low)) & (reading <= float(hold.high))
        for hold in holds
    ]
    wanted = np.floor(pick * sum(mask.astype(np.int64) for mask in masks))
    held = np.full(reading.size, -1, dtype=np.int64)
    passed = np.zeros(reading.size, dtype=np.int64)
    for number, mask in enumerate(masks):
        held[mask & (passed == wanted)] = number
        passed += mask
    return held


def _drawn(review: Review, row: Row, volts: Floats) -> Drawn:
    worst, window = review.table.output_worst(row), review.window
    if volts.size == 0 or worst is None:
        return Drawn(row, volts.size, None, volts.size, 0)
    low, one, half, most, high = (float(level) for level in np.percentile(volts, [0, 1, 50, 99, 100]))
    outside = (volts < float(window.low)) | (volts > float(window.high))
    beyond = (volts < float(worst.low) * (1 - _ROUNDING)) | (volts > float(worst.high) * (1 + _ROUNDING))
    return Drawn(row, volts.size, (low, one, half, most, high), int(outside.sum()), int(beyond.sum()))
