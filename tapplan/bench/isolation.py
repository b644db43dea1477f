"""From readings to the defects that explain them, and to the next measurement.

A hypothesis stays as long as every reading is one it allows, with the meter's error. What is left is ranked by its
prior times how well it foretold the readings. Where nothing is left the readings contradict each other, and the
smallest set of them that does is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import combinations

import numpy as np

from tapplan.arrays import Mask
from tapplan.bench.defects import HEALTHY, Hypothesis, defects, pairs
from tapplan.bench.dictionary import Dictionary, Entry, Setup, Weights, weights
from tapplan.bench.measures import LOW_SOURCES, TOUCH_V, Condition, Measure, forced_states, measures
from tapplan.bench.meter import likely
from tapplan.bench.predictions import Bench
from tapplan.bench.values import MOST, Prediction
from tapplan.control.table import ControlTable

LEAST_GAIN = 1e-6  # bits; below it a measurement tells nothing
HEAVIEST = 800  # hypotheses among which a measurement is chosen and groups are formed; with pairs there are thousands
MOST_CONFLICT = 5  # readings in a smallest conflict; beyond, one that cannot be made smaller is named


@dataclass(frozen=True, slots=True)
class Reading:
    """What was measured. `value` is None when it was not to be had; `told` is how it was written."""

    measure: Measure
    value: Fraction | None
    told: str = ""


@dataclass(frozen=True, slots=True)
class AlikeFaults:
    """Hypotheses that no measurement on the list can tell apart, and how likely they are together."""

    members: tuple[Hypothesis, ...]
    share: float


@dataclass(frozen=True, slots=True)
class DoubtedReading:
    """A reading which, if it were wrong, would let other hypotheses in: by its place, and which."""

    place: int
    hypotheses: tuple[Hypothesis, ...]


@dataclass(frozen=True, slots=True)
class Leaving:
    """Readings, and the hypotheses that they leave."""

    readings: Prediction
    hypotheses: tuple[Hypothesis, ...]


@dataclass(frozen=True, slots=True)
class Next:
    """A measurement to make: its information, what its readings leave, and the most volts it can bring about."""

    entry: Entry
    bits: float
    leaves: tuple[Leaving, ...]
    volts: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Choice:
    """The measurement chosen, and its information in bits."""

    entry: Entry
    bits: float


@dataclass(frozen=True, slots=True)
class Chosen:
    """The best measurement, None where none tells anything, and how many better ones were barred as not safe yet."""

    choice: Choice | None
    barred: int


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the readings say: groups by likelihood, a conflict (places of readings) or doubts, and what is next."""

    groups: tuple[AlikeFaults, ...]
    conflict: tuple[int, ...]
    doubts: tuple[DoubtedReading, ...]
    next: Next | None
    barred: int


