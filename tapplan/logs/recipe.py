"""What a made-up trace is made from: a scenario, a clock, a seed, and what is lost or spoilt on purpose.

Everything random has a stream of its own, PCG64 spawned from the seed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum, IntEnum
from fractions import Fraction

import numpy as np
from numpy.random import PCG64, Generator, SeedSequence

from tapplan.arrays import Micros
from tapplan.errors import UsageError
from tapplan.logs.samples import RowFault
from tapplan.logs.scenarios import (
    DAY_US,
    SECOND_US,
    Scenario,
)

PART = 1 << 16  # samples worked out together; even, so that a spoilt row and the one before it are in one part
MOST_DIGITS, MOST_GAPS, MOST_BAD = 6, 0.9, 0.5
MOST_READINGS = 10**10


class DrawnFor(IntEnum):
    """What is drawn apart from everything else; the numbers are part of what a seed means."""

    DRIFT = 0
    NOISE = 1
    APPLIANCES = 2
    EVENTS = 3
    GAPS = 4
    SPOILT = 5
    CENTRES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceClock:
    """When a trace is read: `readings` times, every `step_us` from `start_us` on, in microseconds since 1970 UTC."""

    start_us: int
    step_us: int
    readings: int

    def __post_init__(self) -> None:
        if self.step_us < 1:
            raise UsageError(f"found a step of {self.step_us} us; accepted: whole microseconds above 0")
        if not 1 <= self.readings <= MOST_READINGS:
            raise UsageError(f"found {self.readings} readings; accepted: from 1 to {MOST_READINGS}")

    def parts(self) -> Iterator[Micros]:
        """The times, `PART` of them together."""
        for first in range(0, self.readings, PART):
            yield self.start_us + self.step_us * np.arange(first, min(first + PART, self.readings), dtype=np.int64)


def clock_for(start: datetime, step: Fraction, days: Fraction) -> TraceClock:
    """The clock of so many days, a step in seconds, from a moment on (UTC where it names no zone).

    Raises:
        UsageError: the step is no whole number of microseconds, or longer than the days.
    """
    step_us = step * SECOND_US
    if step_us.denominator != 1 or step_us < 1:
        raise UsageError(f"found a step of {float(step):g} s; accepted: a whole number of microseconds above 0")
    readings = int(days * DAY_US / step_us)
    if readings < 1:
        raise UsageError(f"found {float(days):g} days with a step of {float(step):g} s; accepted: at least one step")
    zoned = start if start.tzinfo is not None else start.replace(tzinfo=UTC)
    begin = (zoned - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    return TraceClock(start_us=begin, step_us=int(step_us), readings=readings)


class Spoilt(Enum):
    """How a row was spoilt on purpose, and what a reader of the log should call it."""

    WORD = RowFault.NO_NUMBER, "a word in place of the number"
    EMPTY = RowFault.NO_NUMBER, "an empty cell"
    NAN = RowFault.NOT_FINITE, "not a number, as floating point has it"
    TWICE = RowFault.SAME_TIME, "the time of the row before"
    BACKWARDS = RowFault.BACKWARDS, "one step before the row before"

    def __init__(self, fault: RowFault, words: str) -> None:
        self.fault, self.words = fault, words


SPOILT = tuple(Spoilt)  # `MadeRows.spoilt` counts them from 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """All that a trace is made from: what happens, when it is read, the seed, and what is lost or spoilt.

    Readings are rounded to `digits` decimals of a volt. About the share `gaps` of the time has no rows: gaps and
    the times between them last exponentially distributed times, a gap on average 20 minutes or ten steps, whichever
    is longer. About the share `bad` of the rows is spoilt, each in one of the ways of `Spoilt`; never the first row,
    and never two on end.
    """

    scenario: Scenario
    clock: TraceClock
    seed: int = 0
    digits: int = 1
    gaps: float = 0.0
    bad: float = 0.0

    def __post_init__(self) -> None:
        if self.seed < 0:
            raise UsageError(f"found seed {self.seed}; accepted: a whole number from 0")
        if not 0 <= self.digits <= MOST_DIGITS:
            raise UsageError(f"found {self.digits} digits; accepted: from 0 to {MOST_DIGITS} decimals of a volt")
        for name, share, most in (("gaps", self.gaps, MOST_GAPS), ("bad", self.bad, MOST_BAD)):
            if not 0 <= share <= most:
                raise UsageError(f"found {name} {share:g}; accepted: a share from 0 to {most:g}")

    @property
    def kind(self) -> str:
        """The name of its kind."""
        return type(self.scenario).__name__.lower()

    def stream(self, which: int) -> Generator:
        """A stream of random numbers that nothing else draws from."""
        return Generator(PCG64(SeedSequence(self.seed, spawn_key=(which,))))


def told(recipe: Recipe, last_seed: int | None = None) -> str:
    """What a trace was made from, in one sentence; with a last seed, that of many traces."""
    seeds = f"seed {recipe.seed}" if last_seed is None else f"seeds {recipe.seed} to {last_seed}, one a file"
    clock = recipe.clock
    said = (
        f"{recipe.kind}, {seeds}: {recipe.scenario.told()}; {clock.readings} readings to "
        f"{10.0**-recipe.digits:g} V, one every {clock.step_us / SECOND_US:g} s from {moment(clock.start_us)}"
    )
    if recipe.gaps:
        said += f"; about {100 * recipe.gaps:g} % of the time lost in gaps"
    if recipe.bad:
        said += f"; about {100 * recipe.bad:g} % of the rows spoilt on purpose"
    return said + "; invented, not measured"


def moment(micros: int) -> str:
    """A time as ISO 8601 has it, in UTC, with as many decimals of a second as it takes."""
    at = datetime(1970, 1, 1) + timedelta(microseconds=micros)
    told_as = "seconds" if micros % SECOND_US == 0 else "milliseconds" if micros % 1000 == 0 else "microseconds"
    return at.isoformat(timespec=told_as) + "Z"
