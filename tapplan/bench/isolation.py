"""From readings to the defects that explain them, and to the next measurement.

A hypothesis is worth its prior times how well it foretold each reading; one that it does not allow may have been
misread, now and then. So none is ever ruled out for good, and one slip of hand or eye does not hide the truth. A
verdict stands only where it would stand without any single one of the readings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Mask
from tapplan.bench.choosing import AskedSoFar, Choice, Chosen, Waiting, next_of
from tapplan.bench.defects import HEALTHY, Defect, Hypothesis, defects, pairs
from tapplan.bench.dictionary import Dictionary, Entry, Setup, Weights, weights
from tapplan.bench.measures import Measure, Power
from tapplan.bench.meter import Likely
from tapplan.bench.offered import keep_to_work, measures
from tapplan.bench.predictions import Bench
from tapplan.bench.safety import Unsafe, highest, low_source
from tapplan.bench.values import MOST, Prediction
from tapplan.control.table import ControlTable

HEAVIEST = 800  # hypotheses among which a measurement is chosen and groups are formed; with pairs there are thousands
MOST_PAIRED = 220  # defects of which pairs are made, some 24,000
MOST_CONFLICT = 5  # readings in a smallest conflict; beyond, one that cannot be made smaller is named
VERDICT = 0.985  # a group as likely as this is the verdict, where it stands without any single reading
WITHOUT_ONE = 0.8  # how likely it must be then
LEAST_SHARE = 1e-6  # a hypothesis less likely than this is not listed, unless it fits every reading
HypothesisNumbers = NDArray[np.intp]
_TURNED = ("reversed", "leads-swapped", "drives-swapped")  # what may change nothing at all


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
    """Readings, the hypotheses that they leave, and how likely these are together."""

    readings: Prediction
    hypotheses: tuple[Hypothesis, ...]
    share: float


@dataclass(frozen=True, slots=True)
class Next:
    """A measurement to make: its information, what its readings leave, and the most volts it can bring about.

    `unbars`: the hypotheses for which it is made, because they keep the line off. `again`: it was made before.
    """

    entry: Entry
    bits: float
    leaves: tuple[Leaving, ...]
    volts: Fraction | None = None
    unbars: tuple[Hypothesis, ...] = ()
    again: bool = False


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the readings say: groups by likelihood, a conflict (places of readings) or doubts, and what is next.

    `firm`: the first group is the verdict. `waiting`: why the line is kept off, if it is.
    """

    groups: tuple[AlikeFaults, ...]
    conflict: tuple[int, ...]
    doubts: tuple[DoubtedReading, ...]
    next: Next | None
    firm: bool
    waiting: Waiting | None


@dataclass(frozen=True, slots=True)
class _Weighed:
    """One reading against all hypotheses: the logarithm of how likely it is, and which allow it."""

    logs: Weights
    fitting: Mask


