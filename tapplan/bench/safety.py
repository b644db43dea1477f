"""When a measurement must wait: on the line, as long as a short is untested; on a source that would lift too high."""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tapplan.arrays import Mask
from tapplan.bench.defects import HEALTHY, Hypothesis
from tapplan.bench.dictionary import Weights
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.meter import Meter
from tapplan.bench.offered import forced_states
from tapplan.bench.predictions import Bench
from tapplan.bench.values import meets

# Highest volts between any two points of a stage fed from a small source, whatever is wrong with it: the limit of
# alternating touch voltage in dry conditions, IEC 60364-4-41 (from memory).
TOUCH_V = Fraction(50)
LOW_SOURCES = tuple(
    map(Fraction, ("24", "12", "6", "3", "1", "0.3", "0.1"))
)  # small isolated sources, the largest that is safe is taken

RARE = 1e-6  # a short less likely than this does not keep the line off
MOST_RISK = 0.1  # nor do all shorts together, once tested, below this


@dataclass(frozen=True, slots=True)
class Bars:
    """Why a measurement waits: the numbers of the hypotheses that bar it, and the measures that tell of them."""

    hypotheses: tuple[int, ...]
    tests: frozenset[Measure]


class Unsafe:
    """Which hypotheses make a condition unsafe, and which of them no test has looked for yet."""

    def __init__(
        self, bench: Bench, hypotheses: Sequence[Hypothesis], measures: Sequence[Measure], meter: Meter
    ) -> None:
        self._bench = bench
        self._hypotheses = hypotheses
        self._safe = [one for one in measures if one.condition.power in ("off", "low")]
        self._meter = meter
        self._known: dict[Condition, Mask] = {}
        self._tests: dict[int, frozenset[Measure]] = {}

    def bars(self, condition: Condition, weight: Weights, taken: AbstractSet[Measure]) -> Bars | None:
        """What bars a condition, with these weights and readings taken; None where nothing does."""
        if condition.power == "off":
            return None
        hurting = np.flatnonzero(self.hurting(condition) & (weight > RARE * weight.sum()))
        if condition.power == "low":
            return Bars(tuple(map(int, hurting)), frozenset()) if len(hurting) else None
        untested = [int(one) for one in hurting if (tests := self.tests(int(one))) and not tests & taken]
        if untested:
            return Bars(tuple(untested), frozenset().union(*(self.tests(one) for one in untested)))
        risky = len(hurting) and weight[hurting].sum() > MOST_RISK * weight.sum()
        return Bars(tuple(map(int, hurting)), frozenset()) if risky else None

    def anywhere(self) -> Mask:
        """The hypotheses that short the mains somewhere on the line."""
        return self.hurting(Condition("line", course="rising"))

    def tests(self, number: int) -> frozenset[Measure]:
        """The measures off the line that tell a hypothesis from a healthy stage for sure; else all that may.

        Where what the small source gives tells of it, only that counts: it is the test for shorts.
        """
        if number not in self._tests:
            found: dict[bool, list[Measure]] = {True: [], False: []}  # by whether it tells for sure
            for measure in self._safe:
                shown, right = (self._bench.predicted(one, measure) for one in (self._hypotheses[number], HEALTHY))
                if shown == right:
                    continue
                own, sound = (self._meter.widened(measure, one) for one in (shown, right))
                if own != sound:
                    found[not meets(own, sound)].append(measure)
            self._tests[number] = frozenset(found[True] or found[False])
            currents = frozenset(one for one in self._tests[number] if one.what == "current")
            self._tests[number] = currents or self._tests[number]
        return self._tests[number]

    def hurting(self, condition: Condition) -> Mask:
        """The hypotheses that make a condition unsafe."""
        if condition not in self._known:
            if condition.power != "low":
                each = [
                    any(self._bench.shorted(one, way) for way in self._passed(condition)) for one in self._hypotheses
                ]
            else:
                each = [highest(self._bench, one, condition) > TOUCH_V for one in self._hypotheses]
            self._known[condition] = np.array(each, dtype=bool)
        return self._known[condition]

    def _passed(self, condition: Condition) -> list[Condition]:
        """What a slow line passes on its way: the middle of every band on that side; a sweep passes all."""
        if condition.coils is not None or condition.course == "start":
            return [condition]
        if condition.power == "battery":
            return [condition]
        course, end = condition.course, condition.volts
        ways = [one for one in self._bench.middles() if end is None or (one < end) == (course == "rising")]
        passed = [Condition("line", None, None, one, course) for one in ways]
        return passed if end is None else [*passed, condition]


def low_source(bench: Bench, hypotheses: Sequence[Hypothesis]) -> Fraction:
    """The largest small source that brings no two points of the stage above `TOUCH_V`, whatever is wrong with it.

    Where a winding has so many turns that even the smallest usual one does, a tenth of it, or of that.
    """
    line, neutral, _ = (bench.circuit.points[end] for end in bench.circuit.terminals)
    most = max(
        (
            highest(bench, hypothesis, Condition("low", coils, (line, neutral), Fraction(1)))
            for hypothesis in hypotheses
            for coils in forced_states(bench.table)
        ),
        default=Fraction(1),
    )
    volts = next((volts for volts in LOW_SOURCES if volts * most <= TOUCH_V), LOW_SOURCES[-1])
    while volts * most > TOUCH_V:
        volts /= 10
    return volts


def highest(bench: Bench, hypothesis: Hypothesis, condition: Condition) -> Fraction:
    """The most volts between any two points of a stage fed as the condition says; shorted, no more than is fed."""
    return max(
        (bench.highest(hypothesis, condition, coils) for coils in bench.coils(hypothesis, condition)),
        default=Fraction(0),
    )
