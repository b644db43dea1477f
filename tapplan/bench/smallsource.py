"""A small source through its resistor, on a stage that may be shorted: volts left and current, as spans.

A stage that is not shorted takes its magnetising current and no more. A shorted one is solved in the loaded network,
with the ohms of contacts, copper, shorted turns and leakage at the ends of what they may be; the span is that of all
these answers. A source of E volts through R ohm on a stage that takes Y siemens leaves E/(1 + R Y) at its ends. What
contacts, bridges and the source itself have, in ohms, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Complex
from tapplan.bench.copper import KnownCopper
from tapplan.bench.defects import SUPPRESSOR_OHM, Hypothesis
from tapplan.bench.faulty import FaultyStage
from tapplan.bench.fed import FedCircuit
from tapplan.bench.measures import Condition, resistor
from tapplan.exact import Span
from tapplan.network.circuit import Across, Circuit, Section
from tapplan.network.flow import Impedances, flows
from tapplan.network.spaces import Vector

INNER_OHM = 10.0  # the most that a small source has of its own
OUTPUT_OHM = 10_000.0  # across output and neutral on the small source, so that an open path reads nothing
CONTACT_OHM = (0.003, 0.1)
BRIDGE_OHM = (0.003, 0.08, 2.5)  # each throw of a contact that debris, an arc or a weld bridges
ENDS = tuple(product((0, 1), (0, 1)))  # the least or the most of a winding's resistance, and of its leakage
SLACK = 0.03  # what lies between the ends that are solved for
FINE = 10**9
LOSS = np.exp(-0.25j * np.pi)  # the magnetising current, iron losses counted


@dataclass(frozen=True, slots=True)
class ShortedStage:
    """The answers of a shorted stage for 1 V at the points fed, one row a case: volts of points, siemens taken.

    `magnetising` is the most siemens that its iron takes beside them.
    """

    points: Complex
    siemens: Complex
    magnetising: float


class SmallSource:
    """What a small source shows on the stages of one design."""

    def __init__(self, copper: KnownCopper) -> None:
        self._copper = copper
        self._wound: dict[Section, dict[tuple[int, int], complex]] = {}

    def left(self, condition: Condition, turns: Vector | None) -> Span:
        """The share of the source's volts that a stage which is not shorted leaves at its ends."""
        taken = self._taken(turns) + 4 / OUTPUT_OHM
        return Span(_exact(1 / abs(1 + (_ohm(condition) + INNER_OHM) * taken * LOSS)), Fraction(1))

    def taken(self, condition: Condition, turns: Vector | None) -> Span:
        """The current that such a stage takes, in ampere."""
        volts = float(condition.volts or 0)
        return Span(Fraction(0), _exact(volts * (self._taken(turns) + 4 / OUTPUT_OHM)))

    @staticmethod
    def ghost(condition: Condition) -> Span:
        """What stray capacitance leaves across the resistor at an output that hangs on nothing."""
        return Span(Fraction(0), (condition.volts or Fraction(0)) / 50)

    def _taken(self, turns: Vector | None) -> float:
        """The most siemens that it takes for magnetising."""
        if turns is None:
            return 0.0
        most = max((abs(one) for one in turns), default=0)
        return float(self._copper.siemens) / most**2 if most else 0.0

    def loaded(self, hypothesis: Hypothesis, stage: FaultyStage, fed: FedCircuit) -> ShortedStage:
        """A shorted stage solved in all cases."""
        cases = list(self._cases(hypothesis, stage.circuit))
        flow = flows(stage.circuit, [stage.closed] * len(cases), cases, fed.across)
        return ShortedStage(flow.points[:, 0], flow.line[:, 0], self._taken(fed.turns))

    def current(self, loaded: ShortedStage, condition: Condition) -> Span:
        """The current that a shorted stage takes, in ampere."""
        return _span(np.abs(volts * taken) for volts, taken in self._fed(loaded, condition))

    def volts(self, loaded: ShortedStage, condition: Condition, asked: Across) -> Span:
        """Volts between two points of a shorted stage."""
        apart = np.abs(loaded.points[:, asked.high] - loaded.points[:, asked.low])
        return _span(np.abs(volts) * apart for volts, _ in self._fed(loaded, condition))

    def _fed(self, loaded: ShortedStage, condition: Condition) -> Iterator[tuple[Complex, Complex]]:
        """Volts at the points fed and siemens taken, with the least and the most that stands in the way."""
        volts, ohm = float(condition.volts or 0), _ohm(condition)
        for inner, iron in product((0.0, INNER_OHM), (0.0, loaded.magnetising)):
            taken = loaded.siemens + iron * LOSS
            yield volts / (1 + (ohm + inner) * taken), taken

    def _cases(self, hypothesis: Hypothesis, circuit: Circuit) -> Iterator[Impedances]:
        """The impedances at the ends of what they may be."""
        bridged = {
            (one.contact.relay, one.contact.pole)
            for one in hypothesis
            if one.contact is not None and one.fault == "bridged"
        }
        wound = [
            tuple(self._section(hypothesis, one, side, leaks) for one in circuit.sections) for side, leaks in ENDS
        ]
        stated = [((one.relay, one.pole) in bridged, float(one.ohm)) for one in circuit.contacts]
        cores = tuple(0j for _ in circuit.cores)
        for contact, bridge in product(CONTACT_OHM, BRIDGE_OHM if bridged else (0.0,)):
            ohms = tuple(bridge if across else max(contact, ohm) for across, ohm in stated)
            for sections in wound:
                yield Impedances(sections, ohms, cores)

    def _section(self, hypothesis: Hypothesis, one: Section, side: int, leaks: int) -> complex:
        """The impedance of a section, or of a loop that stands for shorted turns."""
        if one.turns == 0:
            return complex(float(SUPPRESSOR_OHM) * (0.05 if side == 0 else 4))
        if one.start == one.finish:
            return self._loop(hypothesis, one, side)
        if one not in self._wound:
            ohm, leakage = self._copper.ohm(one), self._copper.leakage(one)
            ohms, leaked = (float(ohm.low), float(ohm.high)), (float(leakage.low), float(leakage.high))
            self._wound[one] = {(a, b): complex(ohms[a], leaked[b]) for a, b in ENDS}
        return self._wound[one][side, leaks]

    def _loop(self, hypothesis: Hypothesis, loop: Section, side: int) -> complex:
        """The loop of one unit of turns that takes so many VA at nominal volts: z = (V/N)^2/VA, V/N volts a unit."""
        hit = next(one for one in hypothesis if loop.name == f"shorted turns of {one.part}")
        va = hit.shorted or Span(Fraction(1), Fraction(1))
        each = self._copper.per_unit
        return complex(float(each.low**2 / va.high if side == 0 else each.high**2 / va.low))


def _ohm(condition: Condition) -> float:
    return float(condition.ohm if condition.ohm is not None else resistor(condition.volts or Fraction(0)))


def _span(values: Iterator[NDArray[np.float64]]) -> Span:
    every = np.concatenate(list(values))
    return Span(_exact(float(every.min()) * (1 - SLACK)), _exact(float(every.max()) * (1 + SLACK)))


def _exact(value: float) -> Fraction:
    return Fraction(round(value * FINE), FINE)
