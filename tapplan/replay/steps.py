"""The usual step of a log: the median of the distances between its samples, found while they pass."""

from __future__ import annotations

from collections import Counter

import numpy as np

from tapplan.arrays import Micros, Wholes
from tapplan.replay.clock import median_of

COUNTED = 1 << 22  # distances that lie no farther apart than so many microseconds are counted by place
KEPT = 1 << 20  # different distances that are told apart; beyond, they are taken to coarser units


class Distances:
    """How often each distance occurs; `unit` microseconds are told apart, 1 unless there are very many of them."""

    def __init__(self) -> None:
        self.unit = 1
        self._counts: Counter[int] = Counter()

    def add(self, found: Micros) -> None:
        """Distances between one sample and the next."""
        if len(found):
            self._take(found if self.unit == 1 else found // self.unit)
            while len(self._counts) > KEPT:
                self._coarsen()

    def add_same(self, distance: int, count: int) -> None:
        """So many that are all alike."""
        self._counts[distance // self.unit] += count

    def _take(self, found: Wholes) -> None:
        low, high = int(found.min()), int(found.max())
        if low == high:
            self._counts[low] += len(found)
        elif high - low < COUNTED:
            counts = np.bincount(found - low)
            places = np.flatnonzero(counts)
            self._counts.update(dict(zip((places + low).tolist(), counts[places].tolist(), strict=True)))
        else:
            middle = int(np.median(found))
            near = np.abs(found - middle) < COUNTED // 2
            self._by_one(found[~near])
            if near.any():
                self._take(found[near])

    def _by_one(self, found: Wholes) -> None:
        values, counts = np.unique(found, return_counts=True)
        self._counts.update(dict(zip(values.tolist(), counts.tolist(), strict=True)))

    def _coarsen(self) -> None:
        self.unit *= 1000
        coarse: Counter[int] = Counter()
        for value, count in self._counts.items():
            coarse[value // 1000] += count
        self._counts = coarse

    def join(self, other: Distances) -> None:
        """Those of another part of the same log."""
        while self.unit < other.unit:
            self._coarsen()
        for value, count in other._counts.items():
            self._counts[value * other.unit // self.unit] += count

    @property
    def median(self) -> int:
        """The median in microseconds; 0 without any."""
        return median_of(dict(self._counts)) * self.unit
