"""The fault dictionary: what every hypothesis predicts for every measurement, and what a measurement can tell.

For each measurement the readings fall into outcomes: stretches that fit the same hypotheses. A hypothesis gives each
outcome it allows the same share.
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
from tapplan.bench.meter import Meter
from tapplan.bench.predictions import Bench
from tapplan.bench.values import Prediction
from tapplan.exact import Span

Weights = NDArray[np.float64]
PAIR_RARITY = 100  # a pair is as likely as the product of its defects' priors over this; common practice, no source


@dataclass(frozen=True, slots=True)
class Outcomes:
    """The outcomes of one measurement: the readings of each, and which classes of hypotheses allow it."""

    spans: tuple[Prediction, ...]
    allowed: Mask  # (classes, outcomes)


@dataclass(frozen=True, slots=True)
class Entry:
    """One measurement in the dictionary: the class of each hypothesis, and the readings each class allows."""

    measure: Measure
    classes: NDArray[np.intp]
    readings: tuple[Prediction, ...]
    outcomes: Outcomes

    def shares(self) -> Weights:
        """The share of each class in each outcome, shape (classes, outcomes)."""
        return np.asarray(self.outcomes.allowed / self.outcomes.allowed.sum(axis=1, keepdims=True), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Setup:
    """How to reason: the meter, how often each defect is met, and whether two defects at once are thought of."""

    meter: Meter = field(default_factory=Meter)
    priors: dict[str, Fraction] = field(default_factory=dict)
    two: bool = False


@dataclass(frozen=True, slots=True)
class _Stacked:
    """The outcomes of all entries side by side: shares (hypotheses, outcomes), where each entry begins, bits left."""

    shares: Weights
    begins: NDArray[np.intp]
    within: Weights


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
        self.entries = [_entry(bench, self.hypotheses, measure, setup.meter) for measure in measures]
        self.efforts = np.array([entry.measure.effort for entry in self.entries], dtype=np.float64)
        self.prior = weights(self.hypotheses, setup.priors)

    @cached_property
    def _stacked(self) -> _Stacked:
        each = [entry.shares()[entry.classes] for entry in self.entries]
        begins = np.cumsum([0, *(shares.shape[1] for shares in each[:-1])])
        stacked = np.concatenate(each, axis=1)
        return _Stacked(stacked, begins, np.add.reduceat(_bits(stacked), begins, axis=1))

    def gains(self, weight: Weights) -> Weights:
        """The information of each entry's measurement in bits, with these weights of the hypotheses.

        That is the mutual information of outcome and hypothesis, H(outcome) - H(outcome | hypothesis).
        """
        stacked = self._stacked
        share = weight / weight.sum()
        uncertain = np.add.reduceat(_bits(share @ stacked.shares), stacked.begins)
        return np.asarray(np.maximum(uncertain - share @ stacked.within, 0), dtype=np.float64)


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
    return Entry(measure, classes, readings, outcomes(readings, yes_no=measure.what in YES_NO))


def outcomes(readings: Sequence[Prediction], *, yes_no: bool = False) -> Outcomes:
    """The readings cut into stretches that fit the same classes; those that fit none are left out."""
    ends = sorted({end for prediction in readings for span in prediction for end in (span.low, span.high)})
    if yes_no:
        cells = [Span(end, end) for end in ends]
    else:
        cells = [Span(low, high) for low, high in pairwise(ends)] or [Span(ends[0], ends[0])]
    by_classes: dict[tuple[bool, ...], list[Span]] = {}
    for cell in cells:
        middle = (cell.low + cell.high) / 2
        key = tuple(any(middle in span for span in prediction) for prediction in readings)
        if any(key):
            by_classes.setdefault(key, []).append(cell)
    merged = [tuple(_joined(spans)) for spans in by_classes.values()]
    return Outcomes(tuple(merged), np.array(list(by_classes), dtype=bool).T.reshape(len(readings), len(merged)))


def _joined(spans: list[Span]) -> list[Span]:
    found: list[Span] = []
    for span in spans:
        if found and found[-1].high == span.low:
            found[-1] = Span(found[-1].low, span.high)
        else:
            found.append(span)
    return found
