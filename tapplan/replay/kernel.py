"""The course compiled by numba, an extra: the same text, scanning the readings themselves at the speed of memory.

A standing is left by few readings; so 64 of them at a time are asked whether any lies outside the present cell. The
bits of numbers that are not negative, taken as a whole number, stand in the order of the numbers, and one unsigned
comparison asks for both ends. A block that says so of a reading without reason, such as of a nought with a minus,
costs time and decides nothing.
"""

from __future__ import annotations

from threading import local
from types import FunctionType
from typing import Any

import numpy as np
from numba import njit

from tapplan.arrays import Micros, Wholes
from tapplan.replay import course
from tapplan.replay.cells import ReadingCells
from tapplan.replay.course import Engine, Stretch, follow
from tapplan.replay.profile import Profile
from tapplan.replay.segments import Segments
from tapplan.replay.volts import GRAINS

BLOCK = 64
PART = 4096  # readings that are made grains at a time


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
def _one(reading: Any, factor: Any) -> Any:
    """A reading in grains."""
    return np.int32(min(np.float64(reading) * factor + 0.5, GRAINS - 1.0))


@njit(nogil=True, cache=True)
def _alike(readings: Any, factor: Any, counts: Any, room: Any) -> Any:
    """Counts readings that stand for one step each; the sum of their squares; least and most into `room`."""
    found, grains = room
    total, low, high = np.int64(0), np.int32(found[0]), np.int32(found[1])
    for begin in range(0, len(readings), PART):
        part = readings[begin : begin + PART]
        for k in range(len(part)):  # three loops, of which the first two go several readings at a time
            grains[k] = _one(part[k], factor)
        for k in range(len(part)):
            low, high = min(low, grains[k]), max(high, grains[k])
            total += np.int64(grains[k]) * np.int64(grains[k])
        for k in range(len(part)):
            counts[grains[k]] += 1
    found[0], found[1] = low, high
    return total


@njit(nogil=True, cache=True)
def _begun(times: Any, step: Any, sample: Any) -> Any:
    """When a sample begins; looked up, which is slow far from the last look, only where steps differ."""
    return times[0] + step * sample if step > 0 else times[sample]


@njit(nogil=True, cache=True)
def _pass(seen: Any, step: Any, parts: Any, lasting: Any, counts: Any, found: Any) -> None:
    """Every segment: its first and last sample for as long as each is in it, those between for their whole time."""
    times, readings, factor = seen
    begins, ends, standings, firsts, lasts = parts
    squares, least, most = found
    reach = np.empty((lasting.shape[0], 2), np.int64)
    reach[:, 0], reach[:, 1] = GRAINS, -1
    both, grains = np.empty(2, np.int64), np.empty(PART, np.int32)
    for at in range(len(begins)):
        number, first, last, begin = standings[at], firsts[at], lasts[at], begins[at]
        own, total = lasting[number], np.uint64(0)
        both[0], both[1] = GRAINS, -1
        if step > 0 and last > first + 1:
            between = _alike(readings[first + 1 : last], factor, counts[number], (both, grains))
            total = np.uint64(between) * np.uint64(step)
            reach[number, 0], reach[number, 1] = min(reach[number, 0], both[0]), max(reach[number, 1], both[1])
        sample = first
        while sample <= last:
            grain = np.int64(_one(readings[sample], factor))
            stood = (ends[at] if sample == last else _begun(times, step, sample + 1)) - begin
            own[grain] += stood
            total += np.uint64(grain * grain) * np.uint64(stood)
            both[0], both[1] = min(both[0], grain), max(both[1], grain)
            sample = last if step > 0 and sample < last else sample + 1
            begin = _begun(times, step, sample) if sample <= last else begin
        squares[at], least[at], most[at] = total, both[0], both[1]
    for number in range(len(reach)):
        for place in range(reach[number, 0], reach[number, 1] + 1):
            lasting[number, place] += counts[number, place] * step
            counts[number, place] = 0


def profile(stretch: Stretch, factor: float, parts: Segments, lasting: Micros) -> Profile:
    """As `profile.profile`, in one pass; steps that are all alike are counted, and weighed at the end."""
    count = len(parts.begins)
    found = Profile(np.empty(count, np.uint64), np.empty(count, np.int64), np.empty(count, np.int64))
    columns = (parts.begins, parts.ends, parts.standings, parts.firsts, parts.lasts)
    seen, told = (stretch.times, stretch.readings, factor), (found.squares, found.least, found.most)
    _pass(seen, 0 if len(stretch.breaks) else stretch.step, columns, lasting, _counts(lasting.shape[0]), told)
    return found


_THREAD = local()


def _counts(standings: int) -> Wholes:
    """Noughts to count in, left so by each pass; one array a thread: making it new takes longer than a pass."""
    kept: Wholes | None = getattr(_THREAD, "counts", None)
    if kept is None or len(kept) < standings:
        kept = _THREAD.counts = np.zeros((standings, GRAINS), np.int64)
    return kept
