"""The choice of measurements against the best decision tree there is, and against splitting by halves."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest

from tapplan.bench.defects import HEALTHY, defects
from tapplan.bench.dictionary import Dictionary, Setup
from tapplan.bench.isolation import Isolation, Unsafe, next_of
from tapplan.bench.measures import measures
from tapplan.bench.predictions import Bench
from tapplan.bench.tree import Fork, Leaf, forks, tree
from tests.bench.stages import table
from tests.examples import SHIPPED

FIRST = {path.stem: path for path in SHIPPED}


def crisp(path: Path, random: Random, size: int) -> tuple[Dictionary, Bench]:
    """Some hypotheses, and measurements in which each of them has one outcome, all at the same effort."""
    stage = table(path)
    bench = Bench(stage)
    chosen = random.sample([HEALTHY, *((one,) for one in defects(stage))], size)
    offered = measures(stage, Isolation(stage).low_volts)
    whole = Dictionary(bench, chosen, offered, Setup())
    kept = [entry.measure for entry in whole.entries if (entry.outcomes.allowed.sum(axis=1) == 1).all()]
    made = Dictionary(bench, chosen, kept, Setup())
    made.efforts = np.ones(len(made.entries))
    return made, bench


def best_mean(dictionary: Dictionary) -> float:
    """The least expected number of measurements, by trying every tree."""
    weight = dictionary.prior

    @cache
    def least(alive: frozenset[int]) -> float:
        options = []
        for entry in dictionary.entries:
            parts: dict[int, set[int]] = {}
            for number in alive:
                parts.setdefault(int(entry.classes[number]), set()).add(number)
            merged = _by_outcome(entry, parts)
            if len(merged) > 1:
                options.append(float(weight[list(alive)].sum()) + sum(map(least, merged)))
        return min(options, default=0.0)

    return least(frozenset(range(len(weight))))


def _by_outcome(entry: object, parts: dict[int, set[int]]) -> list[frozenset[int]]:
    found: dict[int, set[int]] = {}
    for number, members in parts.items():
        outcome = int(np.flatnonzero(entry.outcomes.allowed[number])[0])
        found.setdefault(outcome, set()).update(members)
    return [frozenset(one) for one in found.values()]


def greedy_mean(dictionary: Dictionary, bench: Bench, choose: str = "gain") -> float:
    """The expected number of measurements when each is chosen by itself."""
    unsafe = Unsafe(bench, ())
    unsafe.now = lambda *_: False  # type: ignore[method-assign]

    def mean(weight: np.ndarray) -> float:
        chosen = next_of(dictionary, weight, set(), unsafe).choice if choose == "gain" else None
        entry = None if chosen is None else chosen.entry
        if choose == "halves":
            entry = _nearest_half(dictionary, weight)
        if entry is None:
            return 0.0
        shares = entry.shares()[entry.classes]
        return float(weight.sum()) + sum(
            mean(weight * shares[:, number])
            for number in range(shares.shape[1])
            if (weight * shares[:, number]).any()
        )

    return mean(dictionary.prior.copy())


def _nearest_half(dictionary: Dictionary, weight: np.ndarray) -> object:
    """The measurement whose largest outcome is nearest to half of what is left."""
    best, entry_found = 1 - 1e-9, None
    for entry in dictionary.entries:
        largest = max((weight @ entry.shares()[entry.classes]) / weight.sum())
        if largest < best:
            best, entry_found = largest, entry
    return entry_found


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_near_the_best_tree(path: Path) -> None:
    random = Random(path.stem)
    for _ in range(6):
        dictionary, bench = crisp(path, random, 7)
        best, ours = best_mean(dictionary), greedy_mean(dictionary, bench)
        assert best <= ours + 1e-9
        assert ours <= 1.1 * best + 1e-9


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_never_worse_than_halves(path: Path) -> None:
    dictionary, bench = crisp(path, Random(0), min(len(defects(table(path))), 30))
    assert greedy_mean(dictionary, bench) <= greedy_mean(dictionary, bench, "halves") + 1e-9


@pytest.mark.parametrize("name", ["spring-pump", "ridge-dispensary"])
def test_the_whole_tree_ends_where_the_readings_would(name: str) -> None:
    """Every leaf holds what fits the readings on the way to it; every hypothesis is in a leaf."""
    isolation = Isolation(table(FIRST[name]))
    found = tree(isolation)
    leaves: set[object] = set()
    waiting: list[Fork | Leaf] = [found.root]
    for node in forks(found.root):
        waiting += [branch.below for branch in node.branches]
    for one in waiting:
        if isinstance(one, Leaf):
            leaves |= set(one.hypotheses)
    assert leaves == set(isolation.hypotheses)
    assert 1 <= found.mean <= found.worst
    numbers = sorted(node.number for node in forks(found.root))
    assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.parametrize("name", ["spring-pump", "signal-box"])
def test_the_tree_keeps_the_line_waiting_too(name: str) -> None:
    """Down every way, with every hypothesis the readings allow: no line step while one of them shorts there."""
    isolation = Isolation(table(FIRST[name]))
    unsafe = Unsafe(isolation.bench, isolation.hypotheses)
    entries = {entry.measure: entry for entry in isolation.whole.entries}
    seen: set[tuple[int, bytes]] = set()
    waiting = [(tree(isolation).root, np.ones(len(isolation.hypotheses), dtype=bool))]
    while waiting:
        here, allowed = waiting.pop()
        if isinstance(here, Leaf) or (here.number, allowed.tobytes()) in seen or len(seen) > 20_000:
            continue
        seen.add((here.number, allowed.tobytes()))
        entry = entries[here.measure]
        assert not unsafe.now(here.measure.condition, allowed.astype(float)), here.number
        for branch in here.branches:
            outcome = entry.outcomes.spans.index(branch.readings)
            waiting.append((branch.below, allowed & entry.outcomes.allowed[:, outcome][entry.classes]))
