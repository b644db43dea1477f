"""A course cut wherever anything that is counted changes: standing, window, ten-minute interval, day, gap."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Mask, Micros, Wholes
from tapplan.replay.clock import DAY, MINUTE
from tapplan.replay.course import Pieces, Stretch
from tapplan.replay.zone import Zone

INTERVAL = 10 * MINUTE  # over which EN 50160 takes a mean; it begins at whole multiples on the clock of the log


@dataclass(frozen=True)
class Segments:
    """Times in which one standing is in force, the output on one side of the window, in one interval and one day.

    A line each: from and to in microseconds, standing, whether outside, the interval and the local day by number, the
    sample standing at the begin and the one standing just before the end, the piece. What lies in a gap is in none.
    """

    begins: Micros
    ends: Micros
    standings: Wholes
    outside: Mask
    intervals: Wholes
    days: Wholes
    firsts: Wholes
    lasts: Wholes
    pieces: Wholes

    @property
    def lengths(self) -> Micros:
        """How long each is."""
        return self.ends - self.begins


def segments(stretch: Stretch, pieces: Pieces, zone: Zone) -> Segments:
    """The segments of a stretch, in order of time."""
    times = stretch.times
    gaps = times[stretch.breaks], times[stretch.breaks + 1]
    edges = np.concatenate([times[[0, -1]], pieces.times, *_clocked(stretch, zone), *gaps])
    edges.sort()
    real = edges[:-1] != edges[1:]
    begins, ends = edges[:-1][real], edges[1:][real]
    place = np.searchsorted(gaps[0], begins, side="right") - 1
    gone = (place >= 0) & (begins < gaps[1][place]) if len(gaps[0]) else np.zeros(len(begins), np.bool_)
    begins, ends = begins[~gone], ends[~gone]
    piece = np.searchsorted(pieces.times, begins, side="right") - 1
    return Segments(
        begins,
        ends,
        pieces.standings[piece],
        pieces.outside[piece],
        begins // INTERVAL,
        zone.local(begins) // DAY,
        stretch.begun(begins),
        stretch.before(ends),
        piece,
    )


def _clocked(stretch: Stretch, zone: Zone) -> Iterator[Micros]:
    """Where ten minutes and days begin; not in gaps of days, which one wrong time can make as long as history."""
    times = stretch.times
    before, after = times[stretch.breaks], times[stretch.breaks + 1]
    is_long = after - before > DAY
    begins, ends = [times[0], *after[is_long]], [*before[is_long], times[-1]]
    for begin, end in zip(map(int, begins), map(int, ends), strict=True):
        yield np.arange(-(-begin // INTERVAL) * INTERVAL, end, INTERVAL)
        yield zone.midnights(begin, end)
