"""A plan for one page: the measurements that catch most of what is met, and what each outcome that fails means.

It is gone through from the top; the first line that fails names what is wrong, or the one measurement that tells the
last few apart. Each line is the one that catches most for its effort of what the lines above have let through; the
line waits until a test has looked for every short.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tapplan.arrays import Mask
from tapplan.bench.choosing import MOST_OFTEN, WORTH_WAITING, AskedSoFar, next_of, unbarring
from tapplan.bench.defects import HEALTHY, Hypothesis
from tapplan.bench.dictionary import Dictionary, Entry, Weights
from tapplan.bench.isolation import VERDICT, Isolation
from tapplan.bench.measures import Measure
from tapplan.bench.values import Prediction, either

ENOUGH = 0.95  # of what is met, by how often it is met
MOST_LINES = 40
MOST_SECOND = 4  # meanings of a second measurement that are told
LEAST_CAUGHT = 0.001  # of what is left; a line that catches less is none
RARE_OUTCOME = 0.03  # of what a line catches; rarer outcomes are told as one
FEW = 0.05  # a hypothesis that is less of what an outcome means is not named


@dataclass(frozen=True, slots=True)
class Means:
    """Readings that fail a line: what they mean, the likeliest first, and what tells these apart, if needed."""

    readings: Prediction
    hypotheses: tuple[Hypothesis, ...]
    then: Then | None


@dataclass(frozen=True, slots=True)
class Then:
    """A second measurement, and what its readings mean most likely."""

    measure: Measure
    means: tuple[Means, ...]


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One measurement: what passes, what failing means, and the share of what is met that is caught so far."""

    measure: Measure
    passes: Prediction
    means: tuple[Means, ...]
    caught: float


@dataclass(frozen=True, slots=True)
class RepairPlan:
    """The lines in order; `source_v` is the small source."""

    lines: tuple[PlanLine, ...]
    source_v: Fraction


def plan(isolation: Isolation) -> RepairPlan:
    """The plan from the readings so far on."""
    return RepairPlan(tuple(_Planner(isolation).lines()), isolation.low_volts)


