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
class Node:
    """A measurement and what follows each outcome. The `number` counts from 1 in the order of reading."""

    number: int
    measure: Measure
    branches: tuple[tuple[Prediction, Node | Leaf], ...]


@dataclass(frozen=True, slots=True)
class Tree:
    """The root, and how many measurements it takes on average and at worst."""

    root: Node | Leaf
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
        self._known: dict[tuple[bytes, frozenset[Measure]], Node | Leaf] = {}

    def grown(self, weight: Weights, asked: frozenset[Measure]) -> Node | Leaf:
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

    def _new(self, weight: Weights, asked: frozenset[Measure]) -> Node | Leaf:
        alive = np.flatnonzero(weight)
        chosen = None
        if len(alive) > 1:
            chosen, _ = next_of(self._dictionary, weight, asked, self._unsafe)
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
                branches.append((entry.outcomes.spans[outcome], self.grown(onward, asked | {entry.measure})))
        return Node(number, entry.measure, tuple(branches))

    def lengths(self, root: Node | Leaf, weight: Weights) -> dict[int, float]:
        """How likely it is to end after so many measurements."""
        found: dict[int, float] = {}
        front: dict[int, tuple[Node | Leaf, Weights]] = {id(root): (root, weight)}
        length = 0
        while front:
            onward: dict[int, tuple[Node | Leaf, Weights]] = {}
            for here, share in front.values():
                if isinstance(here, Leaf):
                    found[length] = found.get(length, 0) + float(share.sum())
                    continue
                for below, part in self._divided(here, share):
                    before = onward.get(id(below))
                    onward[id(below)] = (below, part if before is None else before[1] + part)
            front, length = onward, length + 1
        return found

    def _divided(self, node: Node, weight: Weights) -> Iterator[tuple[Node | Leaf, Weights]]:
        """The weights that go down each branch."""
        entry = self._entries[node.number]
        shares = entry.shares()
        places = {spans: number for number, spans in enumerate(entry.outcomes.spans)}
        for spans, below in node.branches:
            yield below, weight * shares[entry.classes, places[spans]]


def nodes(root: Node | Leaf) -> Iterator[Node]:
    """Every measurement of a tree once, in the order of reading."""
    seen: set[int] = set()
    waiting = [root]
    while waiting:
        here = waiting.pop()
        if isinstance(here, Node) and here.number not in seen:
            seen.add(here.number)
            yield here
            waiting += [below for _, below in reversed(here.branches)]
