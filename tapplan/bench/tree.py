"""The whole decision tree of a design, for a bench without a computer: what to measure first, and what after which.

At each place the measurement with the most information per effort is taken, as when the readings are given one by
one. A hypothesis goes down every branch whose readings it allows, with the same share of each, as long as it would
come that way more often than once in a hundred; one that can short the mains until a test has looked for it, so that
the line waits here as well. Branches that leave the same hypotheses lead to the same place, so that the tree is
printed once and not many times over. It ends where one group is as likely as a verdict must be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Mask
from tapplan.bench.choosing import MOST_OFTEN, AskedSoFar, Choice, next_of
from tapplan.bench.defects import Hypothesis
from tapplan.bench.dictionary import Entry, Weights
from tapplan.bench.isolation import VERDICT, Isolation
from tapplan.bench.measures import Measure
from tapplan.bench.safety import RARE
from tapplan.bench.values import Prediction, either

LEAST_SHARE = 0.01  # of the ways in which a hypothesis can show itself; rarer ways are left out of a branch
FADING = 50.0  # where all have become rare, those rarer than the likeliest by half are left out as well
RARE_BRANCH = 0.005  # of what comes to a measurement; a rarer outcome is left to `isolate`
FAINT = 0.01  # of all at a place; what is rarer there does not lead on
LEAST_BITS = 0.02
MOST_FORKS = 4000  # beyond, a place is left with what is possible there


@dataclass(frozen=True, slots=True)
class Leaf:
    """What is left when nothing more can be told."""

    hypotheses: tuple[Hypothesis, ...]


@dataclass(frozen=True, slots=True)
class Branch:
    """Readings of a measurement, the numbers of their outcomes in the dictionary, and what follows them."""

    readings: Prediction
    outcomes: tuple[int, ...]
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
        self._numbers = 0
        self._entries = {entry.measure: entry for entry in self._dictionary.entries}
        self._shorting = isolation.unsafe.anywhere()
        self._known: dict[tuple[bytes, frozenset[int], Measure], Fork] = {}
        self._leaves: dict[bytes, Leaf] = {}
        self._lost = frozenset(one.measure for one in isolation.readings if one.value is None) | isolation.skipped

    def grown(self, weight: Weights, asked: frozenset[Measure]) -> Fork | Leaf:
        """What follows where the hypotheses have these weights."""
        often = np.divide(weight, self._first, out=np.zeros_like(weight), where=self._first > 0)
        alive = (often >= LEAST_SHARE * min(1, often.max() * FADING)) & (weight >= FAINT * weight.sum())
        chosen = self._chosen(np.where(alive, weight, 0), weight, asked)
        if chosen is None:
            return self._leaf(alive)
        key = (alive.tobytes(), self._untested(weight, asked), chosen.entry.measure)
        if key not in self._known:
            self._known[key] = self._new(weight, asked, chosen.entry)
        return self._known[key]

    def _untested(self, weight: Weights, asked: frozenset[Measure]) -> frozenset[int]:
        """The hypotheses that short the mains, that the readings allow, and that no test has looked for yet."""
        counting = np.flatnonzero(self._shorting & (weight > 0))
        return frozenset(int(one) for one in counting if not self._unsafe.tests(int(one)) & asked)

    def _leaf(self, alive: Mask) -> Leaf:
        """What is left, one leaf for all places that leave the same."""
        if alive.tobytes() not in self._leaves:
            left = tuple(self._dictionary.hypotheses[number] for number in np.flatnonzero(alive))
            self._leaves[alive.tobytes()] = Leaf(left)
        return self._leaves[alive.tobytes()]

    def _chosen(self, weight: Weights, every: Weights, asked: frozenset[Measure]) -> Choice | None:
        """The measurement to make, None where one group is likely enough or nothing tells more."""
        by_group = np.bincount(self._dictionary.alike, weight)
        if by_group.max() >= VERDICT * by_group.sum() or self._numbers >= MOST_FORKS:
            return None
        state = AskedSoFar(dict.fromkeys(asked, MOST_OFTEN), self._lost)
        least = np.where(
            self._shorting & (every > 0), 2 * RARE * every.sum(), 0
        )  # a way that leads here may hold more
        chosen = next_of(self._dictionary, weight, state, self._unsafe, np.maximum(every, least)).choice
        if chosen is None or (chosen.bits < LEAST_BITS and not chosen.unbars):
            return None
        return chosen

    def _new(self, weight: Weights, asked: frozenset[Measure], entry: Entry) -> Fork:
        self._numbers += 1
        number = self._numbers
        shares = entry.spread()
        below: dict[int, Fork | Leaf] = {}
        leading: dict[int, list[int]] = {}
        for outcome in sorted(range(len(entry.outcomes.spans)), key=lambda one: entry.outcomes.spans[one]):
            onward = weight * shares[:, outcome]
            if onward.sum() > RARE_BRANCH * weight.sum():
                place = self.grown(onward, asked | {entry.measure})
                leading.setdefault(id(place), []).append(outcome)
                below[id(place)] = place
        branches = tuple(
            Branch(either(entry.outcomes.spans[one] for one in outcomes), tuple(outcomes), below[place])
            for place, outcomes in leading.items()
        )
        return Fork(number, entry.measure, branches)

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
        shares = self._entries[fork.measure].spread()
        for branch in fork.branches:
            yield _Reached(branch.below, weight * shares[:, list(branch.outcomes)].sum(axis=1))


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
