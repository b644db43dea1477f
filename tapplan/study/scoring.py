"""What thresholds come to on recorded logs, exactly: changes of the band, time outside, and the mean deviation.

A threshold matters only by which readings lie beyond it: those between whose places no reading of the logs lies give
one course, which is followed once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from importlib.util import find_spec

import numpy as np

from tapplan.arrays import Floats, Micros
from tapplan.control.commands import commands
from tapplan.control.decisions import Cut, Decisions, decisions
from tapplan.control.moves import Mixtures, move_between, transitions
from tapplan.control.table import ControlTable
from tapplan.replay.cells import Stored, cells_of, first_stored
from tapplan.replay.clock import micros, number_of
from tapplan.replay.course import CarriedOn, Engine, Pieces, StandstillError, Stretch, followed
from tapplan.replay.engines import NUMPY, compiled
from tapplan.study.handovers import HandoverEnds, HandoverRoom, Thresholds
from tapplan.study.recording import Recording, distinct

LONG = 5_000  # samples from which the compiled engine pays, for a log that is followed hundreds of times
MICROVOLTS = 1e6

Sites = Sequence[Recording]


@dataclass(frozen=True, slots=True, order=True)
class TraceScore:
    """What is to be small, the changes of the band first; `outside` in microseconds."""

    changes: int
    outside: int


@dataclass(frozen=True)
class Followable:
    """A log as it is followed: its stretches, the volts of a stored 1, and its different readings by stored kind."""

    scale: Fraction
    stretches: tuple[Stretch, ...]
    readings: tuple[Stored, ...]


@dataclass(frozen=True)
class _Leg:
    """A stretch of a log, and the course along it."""

    stretch: Stretch
    pieces: Pieces
    scale: Fraction


class Scorer:
    """Follows a table with other thresholds along all logs; what it has found it keeps.

    `grain_us` is the shortest usual step of any log: two times that differ by less are one to the logs, for what they
    show as a jump from one sample to the next may have taken that long.
    """

    def __init__(self, thresholds: Thresholds, sites: Sites) -> None:
        self.thresholds = thresholds
        self.samples = sum(one.samples for one in sites)
        self.grain_us = min((one.step for one in sites), default=0)
        self._logs = [Followable(one.scale, one.stretches(), distinct(one)) for one in sites]
        fast = self.samples >= LONG and find_spec("numba") is not None
        self._engine: Engine = (compiled() if fast else NUMPY).course
        self._busy = _Busy(thresholds.table)
        self._places = [_Places(thresholds.table, room, self._logs) for room in thresholds.rooms]
        self._scores: dict[tuple[int, ...], TraceScore | None] = {}
        self._offs: dict[tuple[int, ...], int] = {}

    def key(self, ends: HandoverEnds) -> tuple[int, ...]:
        """What of thresholds on their grids the logs can tell apart: those with one key have one course."""
        each = zip(self._places, ends, strict=True)
        return tuple(n for place, one in each for n in (place.uppers[one.upper_end], place.lowers[one.lower_end]))

    def score(self, ends: HandoverEnds) -> TraceScore | None:
        """The score of thresholds; None where bands follow one another without any time passing."""
        key = self.key(ends)
        if key not in self._scores:
            self._scores[key] = self._scored(ends)
        return self._scores[key]

    def off(self, ends: HandoverEnds) -> int:
        """The mean distance of the output from nominal, without load, while not away: in whole microvolts."""
        key = self.key(ends)
        if key not in self._offs:
            self._offs[key] = self._off(ends)
        return self._offs[key]

    def _scored(self, ends: HandoverEnds) -> TraceScore | None:
        changes = outside = 0
        try:
            for leg in self._course(ends):
                changes += int(np.count_nonzero(np.diff(leg.pieces.standings)))
                outside += outside_us(leg.stretch, leg.pieces)
        except StandstillError:
            return None
        return TraceScore(changes, outside)

    def _off(self, ends: HandoverEnds) -> int:
        table = self.thresholds.table
        ratios = np.array([float(row.ratio or 0) for row in table.rows])
        nominal = float(table.design.output.nominal_v)
        volts = lasting = 0.0
        for leg in self._course(ends):
            found = _off(leg, ratios, nominal)
            volts, lasting = volts + found.volts, lasting + found.lasting
        return round(MICROVOLTS * volts / lasting) if lasting else 0

    def _course(self, ends: HandoverEnds) -> Iterator[_Leg]:
        """Each log from switch-on, stretch by stretch."""
        made = decisions(self.thresholds.moved(ends))
        busy = self._busy.of(made)
        for log in self._logs:
            carried = CarriedOn()
            cells = {one.dtype: cells_of(made, log.scale, one.dtype, busy) for one in log.readings}
            for stretch in log.stretches:
                found = followed(self._engine, cells[stretch.readings.dtype], stretch, carried)
                carried = found.carried
                yield _Leg(stretch, found.pieces, log.scale)


class _Busy:
    """How long each change takes until readings count again, worked out when first met; no threshold changes it."""

    def __init__(self, table: ControlTable) -> None:
        self._mixtures = Mixtures(table.circuit)
        self._known: dict[tuple[int, int], int] = {}
        self._size = len(table.rows) + 1

    def of(self, made: Decisions) -> Micros:
        """In microseconds, by standing before and after."""
        found = np.zeros((self._size, self._size), np.int64)
        for one in transitions(made):
            ends = number_of(made, one.start), number_of(made, one.end)
            if ends not in self._known:
                move = move_between(made.table, one.start, one.end)
                self._known[ends] = micros(commands(made.table, self._mixtures, move).decides_ms)
            found[ends] = self._known[ends]
        return found


class _Places:
    """For the ends of one handover, by number, the place among the readings of all logs."""

    def __init__(self, table: ControlTable, room: HandoverRoom, logs: Sequence[Followable]) -> None:
        below, above = table.rows[room.number].sensed, table.rows[room.number + 1].sensed
        self.uppers = _numbered([Cut(end / (below or 1), above=True) for end in room.uppers], room.uppers, logs)
        self.lowers = _numbered([Cut(end / (above or 1), above=False) for end in room.lowers], room.lowers, logs)


def _numbered(cuts: Sequence[Cut], ends: Sequence[Fraction], logs: Sequence[Followable]) -> dict[Fraction, int]:
    """The ends, those with the same readings beyond them under one number."""
    lines = []
    for log in logs:
        for readings in log.readings:
            firsts = np.array([first_stored(cut, log.scale, readings.dtype) for cut in cuts], readings.dtype)
            lines.append(np.searchsorted(readings, firsts))
    _, numbers = np.unique(np.stack(lines), axis=1, return_inverse=True)
    return dict(zip(ends, numbers.ravel().tolist(), strict=True))


def outside_us(stretch: Stretch, pieces: Pieces) -> int:
    """How long the output is outside its window along a stretch, in microseconds; what lies in a gap is left out."""
    lengths = np.diff(pieces.times, append=stretch.times[-1:])
    gaps = stretch.times[stretch.breaks]
    there = np.searchsorted(pieces.times, gaps, side="right") - 1
    gone = (stretch.times[stretch.breaks + 1] - gaps)[pieces.outside[there]]
    return int(lengths[pieces.outside].sum()) - int(gone.sum())


@dataclass(frozen=True, slots=True)
class _Off:
    """Volts from nominal times microseconds, and these microseconds."""

    volts: float = 0.0
    lasting: float = 0.0


def _off(leg: _Leg, ratios: Floats, nominal: float) -> _Off:
    """How far the output is from nominal along a stretch, while not away: between the ends of each piece, by sums."""
    stretch, pieces = leg.stretch, leg.pieces
    stood = np.diff(stretch.times, append=stretch.times[-1:])
    stood[stretch.breaks] = 0
    ends = np.append(pieces.times, stretch.times[-1:])
    sample = np.searchsorted(stretch.times, ends, side="right") - 1
    into = np.minimum(ends - stretch.times[sample], stood[sample])
    line = stretch.readings.astype(np.float64) * float(leg.scale)
    total = _Off()
    for standing in np.unique(pieces.standings[pieces.standings < len(ratios)]).tolist():
        off = np.abs(ratios[standing] * line - nominal)
        here = np.flatnonzero(pieces.standings == standing)
        volts = _passed(off * stood)[sample] + off[sample] * into
        lasting = _passed(stood.astype(np.float64))[sample] + into
        found = (float((sums[here + 1] - sums[here]).sum()) for sums in (volts, lasting))
        total = _Off(total.volts + next(found), total.lasting + next(found))
    return total


def _passed(amounts: Floats) -> Floats:
    """What has come before each of them."""
    return np.cumsum(amounts) - amounts