class _Planner:
    def __init__(self, isolation: Isolation) -> None:
        self._isolation = isolation
        self._dictionary: Dictionary = isolation.whole
        self._healthy = self._dictionary.hypotheses.index(HEALTHY)
        self._lost = frozenset(one.measure for one in isolation.readings if one.value is None) | isolation.skipped

    def lines(self) -> Iterator[PlanLine]:
        """One line after the other, until enough is caught or nothing catches more."""
        weight = np.array(self._isolation.weight)
        weight[self._healthy] = 0
        whole = float(weight.sum())
        asked: frozenset[Measure] = frozenset(one.measure for one in self._isolation.readings)
        for _ in range(MOST_LINES):
            number = self._best(weight, asked)
            if number is None:
                return
            entry = self._dictionary.entries[number]
            asked |= {entry.measure}
            passed = self._passing(entry)
            yield PlanLine(
                entry.measure,
                entry.readings[entry.classes[self._healthy]],
                tuple(self._means(number, weight, asked)),
                1 - float((weight * passed).sum()) / whole,
            )
            weight = weight * passed
            if weight.sum() <= (1 - ENOUGH) * whole:
                return

    def _passing(self, entry: Entry) -> Weights:
        """How likely each hypothesis passes a line."""
        healthy = entry.outcomes.allowed[entry.classes[self._healthy]]
        return np.asarray(entry.shares()[:, healthy].sum(axis=1)[entry.classes], dtype=np.float64)

    def _best(self, weight: Weights, asked: frozenset[Measure]) -> int | None:
        """The measurement that catches most for its effort, among those that are safe."""
        with_healthy = weight.copy()
        with_healthy[self._healthy] = weight.sum()
        caught = np.array([float((weight * (1 - self._passing(one))).sum()) for one in self._dictionary.entries])
        per_effort = caught / self._dictionary.efforts
        fresh = np.array([one.measure not in asked | self._lost for one in self._dictionary.entries])
        unsafe, first = self._isolation.unsafe, True
        for number in (int(one) for one in np.argsort(-per_effort, kind="stable") if fresh[one]):
            if caught[number] <= LEAST_CAUGHT * weight.sum():
                break
            bars = unsafe.bars(self._dictionary.entries[number].measure.condition, with_healthy, asked)
            if bars is None:
                return number
            best_off = float(per_effort[self._safest(per_effort, fresh)])
            if first and best_off * WORTH_WAITING <= per_effort[number]:
                test = unbarring(self._dictionary, bars, fresh.astype(np.float64), unsafe)
                if test is not None:
                    return test
            first = False
        return None

    def _safest(self, per_effort: Weights, fresh: Mask) -> int:
        """The measurement off the line that catches most for its effort."""
        off = np.array([one.measure.condition.power in ("off", "low") for one in self._dictionary.entries])
        return int(np.argmax(np.where(off & fresh, per_effort, -1)))

    def _means(self, number: int, weight: Weights, asked: frozenset[Measure]) -> Iterator[Means]:
        """The outcomes that fail a line; those that mean the same together, the rare ones as one."""
        entry = self._dictionary.entries[number]
        healthy, shares = entry.outcomes.allowed[entry.classes[self._healthy]], entry.spread()
        found: dict[tuple[int, ...], list[int]] = {}
        caught = float((weight @ shares)[~healthy].sum())
        rare: list[int] = []
        for outcome in sorted(map(int, np.flatnonzero(~healthy)), key=lambda one: entry.outcomes.spans[one]):
            here = weight * shares[:, outcome]
            if here.sum() < RARE_OUTCOME * caught:
                rare.append(outcome)
            else:
                found.setdefault(tuple(self._named(here)), []).append(outcome)
        for outcomes in (*found.values(), *([rare] if rare else [])):
            here = weight * shares[:, outcomes].sum(axis=1)
            if here.any():
                readings = either(entry.outcomes.spans[one] for one in outcomes)
                named = tuple(self._dictionary.hypotheses[one] for one in self._named(here))
                yield Means(readings, named, self._then(here, asked))

    def _named(self, here: Weights) -> list[int]:
        """The hypotheses worth naming, one of each group, the likeliest group first."""
        by_group = np.bincount(self._dictionary.alike, here)
        heaviest: dict[int, int] = {}
        for number in map(int, np.argsort(-here, kind="stable")):
            heaviest.setdefault(int(self._dictionary.alike[number]), number)
        groups = np.argsort(-by_group, kind="stable")
        return [heaviest[int(one)] for one in groups if by_group[one] >= FEW * by_group.sum()]

    def _then(self, here: Weights, asked: frozenset[Measure]) -> Then | None:
        """What tells apart what an outcome leaves; None where one group is likely enough."""
        by_group = np.bincount(self._dictionary.alike, here)
        if by_group.max() >= VERDICT * by_group.sum():
            return None
        state = AskedSoFar(dict.fromkeys(asked, MOST_OFTEN), self._lost)
        chosen = next_of(self._dictionary, here, state, self._isolation.unsafe, here).choice
        return None if chosen is None else Then(chosen.entry.measure, tuple(self._after(chosen.entry, here)))

    def _after(self, entry: Entry, here: Weights) -> Iterator[Means]:
        """What the readings of a second measurement mean: the likeliest group of each, the likeliest few of them."""
        shares = entry.spread()
        found: dict[int, list[int]] = {}
        for outcome in map(int, np.argsort(-(here @ shares), kind="stable")):
            part = here * shares[:, outcome]
            if part.sum() >= RARE_OUTCOME * here.sum():
                found.setdefault(self._named(part)[0], []).append(outcome)
        for first, outcomes in list(found.items())[:MOST_SECOND]:
            readings = either(entry.outcomes.spans[one] for one in outcomes)
            yield Means(readings, (self._dictionary.hypotheses[first],), None)
