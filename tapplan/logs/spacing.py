"""How far the samples of a log are apart: one look, while a few thousand times at once are close to the processor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Micros

AT_ONCE = 1 << 15  # distances that are made before they are looked at


@dataclass(frozen=True, slots=True)
class Spacing:
    """The least and the most distance between samples that follow one another."""

    least: int
    most: int

    def times(self, factor: int) -> Spacing:
        """The same where times are counted in so much shorter a unit."""
        return Spacing(self.least * factor, self.most * factor)


def spacing(times: Micros) -> Spacing:
    """The distances of two samples or more."""
    distances, same = np.empty(AT_ONCE, np.int64), np.empty(AT_ONCE, np.bool_)
    least = most = int(times[1] - times[0])
    for begin in range(0, len(times) - 1, AT_ONCE):
        after = times[begin + 1 : begin + 1 + AT_ONCE]
        found = np.subtract(after, times[begin : begin + len(after)], out=distances[: len(after)])
        if least == most and np.equal(found, least, out=same[: len(after)]).all():
            continue
        least, most = min(least, int(found.min())), max(most, int(found.max()))
    return Spacing(least, most)