class Isolation:
    """The reasoning for one design. Readings are added one by one or all at once; nothing is forgotten.

    Raises:
        UsageError: it would take longer than can be waited for.
    """

    def __init__(self, table: ControlTable, setup: Setup | None = None) -> None:
        self.setup = setup or Setup()
        every = defects(table)
        keep_to_work(table, len(every))
        self.bench = Bench(table)
        self.low_volts = low_source(self.bench, (HEALTHY, *((one,) for one in every)))
        self.measures = measures(table, self.low_volts)
        self.singles = [one for one in every if not self._changes_nothing((one,))]
        self.hypotheses: tuple[Hypothesis, ...] = (HEALTHY, *((one,) for one in self.singles))
        self.paired = self._paired() if self.setup.two else []
        self.hypotheses = (*self.hypotheses, *pairs(self.paired))
        self.unsafe = Unsafe(self.bench, self.hypotheses, self.measures, self.setup.meter)
        self.prior = weights(self.hypotheses, self.setup.priors)
        self.readings: list[Reading] = []
        self.skipped: set[Measure] = set()
        self._weighed: list[_Weighed] = []
        self._once: dict[Power, Mask] = {}  # what left a reading open before

    def _paired(self) -> list[Defect]:
        """The single defects that are thought of in pairs: those met most often, as many as the work allows."""
        often = weights([(one,) for one in self.singles], self.setup.priors)
        kept = sorted(np.argsort(-often, kind="stable")[:MOST_PAIRED])
        return [self.singles[number] for number in kept]

    def _changes_nothing(self, hypothesis: Hypothesis) -> bool:
        """Whether it leaves every measurement as a healthy stage has it, as a winding turned with all on it does."""
        if hypothesis[0].fault not in _TURNED:
            return False
        return all(
            self.bench.predicted(hypothesis, one) == self.bench.predicted(HEALTHY, one) for one in self.measures
        )

    def add(self, reading: Reading) -> None:
        """Takes a reading into account."""
        self.readings.append(reading)
        self._weighed.append(self._against(reading))

    def drop(self, place: int) -> None:
        """Takes a reading out again."""
        kept = [one for number, one in enumerate(self.readings) if number != place]
        self.readings, self._weighed, self._once = [], [], {}
        for one in kept:
            self.add(one)

    def skip(self, measure: Measure) -> None:
        """A measurement is not asked for any more."""
        self.skipped.add(measure)

    def unskip(self, measure: Measure) -> None:
        """It may be asked for again."""
        self.skipped.discard(measure)

    def _against(self, reading: Reading) -> _Weighed:
        """How likely a reading is under each hypothesis; what it leaves open counts once for each source of power."""
        count, value = len(self.hypotheses), reading.value
        if value is None:
            return _Weighed(np.zeros(count), np.ones(count, dtype=bool))
        meter, measure = self.setup.meter, reading.measure
        known: dict[Prediction, Likely] = {}
        first, later = np.empty(count), np.empty(count)
        opened, fitting = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
        for number, hypothesis in enumerate(self.hypotheses):
            predicted = self.bench.predicted(hypothesis, measure)
            if predicted not in known:
                known[predicted] = meter.likely(measure, meter.widened(measure, predicted), value)
            one = known[predicted]
            first[number], later[number], opened[number], fitting[number] = one.first, one.later, one.open, one.fits
        power = measure.condition.power
        before = self._once.get(power, np.zeros(count, dtype=bool))
        likely = np.where(before & opened, later, first)
        self._once[power] = before | opened
        return _Weighed(np.log(likely + meter.misread(measure)), fitting)

    @property
    def weight(self) -> Weights:
        """The likelihoods of the hypotheses, adding up to 1."""
        return self._without(None)

    def _without(self, place: int | None) -> Weights:
        """The same, as if one reading had not been taken."""
        logs = np.log(self.prior) + sum(
            (one.logs for number, one in enumerate(self._weighed) if number != place), np.zeros(len(self.prior))
        )
        found = np.exp(logs - logs.max())
        return np.asarray(found / found.sum(), dtype=np.float64)

    @property
    def alive(self) -> Mask:
        """The hypotheses that fit every reading."""
        masks = [one.fitting for one in self._weighed]
        return np.logical_and.reduce(masks) if masks else np.ones(len(self.hypotheses), dtype=bool)

    @cached_property
    def whole(self) -> Dictionary:
        """The dictionary of all hypotheses; with pairs it is large."""
        return Dictionary(self.bench, self.hypotheses, self.measures, self.setup)

    def diagnosis(self) -> Diagnosis:
        """What the readings so far say."""
        weight = self.weight
        left = np.argsort(-weight, kind="stable")[:HEAVIEST]
        left = np.sort(left)
        if len(left) == len(self.hypotheses):
            dictionary = self.whole
        else:
            dictionary = Dictionary(self.bench, [self.hypotheses[one] for one in left], self.measures, self.setup)
        first = self._first(dictionary, left, weight)
        chosen = None if first is None else self._chosen(dictionary, left, first)
        following = (
            None
            if chosen is None or chosen.choice is None
            else self._following(dictionary, chosen.choice, weight[left])
        )
        conflict = () if self.alive.any() else self._conflict()
        groups = self._groups(dictionary, left, weight)
        doubts = () if conflict else self._doubts()
        return Diagnosis(
            groups, conflict, doubts, following, first is None, None if chosen is None else chosen.waiting
        )

    def _first(self, dictionary: Dictionary, left: HypothesisNumbers, weight: Weights) -> Weights | None:
        """The weights in which the first group must be told from the others; None where its verdict is firm."""
        alike = dictionary.alike
        shares = np.bincount(alike, weight[left])
        top = int(np.argmax(shares))
        if shares[top] < VERDICT:
            return weight
        healthy = left[alike == top][0] == 0
        worst, at = VERDICT, weight
        for place in range(0 if healthy else len(self._weighed)):
            others = self._without(place)
            share = float(others[left[alike == top]].sum())
            if share < min(worst, WITHOUT_ONE):
                worst, at = share, others
        return None if at is weight else at

    def _chosen(self, dictionary: Dictionary, left: HypothesisNumbers, first: Weights) -> Chosen:
        asked = Counter(reading.measure for reading in self.readings)
        lost = {reading.measure for reading in self.readings if reading.value is None} | self.skipped
        return next_of(dictionary, first[left], AskedSoFar(asked, lost), self.unsafe, self.weight)

    def _following(self, dictionary: Dictionary, chosen: Choice, weight: Weights) -> Next:
        volts = _most(self.bench, dictionary.hypotheses, chosen.entry.measure)
        unbars = tuple(self.hypotheses[one] for one in chosen.unbars)
        return Next(
            chosen.entry, chosen.bits, tuple(_leaves(dictionary, chosen.entry, weight)), volts, unbars, chosen.again
        )

    def _groups(self, dictionary: Dictionary, left: HypothesisNumbers, weight: Weights) -> tuple[AlikeFaults, ...]:
        """The hypotheses worth a line, those together that are alike: no fault first, then the likeliest."""
        alive = self.alive
        members: dict[int, list[int]] = {}
        for number, group in zip(left, dictionary.alike, strict=True):
            members.setdefault(int(group), []).append(int(number))
        found = [
            AlikeFaults(
                tuple(self.hypotheses[one] for one in sorted(numbers, key=lambda one: (one != 0, -weight[one]))),
                float(weight[numbers].sum()),
            )
            for numbers in members.values()
            if alive[numbers].any() or weight[numbers].sum() >= LEAST_SHARE
        ]
        return tuple(sorted(found, key=lambda group: -group.share))

    def _conflict(self) -> tuple[int, ...]:
        """The fewest readings that no hypothesis fits together."""
        masks = [one.fitting for one in self._weighed]
        places = [place for place, fitting in enumerate(masks) if not fitting.all()]
        for size in range(1, min(MOST_CONFLICT, len(places)) + 1):
            for chosen in combinations(places, size):
                if not np.logical_and.reduce([masks[place] for place in chosen]).any():
                    return chosen
        kept = places
        for place in places:  # more than `MOST_CONFLICT`: drop what is not needed, one by one
            fewer = [one for one in kept if one != place]
            if not np.logical_and.reduce([masks[one] for one in fewer]).any():
                kept = fewer
        return tuple(kept)

    def _doubts(self) -> tuple[DoubtedReading, ...]:
        alive, masks = self.alive, [one.fitting for one in self._weighed]
        found = []
        for place, fitting in enumerate(masks):
            if fitting.all():
                continue
            others = [one for number, one in enumerate(masks) if number != place]
            without = np.logical_and.reduce(others) if others else np.ones(len(alive), dtype=bool)
            more = without & ~alive
            if others and more.any():
                found.append(DoubtedReading(place, tuple(self.hypotheses[number] for number in np.flatnonzero(more))))
        return tuple(found)


def _most(bench: Bench, hypotheses: Sequence[Hypothesis], measure: Measure) -> Fraction | None:
    if measure.condition.power != "low":
        return measure.condition.volts
    return max(highest(bench, hypothesis, measure.condition) for hypothesis in hypotheses)


def _leaves(dictionary: Dictionary, entry: Entry, weight: Weights) -> list[Leaving]:
    """The readings that each kind of hypothesis allows, in rising order, what allows anything last."""
    found = []
    for number, readings in enumerate(entry.readings):
        places = np.flatnonzero(entry.classes == number)
        members = tuple(dictionary.hypotheses[place] for place in places)
        found.append(Leaving(readings, members, float(weight[places].sum())))
    return sorted(found, key=lambda one: (one.readings[0].low == 0 and one.readings[-1].high >= MOST, one.readings))