class Isolation:
    """The reasoning for one design. Readings are added one by one or all at once; nothing is forgotten."""

    def __init__(self, table: ControlTable, setup: Setup | None = None) -> None:
        self.setup = setup or Setup()
        self.bench = Bench(table)
        self.singles = defects(table)
        self.hypotheses: tuple[Hypothesis, ...] = (HEALTHY, *((one,) for one in self.singles))
        if self.setup.two:
            self.hypotheses = (*self.hypotheses, *pairs(self.singles))
        self.low_volts = low_source(self.bench, self.hypotheses)
        self.measures = measures(table, self.low_volts)
        self.unsafe = Unsafe(self.bench, self.hypotheses)
        self.readings: list[Reading] = []
        self._fitting: list[Mask] = []
        self.weight = weights(self.hypotheses, self.setup.priors)

    def add(self, reading: Reading) -> None:
        """Takes a reading into account."""
        self.readings.append(reading)
        if reading.value is None:
            self._fitting.append(np.ones(len(self.hypotheses), dtype=bool))
            return
        value = reading.value
        meter, measure = self.setup.meter, reading.measure
        known: dict[Prediction, float] = {}
        each = np.empty(len(self.hypotheses))
        for number, hypothesis in enumerate(self.hypotheses):
            predicted = self.bench.predicted(hypothesis, measure)
            if predicted not in known:
                known[predicted] = likely(meter.widened(measure, predicted), value)
            each[number] = known[predicted]
        self._fitting.append(each > 0)
        self.weight = self.weight * each

    @property
    def alive(self) -> Mask:
        """The hypotheses that fit every reading."""
        return np.logical_and.reduce(self._fitting) if self._fitting else np.ones(len(self.hypotheses), dtype=bool)

    @cached_property
    def whole(self) -> Dictionary:
        """The dictionary of all hypotheses; with pairs it is large."""
        return Dictionary(self.bench, self.hypotheses, self.measures, self.setup)

    def diagnosis(self) -> Diagnosis:
        """What the readings so far say."""
        alive = self.alive
        if not alive.any():
            return Diagnosis((), self._conflict(), (), None, 0)
        numbers = np.flatnonzero(alive)
        numbers = numbers[np.argsort(-self.weight[numbers], kind="stable")]
        every = [self.hypotheses[number] for number in numbers]
        left, rest = every[:HEAVIEST], every[HEAVIEST:]
        small = Dictionary(self.bench, left, self.measures, self.setup)
        whole = self.weight[numbers] / self.weight[numbers].sum()
        asked = {reading.measure for reading in self.readings}
        lost = {reading.measure for reading in self.readings if reading.value is None}
        possible = np.where(alive, self.weight, 0)
        chosen = next_of(small, whole[: len(left)], asked, self.unsafe, possible)
        usable = [entry for entry in small.entries if entry.measure not in lost]
        following = None if chosen.choice is None else self._following(small, chosen.choice, every)
        alone = [AlikeFaults((one,), float(share)) for one, share in zip(rest, whole[len(left) :], strict=True)]
        groups = (*_groups(small, whole[: len(left)], usable), *alone)
        return Diagnosis(groups, (), self._doubts(), following, chosen.barred)

    def _following(self, small: Dictionary, chosen: Choice, every: Sequence[Hypothesis]) -> Next:
        volts = _most(self.bench, every, chosen.entry.measure)
        return Next(chosen.entry, chosen.bits, tuple(_leaves(small, chosen.entry)), volts)

    def _conflict(self) -> tuple[int, ...]:
        """The fewest readings that no hypothesis fits together."""
        places = [place for place, fitting in enumerate(self._fitting) if not fitting.all()]
        for size in range(1, min(MOST_CONFLICT, len(places)) + 1):
            for chosen in combinations(places, size):
                if not np.logical_and.reduce([self._fitting[place] for place in chosen]).any():
                    return chosen
        kept = places
        for place in places:  # more than `MOST_CONFLICT`: drop what is not needed, one by one
            fewer = [one for one in kept if one != place]
            if not np.logical_and.reduce([self._fitting[one] for one in fewer]).any():
                kept = fewer
        return tuple(kept)

    def _doubts(self) -> tuple[DoubtedReading, ...]:
        alive = self.alive
        found = []
        for place, fitting in enumerate(self._fitting):
            if fitting.all():
                continue
            others = [one for number, one in enumerate(self._fitting) if number != place]
            without = np.logical_and.reduce(others) if others else np.ones(len(alive), dtype=bool)
            more = without & ~alive
            if others and more.any():
                found.append(DoubtedReading(place, tuple(self.hypotheses[number] for number in np.flatnonzero(more))))
        return tuple(found)


def low_source(bench: Bench, hypotheses: Sequence[Hypothesis]) -> Fraction:
    """The largest small source that brings no two points of the stage above `TOUCH_V`, whatever is wrong with it."""
    line, neutral, _ = (bench.circuit.points[end] for end in bench.circuit.terminals)
    most = max(
        (
            highest(bench, hypothesis, Condition("low", coils, (line, neutral), Fraction(1)))
            for hypothesis in hypotheses
            for coils in forced_states(bench.table)
        ),
        default=Fraction(1),
    )
    return next((volts for volts in LOW_SOURCES if volts * most <= TOUCH_V), LOW_SOURCES[-1])


def highest(bench: Bench, hypothesis: Hypothesis, condition: Condition) -> Fraction:
    """The most volts between any two points of a stage fed as the condition says; shorted, no more than is fed."""
    return max(
        (bench.highest(hypothesis, condition, coils) for coils in bench.coils(hypothesis, condition)),
        default=Fraction(0),
    )


