"""The ladder of ratios that a request asks for, in floating point: how far the next one may be, and the ideal one.

Ratios are written as u = line turns over output turns, 1/g, which rises with the input. Neighbours u < u' leave the
room (1-e) hi u - (1+e) lo u' (u' with the load on), so that for a room wanted the next u is at most a rising function
of the one before. A set of ratios serves a range with that room just when some sequence of them goes from a u that
serves the bottom to one that serves the top, each no further on than that (own derivation: of a sequence that jumps
back some step crosses every gap of the sorted set, and the function rises).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from tapplan.arrays import Floats
from tapplan.study.request import Request

HALVINGS = 60
ANY_STEP = 1e9  # a largest u'/u that limits nothing


@dataclass(frozen=True, slots=True)
class Ladder:
    """(1-e) hi, (1+e) lo, the largest first u and the least last one, the sag, and the largest u'/u."""

    high: float
    low: float
    first: float
    last: float
    share: float
    always: float
    step: float

    def onward(self, u: float, room: float) -> float:
        """The largest next u that leaves so much room."""
        return min(self.unloaded((self.high * u - room) / self.low), u * self.step)

    def onward_all(self, u: Floats, room: float) -> Floats:
        """The same for many."""
        full = (self.high * u - room) / self.low
        below, above = self._slopes()
        return np.minimum(np.minimum((full + self.share) / above, (full - self.share) / below), u * self.step)

    def unloaded(self, full: float) -> float:
        """Turns from a loaded u."""
        below, above = self._slopes()
        return min((full + self.share) / above, (full - self.share) / below)

    def loaded(self, u: float) -> float:
        """A loaded u from turns."""
        return (1 + self.always) * u + self.share * abs(u - 1)

    def _slopes(self) -> tuple[float, float]:
        return 1 + self.always - self.share, 1 + self.always + self.share

    def before(self, u: float, room: float) -> float:
        """The least u that may stand before one."""
        return max((room + self.low * self.loaded(u)) / self.high, u / self.step)

    def room(self, u: float, beyond: float) -> float:
        """The room between two neighbours; -inf where the step between them is too large."""
        return self.high * u - self.low * self.loaded(beyond) if beyond <= u * self.step * (1 + 1e-12) else -inf

    def room_all(self, u: Floats, beyond: Floats) -> Floats:
        """The same for many."""
        full = (1 + self.always) * beyond + self.share * np.abs(beyond - 1)
        return np.where(beyond <= u * self.step * (1 + 1e-12), self.high * u - self.low * full, -inf)

    def most(self, room: float, count: int) -> list[float]:
        """The largest that the first, second, ... of so many can be."""
        reached = [self.first]
        while len(reached) < count:
            reached.append(self.onward(reached[-1], room))
        return reached

    def least(self, room: float, count: int) -> list[float]:
        """The least that the last, the last but one, ... of so many can be."""
        needed = [self.last]
        while len(needed) < count:
            needed.append(self.before(needed[-1], room))
        return needed

    def serves(self, room: float, count: int) -> bool:
        """Whether so many ratios, of any numbers, go from the bottom to the top with so much room."""
        u = self.first
        for _ in range(count - 1):
            if u >= self.last:
                return True
            further = self.onward(u, room)
            if further <= u:
                return False
            u = further
        return u >= self.last

    def ideal_room(self, count: int) -> float:
        """The most room that so many ratios of any numbers leave; inf for one that serves all, -inf for none."""
        if self.serves(inf, 1):
            return inf
        low, high = -self.high * self.first, self.high * self.last
        if count < 2 or not self.serves(low, count):
            return -inf
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if self.serves(middle, count) else (low, middle)
        return high

    def fewest(self, room: float, most: int) -> int:
        """The fewest ratios of any numbers that leave so much room; one more than `most` where those are too few."""
        return next((count for count in range(1, most + 1) if self.serves(room, count)), most + 1)


def ladder_of(request: Request) -> Ladder:
    """The ladder of a request."""
    step = ANY_STEP if request.largest_step is None else float(1 + request.largest_step)
    return Ladder(
        float(request.high),
        float(request.low),
        float(1 / request.first_least),
        float(1 / request.last_most),
        float(request.sag.share),
        float(request.sag.always),
        step,
    )
