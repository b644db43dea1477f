"""Stages on the bench: shipped designs, true faults, and a meter that errs by as much as it may."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random

from tapplan.bench.defects import Hypothesis
from tapplan.bench.dictionary import Setup
from tapplan.bench.isolation import Isolation, Reading
from tapplan.bench.measures import YES_NO, Measure
from tapplan.bench.meter import Meter
from tapplan.bench.values import MOST
from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import load
from tapplan.exact import Span
from tests.examples import SHIPPED

F = Fraction
METER = Meter()
LARGEST_SEEN = F(2000)  # what a meter shows of "anything"


@cache
def table(path: Path) -> ControlTable:
    return control_table(load(path))


def tables() -> list[ControlTable]:
    return [table(path) for path in SHIPPED]


def read(isolation: Isolation, true: Hypothesis, measure: Measure, random: Random) -> Reading:
    """What a meter may show of a stage with this fault: a value it can have, off by up to the meter's error."""
    spans = isolation.bench.predicted(true, measure)
    span = random.choice(spans)
    if measure.what in YES_NO:
        return Reading(measure, span.low)
    if measure.unit == "ohm" and span.high >= MOST and span.low > 0 and random.random() < 0.9:
        return Reading(measure, MOST)  # most meters show no more of an open circuit
    value = F(random.uniform(float(span.low), float(min(span.high, max(LARGEST_SEEN, span.low)))))
    value = min(max(value, span.low), span.high)
    (around,) = METER.widened(measure, (Span(value, value),))
    if value >= MOST / 2 or around.high >= MOST:
        return Reading(measure, value)
    seen = around.low + (around.high - around.low) * F(random.randrange(1001), 1000)
    return Reading(measure, min(max(seen, around.low), around.high))


def isolated(stage: ControlTable, true: Hypothesis, random: Random, setup: Setup | None = None) -> Isolation:
    """Measures what is proposed until nothing more tells."""
    isolation = Isolation(stage, setup)
    while (step := isolation.diagnosis().next) is not None:
        isolation.add(read(isolation, true, step.entry.measure, random))
    return isolation
