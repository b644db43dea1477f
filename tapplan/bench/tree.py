"""The whole decision tree of a design, for a bench without a computer: what to measure first, and what after which.

At each place the measurement with the most information per effort is taken, as when the readings are given one by
one. A hypothesis goes down every branch whose readings it allows, with the same share of each, as long as it would
come that way more often than once in a hundred; one that can short the mains as long as the readings allow it at
all, so that the line waits here as well. Branches that leave the same hypotheses lead to the same place, so that the
tree is printed once and not many times over.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Mask
from tapplan.bench.defects import Hypothesis
from tapplan.bench.dictionary import Entry, Weights
from tapplan.bench.isolation import Isolation, next_of
from tapplan.bench.measures import Measure
from tapplan.bench.values import Prediction

LEAST_SHARE = 0.01  # of the ways in which a hypothesis can show itself; rarer ways are left out of a branch
FADING = 50.0  # where all have become rare, those rarer than the likeliest by half are left out as well


@dataclass(frozen=True, slots=True)
class Leaf:
    """What is left when nothing more can be told."""

    hypotheses: tuple[Hypothesis, ...]


@dataclass(frozen=True, slots=True)
class Branch:
    """Readings of a measurement, and what follows them."""

    readings: Prediction
    below: Fork | Leaf


@dataclass(frozen=True, slots=True)
class Fork:
    """A measurement and what follows each outcome. The `number` counts from 1 in the order of reading."""

    number: int
    measure: Measure
    branches: tuple[Branch, ...]


@dataclass(frozen=True, slots=True)
class Tree:
    """The root, and how many measurements it takes on average and at worst."""

    root: Fork | Leaf
    mean: float
    worst: int


def tree(isolation: Isolation) -> Tree:
    """The tree from the readings so far on."""
    grower = _Grower(isolation)
    weight = isolation.weight
    root = grower.grown(weight, frozenset(reading.measure for reading in isolation.readings))
    found = grower.lengths(root, weight / weight.sum())
    whole = sum(found.values())
    return Tree(root, sum(length * share for length, share in found.items()) / whole, max(found))


@dataclass(frozen=True, slots=True)
class _Reached:
    """A place in the tree, and the weights of the hypotheses that come to it."""

    here: Fork | Leaf
    weight: Weights


class _Grower:
    def __init__(self, isolation: Isolation) -> None:
        self._dictionary = isolation.whole
        self._first = isolation.weight
        self._unsafe = isolation.unsafe
        self._shorting = self._unsafe.anywhere()
        self._numbers = 0
        self._entries: dict[int, Entry] = {}
        self._classes = np.array([entry.classes for entry in self._dictionary.entries])
        self._measures = [entry.measure for entry in self._dictionary.entries]
        self._known: dict[tuple[bytes, frozenset[Measure]], Fork | Leaf] = {}

    def grown(self, weight: Weights, asked: frozenset[Measure]) -> Fork | Leaf:
        """What follows where the hypotheses have these weights."""
        often = np.divide(weight, self._first, out=np.zeros_like(weight), where=self._first > 0)
        alive = often >= LEAST_SHARE * min(1, often.max() * FADING)
        alive = (alive | self._shorting) & (weight > 0)
        key = (alive.tobytes(), asked & self._telling(alive))
        if key not in self._known:
            self._known[key] = self._new(np.where(alive, weight, 0), asked)
        return self._known[key]

    def _telling(self, alive: Mask) -> frozenset[Measure]:
        """The measurements whose readings differ between hypotheses that are left."""
        left = self._classes[:, alive]
        return frozenset(self._measures[number] for number in np.flatnonzero((left != left[:, :1]).any(axis=1)))

    def _new(self, weight: Weights, asked: frozenset[Measure]) -> Fork | Leaf:
        alive = np.flatnonzero(weight)
        chosen = None
        if len(alive) > 1:
            chosen = next_of(self._dictionary, weight, asked, self._unsafe).choice
        if chosen is None:
            return Leaf(tuple(self._dictionary.hypotheses[number] for number in alive))
        self._numbers += 1
        number, entry = self._numbers, chosen.entry
        self._entries[number] = entry
        shares, branches = entry.shares(), []
        order = sorted(range(len(entry.outcomes.spans)), key=lambda one: entry.outcomes.spans[one])
        for outcome in order:
            onward = weight * shares[entry.classes, outcome]
            if onward.any():
                branches.append(Branch(entry.outcomes.spans[outcome], self.grown(onward, asked | {entry.measure})))
        return Fork(number, entry.measure, tuple(branches))

    def lengths(self, root: Fork | Leaf, weight: Weights) -> dict[int, float]:
        """How likely it is to end after so many measurements."""
        found: dict[int, float] = {}
        front = {id(root): _Reached(root, weight)}
        length = 0
        while front:
            onward: dict[int, _Reached] = {}
            for one in front.values():
                if isinstance(one.here, Leaf):
                    found[length] = found.get(length, 0) + float(one.weight.sum())
                    continue
                for part in self._divided(one.here, one.weight):
                    before = onward.get(id(part.here))
                    onward[id(part.here)] = (
                        part if before is None else _Reached(part.here, before.weight + part.weight)
                    )
            front, length = onward, length + 1
        return found

    def _divided(self, fork: Fork, weight: Weights) -> Iterator[_Reached]:
        """The weights that go down each branch."""
        entry = self._entries[fork.number]
        shares = entry.shares()
        places = {spans: number for number, spans in enumerate(entry.outcomes.spans)}
        for branch in fork.branches:
            yield _Reached(branch.below, weight * shares[entry.classes, places[branch.readings]])


def forks(root: Fork | Leaf) -> Iterator[Fork]:
    """Every measurement of a tree once, in the order of reading."""
    seen: set[int] = set()
    waiting = [root]
    while waiting:
        here = waiting.pop()
        if isinstance(here, Fork) and here.number not in seen:
            seen.add(here.number)
            yield here
            waiting += [branch.below for branch in reversed(here.branches)]
