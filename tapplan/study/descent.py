"""Handover by handover to the fewest changes on logs, and the proof that none near are better.

With few pairs of ends that the logs can tell apart all of them are tried; else a coarse grid of pairs, then finer
ones around the best, and at last every pair in the neighbourhood. How much is tried hangs on the numbers of pairs and
samples alone, so that an answer is the same everywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby

from tapplan.control.thresholds import Handover
from tapplan.study.handovers import HandoverEnds, HandoverRoom, free_ends
from tapplan.study.scoring import Scorer, TraceScore

WORK = 150_000_000  # samples followed for the first pairs of a handover
OVERHEAD = 75_000  # samples that are followed in the time it takes to compile a controller
NEAR = 5  # steps of the grid either way: the neighbourhood that is searched whole
MOST_ROUNDS = 20
MOST_REFUSED = 40  # pairs that score better and break a promise, after which a handover is left as it is


@dataclass(frozen=True, slots=True)
class Descended:
    """The best thresholds found.

    `proven`: no pair of ends near one handover, the others as they are, scores better and keeps every promise;
    `every_pair`: nor does any other pair of its grid. `stopped`: the search was not over.
    """

    ends: tuple[Handover, ...]
    proven: bool
    every_pair: bool
    stopped: bool


@dataclass(frozen=True)
class Searching:
    """How thresholds are sought: when to stop, whom to tell how many have been followed, and which are allowed."""

    stop: Callable[[], bool] = lambda: False
    tell: Callable[[int], None] = lambda followed: None
    sound: Callable[[HandoverEnds], bool] = lambda ends: True


@dataclass
class Descent:
    """A search from the thresholds of a table; `rooms` may be narrower than those of the scorer."""

    scorer: Scorer
    rooms: Sequence[HandoverRoom]
    how: Searching
    every_pair: bool = field(default=True, init=False)
    proven: bool = field(default=True, init=False)
    followed: int = field(default=0, init=False)

    def run(self) -> Descended:
        """Round after round over all handovers, until none can be bettered alone."""
        ends = tuple(room.now for room in self.rooms)
        for number in range(MOST_ROUNDS):
            before = ends
            for place in range(len(self.rooms)):
                ends = self._bettered(ends, place, first=number == 0)
            if ends == before or self.how.stop():
                break
        else:
            self.proven = False
        stopped = self.how.stop()
        proven = self.proven and not stopped
        return Descended(ends, proven, proven and self.every_pair, stopped)

    def _bettered(self, ends: tuple[Handover, ...], place: int, *, first: bool) -> tuple[Handover, ...]:
        """The best pair of ends of one handover, the others as they are."""
        room = self.rooms[place]
        stride = self._stride(ends, place)
        self.every_pair = self.every_pair and stride == 1
        if first or stride == 1:
            ends = self._best(ends, place, _grid(room, stride))
        while stride > 1 and first:
            stride //= 2
            ends = self._settled(ends, place, 2 * stride, stride)
        return self._settled(ends, place, NEAR, 1)

    def _stride(self, ends: tuple[Handover, ...], place: int) -> int:
        """The finest power of two at which all pairs are not too much work."""
        stride, room = 1, self.rooms[place]
        while True:
            pairs = [_with(ends, place, one) for one in _grid(room, stride) if room.allows(one)]
            different = len({self.scorer.key(one) for one in pairs})
            if different * (self.scorer.samples + OVERHEAD) <= WORK or stride >= len(room.uppers) + len(room.lowers):
                return stride
            stride *= 2

    def _settled(self, ends: tuple[Handover, ...], place: int, reach: int, stride: int) -> tuple[Handover, ...]:
        """The best pair that is best among those around it."""
        while True:
            found = self._best(ends, place, _around(self.rooms[place], ends[place], reach, stride))
            if found == ends or self.how.stop():
                return found
            ends = found

    def _best(self, ends: tuple[Handover, ...], place: int, pairs: Iterable[Handover]) -> tuple[Handover, ...]:
        """The best of some pairs for one handover; the present one where none is better."""
        for refused, one in enumerate(self._better(ends, place, pairs)):
            if refused == MOST_REFUSED:
                self.proven = False
                break
            if self.how.sound(one):
                return one
        return ends

    def _better(
        self, ends: tuple[Handover, ...], place: int, pairs: Iterable[Handover]
    ) -> Iterator[tuple[Handover, ...]]:
        """Pairs that score better than the present one, the best first; none with more time outside than at first.

        More is what the logs can tell from as much.
        Among equals the widest overlap comes first, then the pair nearest to that of the table.
        """
        room, now = self.rooms[place], self.scorer.score(ends)
        before = self.scorer.score([one.now for one in self.rooms])
        if now is None or before is None:
            return
        free = free_ends(self.scorer.thresholds, ends, place)
        tried = [_with(ends, place, one) for one in pairs if room.allows(one) and one in free]
        scored = [(score, one) for one in tried if (score := self._score(one)) is not None]
        most = before.outside + self.scorer.grain_us
        scored = sorted((one for one in scored if one[0].outside <= most), key=lambda pair: pair[0])
        for score, group in groupby(scored, key=lambda pair: pair[0]):
            if score > now:
                return
            equals = [one for _, one in group]
            for one in self._ranked(equals, place):
                if score == now and self.scorer.off(one) >= self.scorer.off(ends):
                    return
                yield one

    def _ranked(self, equals: Sequence[tuple[Handover, ...]], place: int) -> list[tuple[Handover, ...]]:
        """Those of one score, the least mean deviation first."""
        room, alike = self.rooms[place], len({self.scorer.key(one) for one in equals}) == 1

        def order(one: tuple[Handover, ...]) -> tuple[Fraction, ...]:
            moved = abs(one[place].upper_end - room.now.upper_end) + abs(one[place].lower_end - room.now.lower_end)
            off = Fraction(0 if alike else self.scorer.off(one))
            return off, -room.overlap(one[place]), moved

        return sorted(equals, key=order)

    def _score(self, ends: tuple[Handover, ...]) -> TraceScore | None:
        """A score; None where there is none, and once it is to stop."""
        if self.how.stop():
            return None
        self.followed += 1
        self.how.tell(self.followed)
        return self.scorer.score(ends)


def _with(ends: tuple[Handover, ...], place: int, one: Handover) -> tuple[Handover, ...]:
    return (*ends[:place], one, *ends[place + 1 :])


def _grid(room: HandoverRoom, stride: int) -> Iterator[Handover]:
    """Every so many-th upper and lower end, the outermost ones and the present ones with every other."""
    uppers = _some(room.uppers, stride, room.now.upper_end)
    for lower in _some(room.lowers, stride, room.now.lower_end):
        yield from (Handover(upper, lower) for upper in uppers)


def _some(ends: Sequence[Fraction], stride: int, now: Fraction) -> list[Fraction]:
    return sorted({*ends[::stride], ends[-1], now})


def _around(room: HandoverRoom, one: Handover, reach: int, stride: int) -> Iterator[Handover]:
    """The pairs up to so many places of the grid away, in strides."""
    for upper in _near(room.uppers, one.upper_end, reach, stride):
        for lower in _near(room.lowers, one.lower_end, reach, stride):
            yield Handover(upper, lower)


def _near(ends: Sequence[Fraction], now: Fraction, reach: int, stride: int) -> list[Fraction]:
    place = ends.index(now)
    return [ends[at] for at in range(place - reach, place + reach + 1, stride) if 0 <= at < len(ends)]
