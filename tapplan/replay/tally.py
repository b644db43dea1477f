"""What a course adds up to: whole numbers, so that parts of a log joined in order give what the log gives at once.

Times are in microseconds, volts in grains. A tally is changed in place: millions of samples are added to one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field

import numpy as np

from tapplan.arrays import Wholes
from tapplan.replay.segments import INTERVAL
from tapplan.replay.volts import GRAINS


@dataclass(frozen=True)
class MeanLimits:
    """What a ten-minute mean is held against: sums of squared grains times microseconds; and how standings amplify.

    `least` and `most` of the input are exact. `amplified` is each standing's squared ratio, 0 away; `out_least` and
    `out_most` are for the output.
    """

    least: int
    most: int
    amplified: tuple[float, ...]
    out_least: float
    out_most: float


@dataclass
class DayTally:
    """One local day."""

    outside: int = 0
    away: int = 0
    gap: int = 0
    changes: int = 0
    intervals: int = 0
    kept: int = 0
    kept_out: int = 0
    least: int = GRAINS
    most: int = -1

    def add(self, other: DayTally) -> None:
        """What else belongs to the same day."""
        self.outside += other.outside
        self.away += other.away
        self.gap += other.gap
        self.changes += other.changes
        self.intervals += other.intervals
        self.kept += other.kept
        self.kept_out += other.kept_out
        self.least, self.most = min(self.least, other.least), max(self.most, other.most)


@dataclass
class Interval:
    """Ten minutes: how much of them samples stand for, by standing the sum of squares, and the day they begin in."""

    day: int
    covered: int
    squares: list[int]


@dataclass
class Spells:
    """Times away without a break, gaps left out: the longest that has ended, and those open to either side.

    `seen` is whether any time has passed, `whole` whether all of it was away; then `head` and `tail` are the same.
    """

    longest: int = 0
    head: int = 0
    tail: int = 0
    whole: bool = True
    seen: bool = False

    @property
    def most(self) -> int:
        """The longest of all."""
        return max(self.longest, self.head, self.tail)

    def add(self, other: Spells) -> None:
        """What follows."""
        if not other.seen:
            return
        self.longest = max(self.longest, other.longest, self.tail + other.head)
        self.head += other.head if self.whole else 0
        self.tail = other.tail + (self.tail if other.whole else 0)
        self.whole, self.seen = self.whole and other.whole, True


@dataclass
class Tally:
    """All counts of a course, `standings` of them with being away as the last; see the module."""

    standings: int
    window: MeanLimits
    samples: int = 0
    gaps: int = 0
    gap_us: int = 0
    longest_gap: int = 0
    outside: int = 0
    changes: Wholes = field(init=False)
    change_least: Wholes = field(init=False)
    change_most: Wholes = field(init=False)
    lowest: int = 0
    lasting: Wholes = field(init=False)
    hours: Counter[int] = field(default_factory=Counter)
    by_hour: Wholes = field(default_factory=lambda: np.zeros(24, np.int64))
    days: dict[int, DayTally] = field(default_factory=dict)
    open: dict[int, Interval] = field(default_factory=dict)
    spells: Spells = field(default_factory=Spells)

    def __post_init__(self) -> None:
        square = (self.standings, self.standings)
        self.changes = np.zeros(square, np.int64)
        self.change_least, self.change_most = np.full(square, GRAINS), np.full(square, -1)
        self.lasting = np.zeros((self.standings, GRAINS), np.int64)

    def day(self, number: int) -> DayTally:
        """The counts of a local day."""
        return self.days.setdefault(number, DayTally())

    def _close(self) -> None:
        """Judges every ten minutes that nothing more can come to: all but the first and the last."""
        ends = {min(self.open), max(self.open)} if self.open else set()
        for number in [one for one in self.open if one not in ends]:
            self._judge(self.open.pop(number))

    def finish(self) -> None:
        """Judges the ten minutes that are left: the log ends here."""
        for one in self.open.values():
            self._judge(one)
        self.open.clear()

    def trimmed(self) -> Tally:
        """The same with no more room for volts than those that stood, to be kept or sent; nothing is added to it."""
        stood = np.flatnonzero(self.lasting.any(axis=0))
        low, high = (int(stood[0]), int(stood[-1]) + 1) if len(stood) else (0, 0)
        small = copy(self)
        small.lowest, small.lasting = self.lowest + low, self.lasting[:, low:high].copy()
        return small

    def _judge(self, interval: Interval) -> None:
        """Ten minutes count where samples stand for all of them."""
        if interval.covered != INTERVAL:
            return
        day, window = self.day(interval.day), self.window
        total = sum(interval.squares)
        out = sum(factor * squares for factor, squares in zip(window.amplified, interval.squares, strict=True))
        day.intervals += 1
        day.kept += window.least <= total <= window.most
        day.kept_out += window.out_least <= out <= window.out_most

    def join(self, other: Tally) -> None:
        """Adds what follows in time, or another log's."""
        for name in ("samples", "gaps", "gap_us", "outside"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.longest_gap = max(self.longest_gap, other.longest_gap)
        self.changes += other.changes
        np.minimum(self.change_least, other.change_least, out=self.change_least)
        np.maximum(self.change_most, other.change_most, out=self.change_most)
        width = other.lasting.shape[1]
        self.lasting[:, other.lowest - self.lowest : other.lowest - self.lowest + width] += other.lasting
        self.hours.update(other.hours)
        self.by_hour += other.by_hour
        for number, day in other.days.items():
            self.day(number).add(day)
        self.meet(other.open)
        self.spells.add(other.spells)

    def meet(self, intervals: Mapping[int, Interval]) -> None:
        """Adds to the intervals that are open, and judges those that are no longer."""
        for number, other in intervals.items():
            mine = self.open.setdefault(number, Interval(other.day, 0, [0] * self.standings))
            mine.covered += other.covered
            mine.squares = [one + more for one, more in zip(mine.squares, other.squares, strict=True)]
        self._close()
