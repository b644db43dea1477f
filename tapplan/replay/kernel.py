"""The course compiled by numba, an extra: the same text, scanning the readings themselves at the speed of memory.

A standing is left by few readings; so 64 of them at a time are asked whether any lies outside the present cell. The
bits of numbers that are not negative, taken as a whole number, stand in the order of the numbers, and one unsigned
comparison asks for both ends. A block that says so of a reading without reason, such as of a nought with a minus,
costs time and decides nothing.
"""

from __future__ import annotations

from types import FunctionType
from typing import Any

import numpy as np
from numba import njit

from tapplan.arrays import Micros
from tapplan.replay import course
from tapplan.replay.cells import ReadingCells
from tapplan.replay.course import Engine, Stretch, follow
from tapplan.replay.profile import Profile
from tapplan.replay.segments import Segments
from tapplan.replay.steps import Spacing
from tapplan.replay.volts import GRAINS

BLOCK = 64


@njit(nogil=True, cache=True)
def cell_at(seen: Any, number: Any, sample: Any) -> Any:
    """As in `course`."""
    readings, _, begins, _ = seen
    cell, reading = 0, readings[sample]
    while cell + 1 < begins.shape[1] and begins[number, cell + 1] <= reading:
        cell += 1
    return cell


@njit(nogil=True, cache=True)
def quiet_to(bits: Any, least: Any, width: Any, sample: Any) -> Any:
    """The first sample, so many blocks on, whose block may hold a reading outside."""
    ahead = bits[sample:]  # counted from its front, so that no index can be negative: the loops below need that
    blocks, block, short = len(ahead) // BLOCK, 0, bits.itemsize == 4
    while block < blocks:
        left = np.uint32(0)
        if short:  # the difference of two short numbers is taken as a short one, or half the speed is lost
            for k in range(block * BLOCK, (block + 1) * BLOCK):
                left |= np.uint32(np.uint32(ahead[k] - least) >= width)
        else:
            for k in range(block * BLOCK, (block + 1) * BLOCK):
                left |= np.uint32(ahead[k] - least >= width)
        if left:
            break
        block += 1
    return sample + block * BLOCK


@njit(nogil=True, cache=True)
def leaves(seen: Any, number: Any, cell: Any, sample: Any) -> Any:
    """As in `course`."""
    readings, bits, begins, firsts = seen
    low, high, samples = begins[number, cell], begins[number, cell + 1], len(readings)
    least = firsts[number, cell]
    width = firsts[number, cell + 1] - least
    i = sample + 1
    while i < samples:
        near = min(i + BLOCK, samples)
        while i < near:
            if not low <= readings[i] < high:
                return i
            i += 1
        i = quiet_to(bits, least, width, i)
    return samples


@njit(nogil=True, cache=True)
def standing_at(times: Any, time: Any, low: Any, high: Any) -> Any:
    """As in `course`."""
    high += 1
    while high - low > 1:
        middle = (low + high) // 2
        if times[middle] <= time:
            low = middle
        else:
            high = middle
    return low


def _seen(stretch: Stretch, cells: ReadingCells) -> Any:
    unsigned = np.uint32 if stretch.readings.dtype == np.float32 else np.uint64
    firsts = np.maximum(cells.begins, 0).view(unsigned)
    return stretch.readings, stretch.readings.view(unsigned), cells.begins, firsts


def _law(cells: ReadingCells) -> Any:
    flat = (cells.answers, cells.waits, cells.outside.astype(np.int64), cells.busy)
    return *(one.ravel() for one in flat), cells.answers.shape[1], cells.away


_NAMES = {"cell_at": cell_at, "leaves": leaves, "standing_at": standing_at}
_TEXT = FunctionType(follow.__code__, {**vars(course), **_NAMES}, "follow")
_TEXT.__module__ = __name__

COMPILED = Engine(njit(nogil=True, cache=True)(_TEXT), _seen, _law, np.asarray)


@njit(nogil=True, cache=True)
def _pass(times: Any, readings: Any, factor: Any, parts: Any, lasting: Any, found: Any) -> None:
    begins, ends, standings, firsts, lasts = parts
    squares, least, most = found
    for part in range(len(begins)):
        own, low, high, total = lasting[standings[part]], GRAINS, -1, np.uint64(0)
        for sample in range(firsts[part], lasts[part] + 1):
            grain = min(np.int64(np.float64(readings[sample]) * factor + 0.5), np.int64(GRAINS - 1))
            begin = max(times[sample], begins[part])
            stood = (ends[part] if sample == lasts[part] else times[sample + 1]) - begin
            own[grain] += stood
            total += np.uint64(grain * grain) * np.uint64(stood)
            low, high = min(low, int(grain)), max(high, int(grain))
        squares[part], least[part], most[part] = total, low, high


@njit(nogil=True, cache=True)
def _spaced(times: Any, ends: Any) -> None:
    least = most = times[1] - times[0]
    for k in range(1, len(times) - 1):
        distance = times[k + 1] - times[k]
        least, most = min(least, distance), max(most, distance)
    ends[0], ends[1] = least, most


def spacing(times: Micros) -> Spacing:
    """As `steps.spacing`, in one pass."""
    ends = np.empty(2, np.int64)
    _spaced(times, ends)
    return Spacing(int(ends[0]), int(ends[1]))


def profile(stretch: Stretch, factor: float, parts: Segments, lasting: Micros) -> Profile:
    """As `profile.profile`, in one pass."""
    count = len(parts.begins)
    found = Profile(np.empty(count, np.uint64), np.empty(count, np.int64), np.empty(count, np.int64))
    columns = (parts.begins, parts.ends, parts.standings, parts.firsts, parts.lasts)
    _pass(stretch.times, stretch.readings, factor, columns, lasting, (found.squares, found.least, found.most))
    return found
