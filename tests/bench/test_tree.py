"""The choice of measurements against the best decision tree there is, and against splitting by halves."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest

from tapplan.bench.choosing import AskedSoFar, next_of
from tapplan.bench.defects import HEALTHY, defects
from tapplan.bench.dictionary import Dictionary, Setup, hypothesis_name
from tapplan.bench.isolation import Isolation
from tapplan.bench.measures import Measure
from tapplan.bench.meter import Meter
from tapplan.bench.offered import measures
from tapplan.bench.plan import ENOUGH, MOST_LINES, PlanLine, plan
from tapplan.bench.predictions import Bench
from tapplan.bench.safety import RARE, Unsafe
from tapplan.bench.tree import Fork, Leaf, forks, tree
from tests.bench.stages import table
from tests.examples import SHIPPED

FIRST = {path.stem: path for path in SHIPPED}


def crisp(path: Path, random: Random, size: int) -> tuple[Dictionary, Bench]:
    """Some hypotheses, and measurements in which each of them has one outcome, all at the same effort."""
    stage = table(path)
    bench = Bench(stage)
    every = [HEALTHY, *((one,) for one in defects(stage))]
    by_name = {hypothesis_name(one): one for one in random.sample(every, len(every))}
    chosen = random.sample(sorted(by_name.values(), key=hypothesis_name), size)
    offered = measures(stage, Isolation(stage).low_volts)
    whole = Dictionary(bench, chosen, offered, Setup())
    sure = [entry for entry in whole.entries if (entry.outcomes.allowed.sum(axis=1) == 1).all()]
    kept = [entry.measure for entry in sure if entry.measure.what != "lamp"]  # a lamp is a rough judge
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
    unsafe = Unsafe(bench, dictionary.hypotheses, (), Meter())
    unsafe.bars = lambda *_: None  # type: ignore[method-assign]
    nothing = AskedSoFar({}, frozenset())

    def mean(weight: np.ndarray) -> float:
        chosen = next_of(dictionary, weight, nothing, unsafe, weight).choice if choose == "gain" else None
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
    dictionary, bench = crisp(path, Random(0), 25)
    assert greedy_mean(dictionary, bench) <= greedy_mean(dictionary, bench, "halves") + 1e-9


@pytest.mark.parametrize("name", ["spring-pump", "ridge-dispensary"])
def test_the_whole_tree_ends_where_the_readings_would(name: str) -> None:
    """Every kind of hypothesis is in a leaf, and a leaf's first group is likely, or nothing tells more."""
    isolation = Isolation(table(FIRST[name]))
    found = tree(isolation)
    leaves: set[object] = set()
    waiting: list[Fork | Leaf] = [found.root]
    for node in forks(found.root):
        waiting += [branch.below for branch in node.branches]
    for one in waiting:
        if isinstance(one, Leaf):
            leaves |= {hypothesis_name(each) for each in one.hypotheses}
    often = {hypothesis_name(one) for one in isolation.hypotheses if not any(part.row or part.scale for part in one)}
    assert len(often - leaves) <= 0.03 * len(often)  # the rarest are left to the readings
    assert 1 <= found.mean <= found.worst
    numbers = sorted(node.number for node in forks(found.root))
    assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.parametrize("name", ["spring-pump", "signal-box"])
def test_the_tree_keeps_the_line_waiting_too(name: str) -> None:
    """Down every way: no line step before a test for each hypothesis that is left and shorts there."""
    isolation = Isolation(table(FIRST[name]))
    unsafe = isolation.unsafe
    entries = {entry.measure: entry for entry in isolation.whole.entries}
    shorting = unsafe.anywhere()
    seen: set[tuple[int, frozenset[int]]] = set()
    waiting = [(tree(isolation).root, np.array(isolation.weight), frozenset[Measure]())]
    lines = 0
    while waiting:
        here, weight, taken = waiting.pop()
        left = np.flatnonzero(shorting & (weight > 0))
        untested = frozenset(
            int(one) for one in left if unsafe.tests(int(one)) and not unsafe.tests(int(one)) & taken
        )
        if isinstance(here, Leaf) or (here.number, untested) in seen:
            continue
        seen.add((here.number, untested))
        entry = entries[here.measure]
        if here.measure.condition.power == "line":
            lines += 1
            hurting = unsafe.hurting(here.measure.condition) & (weight > RARE * weight.sum())
            assert not untested & set(map(int, np.flatnonzero(hurting))), here.number
        for branch in here.branches:
            onward = weight * entry.shares()[entry.classes][:, list(branch.outcomes)].sum(axis=1)
            waiting.append((branch.below, onward, taken | {here.measure}))
    assert lines > 2


