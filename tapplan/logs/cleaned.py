"""From rows as a file has them to samples: what is no good reading, or does not follow in time, is left out and told.

One `Cleaning` goes with one reading of a log from its first row to its last, over blocks and files. The last good
time is all that it remembers of the rows before, so that it does not matter how a log is cut.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import copysign, nextafter
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Micros
from tapplan.logs.samples import MOST_TOLD, BadRow, BadRows, Chunk, Readings, RowFault
from tapplan.logs.spacing import Spacing
from tapplan.logs.told import found, listed, refusal
from tapplan.logs.zones import in_utc

MOST_V = 10**9
FAULTS = (None, *RowFault)  # what the codes of a block stand for
CODES = {fault: code for code, fault in enumerate(FAULTS) if fault}
OF_TIME = (RowFault.NO_TIME, RowFault.SAME_TIME, RowFault.BACKWARDS)  # what is wrong is the row's time
Codes = NDArray[np.uint8]
WHOLE_OF = {"<f4": np.uint32, "<f8": np.uint64}  # kinds of numbers, and the whole numbers their bits are
BEFORE_ALL = np.iinfo(np.int64).min


@dataclass(frozen=True, slots=True)
class Block:
    """Rows of one file one after the other, as they stand there, converted where they can be.

    `rows` are their numbers in the file; `codes` say by `FAULTS` what is already known to be wrong with each, 0
    nothing. `cell` gives what a row has, for a message: its time or its volts, by the fault. `local` times are those
    of a clock whose zone the file does not tell. In a log without times `times` mean nothing. `upto`: how many bytes
    of the file are read so far. `spacing` is that of its times, where it is known.
    """

    file: str
    rows: Sequence[int]
    times: Micros
    readings: Readings
    codes: Codes
    cell: Callable[[int, RowFault], str]
    local: bool = False
    upto: int = 0
    spacing: Spacing | None = None


@dataclass(slots=True)
class Cleaning:
    """A log on its way from rows to samples, and what is known of the rows so far.

    `scale`: volts of a reading of 1; `zone` is that of local times; `step_us` stands for times where a log has none.
    """

    scale: Fraction
    zone: ZoneInfo | None = None
    step_us: int | None = None
    seen: int = 0
    good: int = 0
    bad: BadRows = field(default_factory=BadRows)
    last: int | None = None
    last_place: str = ""
    local: bool | None = None

    def chunk(self, block: Block) -> Chunk:
        """The samples of the next rows, and which of these rows are none.

        Raises:
            LogError: their times are of another kind than those before.
        """
        if self._is_plain(block):
            plain = Chunk(block.times, block.readings, spacing=block.spacing)
            self._remember(block, plain, len(block.times) - 1)
            return plain
        codes = block.codes.copy()
        _mark_numbers(block.readings, codes, MOST_V / self.scale)
        times = self._times(block, codes)
        _mark_order(times, codes, self.last)
        if codes.any():
            good = np.flatnonzero(codes == 0)
            chunk = Chunk(times[good], block.readings[good], _told(block, codes))
        else:
            known = block.spacing if times is block.times else None
            good, chunk = np.arange(0), Chunk(times, block.readings, spacing=known)
        self._remember(block, chunk, int(good[-1]) if len(good) else len(times) - 1)
        return chunk

    def _is_plain(self, block: Block) -> bool:
        """Whether every row of a block is a sample as it stands, and the block like those before."""
        if self.step_us is not None or (self.zone is not None and block.local) or self.local != block.local:
            return False
        return (
            not block.codes.any()
            and _all_volts(block.readings, MOST_V / self.scale)
            and _follows(block, BEFORE_ALL if self.last is None else self.last)
        )

    def check_end(self, name: str) -> None:
        """What can only be said of a whole log.

        Raises:
            LogError: no row is good, or more than half of them lie before one of the log, which had a wrong clock.
        """
        back = self.bad.counts.get(RowFault.BACKWARDS, 0)
        if not self.good:
            raise refusal(
                name, f"none of its {self.seen} rows is a sample: {listed(self.bad)}", "a time and volts each"
            )
        if 2 * back > self.seen:
            what = f"{back} of {self.seen} rows lie before the last good one, {self.last_place}"
            accepted = "rows in order of time; one that a wrong clock has put ahead of all others is to be taken out"
            raise refusal(name, what, accepted)

    def _times(self, block: Block, codes: Codes) -> Micros:
        """The times of a block, in UTC where that is known; marks those that no clock of the zone shows."""
        if self.step_us is not None:
            return (np.arange(len(codes)) + self.seen) * self.step_us
        if self.local is None:
            self.local = block.local
        if self.local != block.local and self.zone is None:
            what = "its times tell their zone and those before do not, or the other way round"
            raise refusal(block.file, what, "one kind of times in a log, or --zone for those without one")
        if self.zone is None or not block.local:
            return block.times
        good = np.flatnonzero(codes == 0)
        converted = in_utc(block.times[good], self.zone, self.last)
        codes[good[converted.missing]] = CODES[RowFault.NO_TIME]
        times = block.times.copy()
        times[good] = converted.times
        return times

    def _remember(self, block: Block, chunk: Chunk, newest: int) -> None:
        self.seen += len(block.codes)
        self.good += len(chunk.times)
        self.bad = self.bad.joined(chunk.bad)
        if len(chunk.times):
            self.last = int(chunk.times[-1])
            self.last_place = f"{block.file}:{block.rows[newest]} of {np.datetime64(self.last, 'us')}"


def _mark_numbers(readings: Readings, codes: Codes, most: Fraction) -> None:
    """Marks what is no number of volts; a block without any costs one look at its smallest and largest."""
    if _all_volts(readings, most):
        return
    limit = float(most)
    if limit > most:
        limit = nextafter(limit, 0)
    faults = {RowFault.TOO_HIGH: readings > np.float64(limit), RowFault.NEGATIVE: readings < 0}
    faults[RowFault.NOT_FINITE] = ~np.isfinite(readings)
    free = codes == 0
    for fault, where in faults.items():
        codes[free & where] = CODES[fault]


def _all_volts(readings: Readings, most: Fraction) -> bool:
    if not len(readings) or _all_by_bits(readings, most):
        return True
    return bool(0 <= readings.min().item() <= readings.max().item() <= most)  # not with a nan


def _all_by_bits(readings: Readings, most: Fraction) -> bool:
    """Whether one look shows it: bits of numbers, taken as whole numbers, stand in order, those with a sign above."""
    whole = WHOLE_OF.get(readings.dtype.str)
    if whole is None or not readings.flags.c_contiguous:
        return False
    last = readings.view(whole).max().view(readings.dtype).item()
    return bool(copysign(1, last) > 0 and last <= most)  # not where it is a nan


def _follows(block: Block, last: int) -> bool:
    """Whether times rise, and the first of them lies after the last good one."""
    if block.spacing is None:
        return _in_order(block.times, last)
    return block.spacing.least > 0 and int(block.times[0]) > last


def _in_order(times: Micros, last: int) -> bool:
    return len(times) > 0 and bool(times[0] > last) and bool((times[1:] > times[:-1]).all())


def _mark_order(times: Micros, codes: Codes, last: int | None) -> None:
    """Marks rows that are not after every good row before them."""
    start = BEFORE_ALL if last is None else last
    if not codes.any() and _in_order(times, start):
        return
    good = np.flatnonzero(codes == 0)
    own = times[good]
    highest = np.maximum.accumulate(np.concatenate(([start], own)))[:-1]  # rows that are left out do not raise it
    codes[good[own == highest]] = CODES[RowFault.SAME_TIME]
    codes[good[own < highest]] = CODES[RowFault.BACKWARDS]


def _told(block: Block, codes: Codes) -> BadRows:
    """The rows that are left out: how many by why, and the first of them one by one."""
    where = np.flatnonzero(codes)
    counts = np.bincount(codes[where], minlength=len(FAULTS))
    told = []
    for index in where[:MOST_TOLD].tolist():
        fault = list(RowFault)[codes[index] - 1]
        told.append(BadRow(block.file, int(block.rows[index]), fault, found(block.cell(index, fault))))
    return BadRows({fault: int(counts[code]) for fault, code in CODES.items() if counts[code]}, tuple(told))
