"""How long which volts stood in which standing, and the sum of their squares in each segment: every reading once.

Here for numpy; `kernel.profile` does the same compiled, in one pass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Micros, Squares, Wholes
from tapplan.replay.course import Stretch
from tapplan.replay.segments import Segments
from tapplan.replay.volts import GRAINS, grains


@dataclass(frozen=True)
class Profile:
    """Of each segment: the sum of squared grains times microseconds, modulo 2^64, the least and the most grains.

    An interval of ten minutes below the highest grain stays below 2^64, so that its sum is exact.
    """

    squares: Squares
    least: Wholes
    most: Wholes


def profile(stretch: Stretch, factor: float, parts: Segments, lasting: Micros) -> Profile:
    """The profile of a stretch; adds to `lasting`, by standing and grain, the microseconds that each stood."""
    times = stretch.times
    found = grains(stretch.readings, factor)
    stood = np.diff(times, append=times[-1:])
    stood[stretch.breaks] = 0
    _add_lasting(times, found, stood, parts, lasting)
    squares = (found * found).view(np.uint64)
    before = np.concatenate([np.zeros(1, np.uint64), np.cumsum(squares * stood.view(np.uint64))])
    firsts, lasts = parts.firsts, parts.lasts
    late = (parts.begins - times[firsts]).view(np.uint64) * squares[firsts]
    # The last sample of a segment stands to the segment's end, also where a gap follows and it stood for no time.
    sums = before[lasts] - before[firsts] - late + (parts.ends - times[lasts]).view(np.uint64) * squares[lasts]
    return Profile(sums, _over(np.minimum, found, parts), _over(np.maximum, found, parts))


def _over(least_or_most: np.ufunc, found: Wholes, parts: Segments) -> Wholes:
    """Over the samples of each segment, both ends included."""
    if not len(parts.firsts):
        return parts.firsts
    ends = np.stack([parts.firsts, parts.lasts + 1], axis=1).ravel()
    whole = np.append(found, found[-1:])  # so that an end beyond the last sample is one
    return least_or_most.reduceat(whole, ends)[::2].astype(np.int64)


def _add_lasting(times: Micros, found: Wholes, stood: Micros, parts: Segments, lasting: Micros) -> None:
    """Samples inside a segment stand whole; the first and the last of one for as long as they are in it."""
    firsts, lasts = parts.firsts, parts.lasts
    if not len(firsts):
        return
    whole = stood.copy()
    whole[firsts] = whole[lasts] = 0
    standings = np.zeros(len(found), np.int64)
    standings[firsts[0] :] = np.repeat(parts.standings, np.diff(np.append(firsts, len(found))))
    flat = lasting.reshape(-1)
    np.add.at(flat, standings * GRAINS + found, whole)
    only = firsts == lasts
    head = np.where(only, parts.ends, times[np.minimum(firsts + 1, len(times) - 1)]) - parts.begins
    np.add.at(flat, parts.standings * GRAINS + found[firsts], head)
    np.add.at(flat, (parts.standings * GRAINS + found[lasts])[~only], (parts.ends - times[lasts])[~only])
