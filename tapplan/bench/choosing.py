"""The next measurement: the most information for its effort that is safe, or the test that would make one safe."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

import numpy as np

from tapplan.bench.dictionary import Dictionary, Entry, Weights
from tapplan.bench.measures import Measure
from tapplan.bench.safety import Bars, Unsafe

LEAST_GAIN = 1e-2  # bits; below it a measurement tells nothing
AGAIN = 0.3  # of its information, that a measurement made once has when it is made again: a slip may come back
MOST_OFTEN = 2  # times that a measurement is asked for
WORTH_WAITING = 4  # a safe measurement is made first unless one that is barred tells so much more for its effort


@dataclass(frozen=True, slots=True)
class Choice:
    """The measurement chosen, its information in bits, and the numbers of the hypotheses for which it is made.

    `again`: it was made before, and is repeated.
    """

    entry: Entry
    bits: float
    unbars: tuple[int, ...] = ()
    again: bool = False


@dataclass(frozen=True, slots=True)
class Waiting:
    """A measurement that waits, and why."""

    measure: Measure
    bars: Bars


@dataclass(frozen=True, slots=True)
class Chosen:
    """The measurement chosen, None where none tells anything, and a better one that waits, if any does."""

    choice: Choice | None
    waiting: Waiting | None


@dataclass(frozen=True, slots=True)
class AskedSoFar:
    """What was asked so far: how often each measurement was read, and which are not to be had."""

    times: Mapping[Measure, int]
    lost: AbstractSet[Measure]

    def worth(self, measure: Measure) -> float:
        """The share of a measurement's information that is left."""
        times = self.times.get(measure, 0)
        if measure in self.lost or times >= MOST_OFTEN:
            return 0.0
        return AGAIN if times else 1.0

    @property
    def read(self) -> AbstractSet[Measure]:
        """What was read."""
        return frozenset(one for one in self.times if one not in self.lost)

    def choice(self, entry: Entry, bits: float, unbars: tuple[int, ...] = ()) -> Choice:
        """A measurement chosen, and whether it was asked before."""
        return Choice(entry, bits, unbars, again=bool(self.times.get(entry.measure)))


def next_of(dictionary: Dictionary, weight: Weights, asked: AskedSoFar, unsafe: Unsafe, every: Weights) -> Chosen:
    """The measurement with the most information per effort that is safe.

    One on the line waits as long as a short is likely enough and untested; then the test that tells most of such
    shorts is chosen, however unlikely they are. `weight` is of the hypotheses of the dictionary, `every` of all that
    `unsafe` knows.
    """
    worth = np.array([asked.worth(entry.measure) for entry in dictionary.entries])
    bits = dictionary.gains(weight) * worth
    per_effort = bits / dictionary.efforts
    waiting, safe = None, None
    for number in (int(one) for one in np.argsort(-per_effort, kind="stable") if bits[one] >= LEAST_GAIN):
        bars = unsafe.bars(dictionary.entries[number].measure.condition, every, asked.read)
        if bars is None:
            safe = number
            break
        waiting = waiting or _Barred(number, bars)
    told = None if waiting is None else Waiting(dictionary.entries[waiting.number].measure, waiting.bars)
    if waiting is not None and (safe is None or per_effort[safe] * WORTH_WAITING < per_effort[waiting.number]):
        test = unbarring(dictionary, waiting.bars, worth, unsafe)
        if test is not None:
            return Chosen(asked.choice(dictionary.entries[test], float(bits[test]), waiting.bars.hypotheses), told)
    return Chosen(None if safe is None else asked.choice(dictionary.entries[safe], float(bits[safe])), told)


@dataclass(frozen=True, slots=True)
class _Barred:
    """A measurement by its number in the dictionary, and what bars it."""

    number: int
    bars: Bars


def unbarring(dictionary: Dictionary, bars: Bars, worth: Weights, unsafe: Unsafe) -> int | None:
    """The number of the measurement that tests most of what bars the line, for its effort; None where none is left.

    `worth` is 1 for the measurements that were not made yet.
    """
    counts = Counter(measure for one in bars.hypotheses for measure in unsafe.tests(one) & bars.tests)
    found = [
        (counts[entry.measure] / entry.measure.effort, -number)
        for number, entry in enumerate(dictionary.entries)
        if counts[entry.measure] and worth[number] >= 1
    ]
    return -max(found)[1] if found else None