def next_of(
    dictionary: Dictionary,
    weight: Weights,
    asked: AbstractSet[Measure],
    unsafe: Unsafe,
    every: Weights | None = None,
) -> Chosen:
    """The measurement with the most information per effort that is safe.

    On the line nothing is measured while a hypothesis that is left would short the mains there. `every`: the weights
    of all hypotheses that `unsafe` knows, where the dictionary holds only the heaviest.
    """
    bits = dictionary.gains(weight)
    barred = 0
    for number in np.argsort(-bits / dictionary.efforts, kind="stable"):
        entry = dictionary.entries[number]
        if bits[number] < LEAST_GAIN or entry.measure in asked:
            continue
        if unsafe.now(entry.measure.condition, weight if every is None else every):
            barred += 1
            continue
        return Chosen(Choice(entry, float(bits[number])), barred)
    return Chosen(None, barred)


class Unsafe:
    """Which hypotheses make a condition unsafe: the mains shorted on the way, a small source lifted too high."""

    def __init__(self, bench: Bench, hypotheses: Sequence[Hypothesis]) -> None:
        self._bench = bench
        self._hypotheses = hypotheses
        self._known: dict[Condition, Mask] = {}

    def now(self, condition: Condition, weight: Weights) -> bool:
        """Whether a hypothesis that still has a weight makes it unsafe."""
        return condition.power != "off" and bool((self._hurting(condition) & (weight > 0)).any())

    def anywhere(self) -> Mask:
        """The hypotheses that short the mains somewhere on the line."""
        return self._hurting(Condition("line", course="rising"))

    def _hurting(self, condition: Condition) -> Mask:
        if condition.power == "line":
            return self._shorting(condition)
        if condition not in self._known:
            most = [highest(self._bench, one, condition) > TOUCH_V for one in self._hypotheses]
            self._known[condition] = np.array(most, dtype=bool)
        return self._known[condition]

    def _shorting(self, condition: Condition) -> Mask:
        if condition not in self._known:
            shorting = np.zeros(len(self._hypotheses), dtype=bool)
            for passed in self._passed(condition):
                lamp = Measure(passed, "lamp")
                shown = [self._bench.predicted(one, lamp) for one in self._hypotheses]
                shorting |= np.array([any(1 in span for span in one) for one in shown], dtype=bool)
            self._known[condition] = shorting
        return self._known[condition]

    def _passed(self, condition: Condition) -> list[Condition]:
        """What a slow line passes on its way: the middle of every band on that side; a sweep passes all."""
        if condition.coils is not None or condition.course == "start":
            return [condition]
        course, end = condition.course, condition.volts
        ways = [one for one in self._bench.middles() if end is None or (one < end) == (course == "rising")]
        passed = [Condition("line", None, None, one, course) for one in ways]
        return passed if end is None else [*passed, condition]


def _most(bench: Bench, hypotheses: Sequence[Hypothesis], measure: Measure) -> Fraction | None:
    if measure.condition.volts is None:
        return None
    return max(highest(bench, hypothesis, measure.condition) for hypothesis in hypotheses)


def _leaves(small: Dictionary, entry: Entry) -> list[Leaving]:
    """The readings that each kind of hypothesis allows, in rising order, what allows anything last."""
    found = []
    for number, readings in enumerate(entry.readings):
        members = tuple(small.hypotheses[place] for place in np.flatnonzero(entry.classes == number))
        found.append(Leaving(readings, members))
    return sorted(found, key=lambda one: (one.readings[0].low == 0 and one.readings[-1].high >= MOST, one.readings))


def _groups(small: Dictionary, weight: Weights, usable: Sequence[Entry]) -> tuple[AlikeFaults, ...]:
    """The hypotheses left, those together that no measurement can tell apart for sure or by chance."""
    columns = [entry.classes for entry in usable if len(entry.readings) > 1]
    keys = list(zip(*columns, strict=True)) if columns else [()] * len(small.hypotheses)
    members: dict[tuple[object, ...], list[int]] = {}
    for number, key in enumerate(keys):
        members.setdefault(tuple(key), []).append(number)
    found = [
        AlikeFaults(tuple(small.hypotheses[number] for number in numbers), float(weight[numbers].sum()))
        for numbers in members.values()
    ]
    return tuple(sorted(found, key=lambda group: -group.share))