def test_the_tree_of_two_relays_is_a_few_pages() -> None:
    found = tree(Isolation(table(FIRST["ridge-dispensary"])))
    assert sum(len(node.branches) + 1 for node in forks(found.root)) < 1500
    assert found.mean < 6


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_plan_catches_what_is_met_on_one_page(path: Path) -> None:
    """Of all hypotheses by how often they are met; each that a line's outcomes name is one the readings allow."""
    isolation = Isolation(table(path))
    made = plan(isolation)
    meter = isolation.setup.meter
    assert 5 <= len(made.lines) <= MOST_LINES
    caught = [one.caught for one in made.lines]
    assert caught == sorted(caught)
    assert caught[-1] >= ENOUGH or len(made.lines) == MOST_LINES or path.stem == "spring-pump"
    left = {one: weight for one, weight in zip(isolation.hypotheses, isolation.weight, strict=True) if one}
    whole = sum(left.values())
    for line in made.lines:
        sound = meter.widened(line.measure, isolation.bench.predicted(HEALTHY, line.measure))
        assert line.passes == sound
        for one in list(left):
            own = meter.widened(line.measure, isolation.bench.predicted(one, line.measure))
            if all(a.meet(b) is None for a in own for b in sound):
                del left[one]
        for each in line.means:
            for hypothesis in each.hypotheses:
                own = meter.widened(line.measure, isolation.bench.predicted(hypothesis, line.measure))
                assert any(a.meet(b) is not None for a in own for b in each.readings)
    assert 1 - sum(left.values()) / whole <= caught[-1] + 1e-9  # those that fail a line for sure are caught


def test_the_plan_names_a_weld_by_itself_and_puts_rare_readings_together() -> None:
    """On the small source a welded relay reads as no other fault does; what is left over is one row, the last."""
    isolation = Isolation(table(FIRST["ridge-dispensary"]))
    lines = plan(isolation).lines
    alone = {one.told() for line in lines for each in line.means if not each.then for one in each.hypotheses[0]}
    assert {"KL stuck-driven", "KO stuck-driven", "fuse-open"} <= alone
    short = next(line for line in lines if line.measure.what == "current")
    above = [each for each in short.means if each.readings[-1].low >= line_end(short)]
    assert above
    assert all(one.fault in ("shorted-turns", "bridged") for each in above for one in each.hypotheses[0])
    assert all(each.then is None or each.then.means for line in lines for each in line.means)


def line_end(line: PlanLine) -> Fraction:
    return max(span.high for span in line.passes)


def test_the_plan_tests_every_short_before_the_line() -> None:
    isolation = Isolation(table(FIRST["harbour-crane"]))
    lines = [one.measure for one in plan(isolation).lines]
    first = next(number for number, one in enumerate(lines) if one.condition.power == "line")
    entries = {entry.measure: entry for entry in isolation.whole.entries}
    weight = np.array(isolation.weight)
    for measure in lines[:first]:  # what fails a line for sure does not come to the line
        entry = entries[measure]
        weight *= entry.shares()[entry.classes][:, entry.outcomes.allowed[entry.classes[0]]].sum(axis=1)
    hurting = np.flatnonzero(isolation.unsafe.hurting(lines[first].condition))
    heavy = [int(one) for one in hurting if weight[one] > RARE * weight.sum()]
    assert heavy
    assert all(isolation.unsafe.tests(one) & set(lines[:first]) for one in heavy if isolation.unsafe.tests(one))
