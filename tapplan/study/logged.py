"""What logs say of a request and of its plans: how long the mains stood where, and what each plan makes of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tapplan.arrays import Micros, Wholes
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.replay.clock import SECOND
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun, Running, replayed, stored
from tapplan.replay.volts import Grain, grain_for, grains
from tapplan.replay.zone import Zone
from tapplan.study.recording import Recording, of_these_mains, within
from tapplan.study.request import InletWeight

BIN_GRAINS = 100  # readings that are weighed together: within 1 V of one another for the usual mains
MOST_PLANS = 10  # the first so many are tried on a log


@dataclass(frozen=True, slots=True)
class MainsWeights:
    """How long the mains stood at which volts inside the mains range; and in all and outside, in microseconds."""

    weights: tuple[InletWeight, ...]
    observed: int
    outside: int


def weights_of(sites: Sequence[Recording], mains: Span, nominal: Fraction) -> MainsWeights:
    """The seconds that logs stood within each volt of the mains range, at their mean there; gaps count nothing.

    Raises:
        LogError: no reading of a log lies in the range.
    """
    grain, bins = grain_for(nominal), dict[int, _Bin]()
    observed = outside = 0
    for site in sites:
        of_these_mains(site, mains)
        stood, passed = site.stood(), 0
        for chunk in site.held:
            here = stood[passed : passed + len(chunk.times)]
            passed += len(here)
            inside = within(chunk, site.scale, mains)
            observed += int(here.sum())
            outside += int(here[~inside].sum())
            _bin(bins, grains(stored(chunk.readings)[inside], grain.factor(site.scale)), here[inside])
    weights = tuple(one.weight(grain, mains) for _, one in sorted(bins.items()) if one.lasting)
    return MainsWeights(weights, observed, outside)


@dataclass(slots=True)
class _Bin:
    """Microseconds, and grains times microseconds; summed up."""

    lasting: int = 0
    grains: int = 0

    def weight(self, grain: Grain, mains: Span) -> InletWeight:
        """The mean volts, to a grain and inside the range, and the seconds."""
        volts = round(Fraction(self.grains, self.lasting)) * grain.volts
        return InletWeight(min(max(volts, mains.low), mains.high), Fraction(self.lasting, SECOND))


def _bin(bins: dict[int, _Bin], found: Wholes, stood: Micros) -> None:
    """Adds grains and how long each stood."""
    numbers, at = np.unique(found, return_inverse=True)
    lasting = np.zeros(len(numbers), np.int64)
    np.add.at(lasting, at, stood)
    for number, time in zip(numbers.tolist(), lasting.tolist(), strict=True):
        one = bins.setdefault(number // BIN_GRAINS, _Bin())
        one.lasting += time
        one.grains += number * time


@dataclass(frozen=True)
class PlanRuns:
    """A plan's controller, and each log through it."""

    machine: Machine
    runs: tuple[LogRun, ...]


def tried_on(
    sites: Sequence[Recording], tables: Sequence[ControlTable], zone: Zone, stop: Callable[[], bool]
) -> tuple[PlanRuns, ...]:
    """Tables on logs, from the first to the last that has run through all of them before it is to stop.

    No more than are told.

    Raises:
        UsageError: a controller changes its standing without end at one instant.
    """
    found: list[PlanRuns] = []
    for table in tables[:MOST_PLANS]:
        made = machine(table, zone)
        runs = tuple(replayed(one, [made], Running(max_gap=one.gap, stop=stop)) for one in sites if not stop())
        if len(runs) < len(sites) or any(one.partial for one in runs):
            break
        found.append(PlanRuns(made, runs))
    return tuple(found)
