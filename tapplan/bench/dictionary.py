"""The fault dictionary: what every hypothesis predicts for every measurement, and what a measurement can tell.

For each measurement the readings fall into outcomes: stretches that fit the same hypotheses. A hypothesis gives each
outcome it allows a share by how many readings that holds, and every outcome the little that comes of misreading.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Mask
from tapplan.bench.defects import PRIORS, Hypothesis
from tapplan.bench.measures import YES_NO, Measure
from tapplan.bench.meter import Meter, slip
from tapplan.bench.offered import HowFar, unwatched
from tapplan.bench.predictions import Bench
from tapplan.bench.values import Prediction
from tapplan.exact import Span

Weights = NDArray[np.float64]
LEAST_CELLS = 1e-6
LEAST_WEIGHT = 1e-9  # of all; a rarer hypothesis does not sway what is measured next
PAIR_RARITY = 100  # a pair is as likely as the product of its defects' priors over this; common practice, no source


@dataclass(frozen=True, slots=True)
class Outcomes:
    """The outcomes of one measurement: the readings of each, and which classes of hypotheses allow it.

    `shares` is how likely each outcome is under each class.
    """

    spans: tuple[Prediction, ...]
    allowed: Mask  # (classes, outcomes)
    shares: Weights  # the same


@dataclass(frozen=True, slots=True)
class Entry:
    """One measurement in the dictionary: the class of each hypothesis, and the readings each class allows."""

    measure: Measure
    classes: NDArray[np.intp]
    readings: tuple[Prediction, ...]
    outcomes: Outcomes

    def shares(self) -> Weights:
        """The share of each class in each outcome, shape (classes, outcomes)."""
        return self.outcomes.shares

    def seen(self) -> Weights:
        """The same of what is read: now and then a reading is misread, as any outcome."""
        shares, missed = self.shares(), slip(self.measure)
        return np.asarray((1 - missed) * shares + missed / shares.shape[1], dtype=np.float64)

    def spread(self) -> Weights:
        """The share of each hypothesis in each outcome, shape (hypotheses, outcomes)."""
        return np.asarray(self.shares()[self.classes], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Setup:
    """How to reason: the meter, how often each defect is met, and whether two defects at once are thought of.

    `watch` is told how many measurements, of how many, have been foretold.
    """

    meter: Meter = field(default_factory=Meter)
    priors: dict[str, Fraction] = field(default_factory=dict)
    two: bool = False
    watch: HowFar = unwatched


@dataclass(frozen=True, slots=True)
class _Grouped:
    """Hypotheses by group: which in which order, the share of each and of each group, and where each begins."""

    order: NDArray[np.intp]
    each: Weights
    shares: Weights
    begins: NDArray[np.intp]

    def information(self, entry: Entry) -> float:
        """Bits that a measurement tells of the groups: H(outcome) - H(outcome | group)."""
        joint = self.each[:, np.newaxis] * entry.seen()[entry.classes[self.order]]
        by_group = np.add.reduceat(joint, self.begins, axis=0)
        within = _bits(by_group).sum(axis=0) + np.log2(self.shares) @ by_group
        return float((_bits(by_group.sum(axis=0)) - within).sum())


class Dictionary:
    """Hypotheses, their weights before any reading, and an entry for each measurement."""

    def __init__(
        self,
        bench: Bench,
        hypotheses: Sequence[Hypothesis],
        measures: Iterable[Measure],
        setup: Setup,
    ) -> None:
        self.hypotheses = tuple(hypotheses)
        listed = list(measures)
        self.entries: list[Entry] = []
        for number, measure in enumerate(listed):
            setup.watch(number, len(listed))
            self.entries.append(_entry(bench, self.hypotheses, measure, setup.meter))
        self.efforts = np.array([entry.measure.effort for entry in self.entries], dtype=np.float64)
        self.prior = weights(self.hypotheses, setup.priors)

    @cached_property
    def alike(self) -> NDArray[np.intp]:
        """For each hypothesis the number of its group: what no measurement tells apart, or what is one unknown."""
        columns = [entry.classes for entry in self.entries if len(entry.readings) > 1]
        keys = list(zip(*columns, strict=True)) if columns else [()] * len(self.hypotheses)
        names: dict[tuple[object, ...], set[str]] = {}
        for key, hypothesis in zip(keys, self.hypotheses, strict=True):
            names.setdefault(key, set()).add(hypothesis_name(hypothesis))
        numbers: dict[frozenset[str], int] = {}
        found = [numbers.setdefault(frozenset(names[key]), len(numbers)) for key in keys]
        return np.array(found, dtype=np.intp)

    def gains(self, weight: Weights) -> Weights:
        """The information of each entry's measurement in bits, with these weights of the hypotheses.

        That is the mutual information of outcome and group: which of several that are alike is true is not worth a
        measurement.
        """
        kept = np.flatnonzero(weight > LEAST_WEIGHT * float(weight.sum()))
        order = kept[np.argsort(self.alike[kept], kind="stable")]
        each, groups = weight[order] / weight[order].sum(), self.alike[order]
        begins = np.flatnonzero(np.concatenate([[True], groups[1:] != groups[:-1]]))
        grouped = _Grouped(order, each, np.add.reduceat(each, begins), begins)
        return np.array([max(grouped.information(entry), 0.0) for entry in self.entries], dtype=np.float64)


def hypothesis_name(hypothesis: Hypothesis) -> str:
    """What several hypotheses of one unknown have in common."""
    return " and ".join(one.name for one in hypothesis)


def _bits(share: Weights) -> Weights:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(share > 0, -share * np.log2(share), 0), dtype=np.float64)


def weights(hypotheses: Sequence[Hypothesis], priors: dict[str, Fraction]) -> Weights:
    """The shares of the hypotheses before any reading; they add up to 1.

    What is listed as several hypotheses of one name and part (a reading that is off by so much, or frozen in this
    band or that) shares one prior.
    """
    several: dict[tuple[str, str], int] = {}
    for hypothesis in hypotheses:
        if len(hypothesis) == 1:
            key = _kind(hypothesis[0].part, hypothesis[0].fault)
            several[key] = several.get(key, 0) + 1
    found = []
    for hypothesis in hypotheses:
        share = Fraction(1) if hypothesis else prior_of("", "none", priors)
        for defect in hypothesis:
            share *= prior_of(defect.part, defect.fault, priors) / several.get(_kind(defect.part, defect.fault), 1)
        found.append(float(share) if len(hypothesis) < 2 else float(share) / PAIR_RARITY)
    total = np.array(found, dtype=np.float64)
    return np.asarray(total / total.sum(), dtype=np.float64)


def _kind(part: str, fault: str) -> tuple[str, str]:
    return ("reading" if part.startswith("reading") else part), fault


def prior_of(part: str, fault: str, priors: dict[str, Fraction]) -> Fraction:
    """The prior of a defect: of this very part when it is given, else of its kind."""
    return priors.get(f"{part} {fault}", priors.get(fault, PRIORS[fault]))


def _entry(bench: Bench, hypotheses: Sequence[Hypothesis], measure: Measure, meter: Meter) -> Entry:
    numbers: dict[Prediction, int] = {}
    classes = np.array(
        [numbers.setdefault(bench.predicted(one, measure), len(numbers)) for one in hypotheses], dtype=np.intp
    )
    readings = tuple(meter.widened(measure, prediction) for prediction in numbers)
    return Entry(measure, classes, readings, outcomes(readings, measure, meter))


def outcomes(readings: Sequence[Prediction], measure: Measure, meter: Meter) -> Outcomes:
    """The readings cut into stretches that fit the same classes; those that fit none are left out.

    Ends are compared by their place in order, for they are many and long fractions.
    """
    ends = sorted({end for prediction in readings for span in prediction for end in (span.low, span.high)})
    point = measure.what in YES_NO or len(ends) == 1
    steps = [Span(end, end) for end in ends if point or end < 0]  # yes, no, or a reading that jumps
    whole = [] if point else [end for end in ends if end >= 0]
    steps += [Span(low, high) for low, high in pairwise(whole)]
    if len(whole) == 1:
        steps.append(Span(whole[0], whole[0]))
    begins = {step.low: number for number, step in enumerate(steps)}
    stops = {step.high: number + 1 for number, step in enumerate(steps)}
    wide = np.array([max(meter.width(measure, step), LEAST_CELLS) for step in steps])
    shares = np.zeros((len(readings), len(steps)))
    for number, prediction in enumerate(readings):
        for span in prediction:
            here = slice(begins.get(span.low, stops.get(span.low, 0) - 1), stops[span.high])
            shares[number, here] += wide[here] / wide[here].sum() / len(prediction)
    return _merged(steps, shares)


def _merged(steps: Sequence[Span], shares: Weights) -> Outcomes:
    """The steps that fit the same classes together."""
    numbers: dict[bytes, list[int]] = {}
    allowed = shares > 0
    for step in range(len(steps)):
        if allowed[:, step].any():
            numbers.setdefault(allowed[:, step].tobytes(), []).append(step)
    groups = list(numbers.values())
    return Outcomes(
        tuple(tuple(_joined([steps[one] for one in group])) for group in groups),
        np.stack([allowed[:, group[0]] for group in groups], axis=1),
        np.stack([shares[:, group].sum(axis=1) for group in groups], axis=1),
    )


def _joined(spans: list[Span]) -> list[Span]:
    found: list[Span] = []
    for span in spans:
        if found and found[-1].high == span.low >= 0:
            found[-1] = Span(found[-1].low, span.high)
        else:
            found.append(span)
    return found
