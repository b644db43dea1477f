"""A board on the bench, simulated on its own: what a meter shows on it, with its error, and what it is fed with."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from random import Random

import numpy as np

from tapplan.bench.isolation import Reading
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.values import MOST
from tapplan.design.model import Design, Winding
from tests.examples import design

CONTACT_OHM = 0.05
OPEN_OHM = 1e7
TEST_NAME = "test winding"


@dataclass(frozen=True, slots=True)
class MeterError:
    """Errors of a meter: shares of the reading, and fixed parts in volts and in ohms."""

    share: float = 0.005
    volts: float = 0.002
    ohm: float = 0.1


class BenchBoard:
    """A board whose windings are of whole turns on one core, at a few ohms each; its meter errs at random."""

    def __init__(self, made: Design, random: Random, error: MeterError, ohms: dict[str, float]) -> None:
        self.design, self.random, self.error, self.ohms = made, random, error, ohms

    def answer(self, measure: Measure) -> Reading:
        """What the meter shows."""
        one, two = measure.at
        coils = measure.condition.coils or frozenset()
        if measure.what == "ohms":
            true = self.resistance(coils, one, two)
            value = MOST if true > OPEN_OHM else self._shown(true, self.error.ohm)
        else:
            value = self._shown(self.volts(measure.condition, one, two), self.error.volts)
        return Reading(measure, value)

    def _shown(self, true: float, fixed: float) -> Fraction:
        off = true * self.error.share * self.random.uniform(-1, 1) + fixed * self.random.uniform(-1, 1)
        return Fraction(max(true + off, 0)).limit_denominator(100_000)

    def closed(self, coils: frozenset[str]) -> list[tuple[str, str]]:
        """The pairs that contacts join."""
        pairs = []
        for relay in self.design.relays:
            for pole in relay.all_poles:
                end = pole.no if relay.name in coils else pole.nc
                if end is not None:
                    pairs.append((pole.com, end))
        return pairs

    def resistance(self, coils: frozenset[str], one: str, two: str) -> float:
        """Ohms between two points, of contacts and windings."""
        parts = [(*pair, CONTACT_OHM) for pair in self.closed(coils)]
        parts += [(*section.ends, self.ohms[section.name]) for section in self.design.windings]
        names = sorted({end for first, second, _ in parts for end in (first, second)} | {one, two})
        place = {name: number for number, name in enumerate(names)}
        matrix = np.eye(len(names)) * 1e-9
        for first, second, ohm in parts:
            a, b = place[first], place[second]
            matrix[a, a] += 1 / ohm
            matrix[b, b] += 1 / ohm
            matrix[a, b] -= 1 / ohm
            matrix[b, a] -= 1 / ohm
        current = np.zeros(len(names))
        current[place[one]], current[place[two]] = 1, -1
        found = np.linalg.solve(matrix, current)
        return float(found[place[one]] - found[place[two]])

    def _levels(self, coils: frozenset[str], start: str) -> dict[str, int] | None:
        """Turns above a point of all that is linked to it; None where turns are shorted."""
        links: dict[str, list[tuple[str, int]]] = {}
        edges = [(*pair, 0) for pair in self.closed(coils)]
        edges += [(*section.ends, int(section.turns)) for section in self.design.windings]
        for low, high, turns in edges:
            links.setdefault(low, []).append((high, turns))
            links.setdefault(high, []).append((low, -turns))
        levels, waiting = {start: 0}, [start]
        while waiting:
            here = waiting.pop()
            for there, turns in links.get(here, []):
                if there not in levels:
                    levels[there] = levels[here] + turns
                    waiting.append(there)
                elif levels[there] != levels[here] + turns:
                    return None
        return levels

    def volts(self, condition: Condition, one: str, two: str) -> float:
        """Volts between two points; none between those without a path."""
        coils = condition.coils or frozenset()
        assert condition.fed is not None
        high, low = condition.fed
        fed, across = self._levels(coils, low), self._levels(coils, two)
        if not fed or not across or not fed.get(high) or one not in across:
            return 0.0
        return abs(float(condition.volts or 0) * across[one] / fed[high])

    def most_volts(self, condition: Condition) -> float:
        """The highest volts between any two points while it is fed."""
        points = self.points
        return max(self.volts(condition, one, two) for one in points for two in points)

    def ratio(self, coils: frozenset[str]) -> float | None:
        """Output volts for a volt of line; None where there are none."""
        ends = self.design.terminals
        levels = self._levels(coils, ends.neutral)
        if not levels or not levels.get(ends.line) or ends.output not in levels:
            return None
        return levels[ends.output] / levels[ends.line]

    @property
    def points(self) -> list[str]:
        """Every point that a probe can reach."""
        ends = {end for section in self.design.windings for end in section.ends}
        poles = [pole for relay in self.design.relays for pole in relay.all_poles]
        ends |= {end for pole in poles for end in (pole.com, pole.nc, pole.no) if end is not None}
        return sorted(ends | {self.design.terminals.line, self.design.terminals.output})


def sheet_of(board: BenchBoard, volts: int = 3) -> list[Reading]:
    """What the test sheet has measured: contacts and windings, then the output in every state and each section."""
    made, readings = board.design, []
    names = [relay.name for relay in made.relays]
    for relay in made.relays:
        ends = [(pole.com, end) for pole in relay.all_poles for end in (pole.nc, pole.no) if end is not None]
        for coils in (frozenset(), frozenset({relay.name})):
            readings += [board.answer(Measure(Condition("off", coils), "ohms", pair)) for pair in ends]
    rest = Condition("off", frozenset())
    readings += [board.answer(Measure(rest, "ohms", section.ends)) for section in made.windings]
    fed = (made.terminals.line, made.terminals.neutral)
    for number in range(1 << len(names)):
        coils = frozenset(name for place, name in enumerate(names) if number >> place & 1)
        source = Condition("low", coils, fed, Fraction(volts))
        readings.append(board.answer(Measure(source, "volts", (made.terminals.output, fed[1]))))
    source = Condition("low", frozenset(), fed, Fraction(volts))
    return readings + [board.answer(Measure(source, "volts", section.ends)) for section in made.windings]


def listed(board: BenchBoard) -> list[Reading]:
    """Every point and every relay named once, and nothing known of them."""
    rest, neutral = Condition("off", frozenset()), board.design.terminals.neutral
    own = {end for section in board.design.windings if section.name == TEST_NAME for end in section.ends}
    points = [point for point in board.points if point != neutral and point not in own]
    readings = [Reading(Measure(rest, "ohms", (point, neutral)), None) for point in points]
    return readings + [Reading(Measure(rest, "coil-ohms", (relay.name,)), None) for relay in board.design.relays]


def wound_on(made: Design, turns: int = 20) -> Design:
    """The design with a test winding on its core, between TX and TY."""
    test = Winding(name=TEST_NAME, ends=("TX", "TY"), turns=Fraction(turns))
    return replace(made, windings=(*made.windings, test))


def any_board(random: Random) -> Design:
    """A tapped winding whose line, output or both one to three changeovers choose, alone or in a chain."""
    taps = [f"T{number}" for number in range(random.randint(2, 5))]
    sections = [
        (low, low, high, random.randint(150, 400) if low == "N" else random.randint(3, 60))
        for low, high in pairwise(["N", *taps])
    ]
    kind = random.choice(["line", "output", "both", "chain"])
    side = {"line": "LINE", "output": "OUT"}.get(kind) or random.choice(["LINE", "OUT"])
    if kind == "both":
        links = {"K1": ("LINE", *random.sample(taps, 2)), "K2": ("OUT", *random.sample(taps, 2))}
        if len(taps) > 2:  # a third behind the second
            one, two, three = random.sample(taps, 3)
            links |= {"K2": ("OUT", one, "X"), "K3": ("X", two, three)}
        return design(sections, links)
    count = min(random.randint(2, 3), len(taps) - 1) if kind == "chain" else 1
    ends = random.sample(taps, count + 1)
    links = {
        f"K{place + 1}": (f"X{place}" if place else side, end, f"X{place + 1}" if place < count - 1 else ends[count])
        for place, end in enumerate(ends[:count])
    }
    fixed = random.choice(taps)
    return design(sections, links, terminals=("LINE", "N", fixed) if side == "LINE" else (fixed, "N", "OUT"))


def frame_text(line: str, output: str) -> str:
    """What is known of such a board before it is measured: a design file without winding and relays."""
    return f"""format = 1
title = "Board without a drawing"
[mains]
nominal_v = 230
range_v = [180, 270]
[output]
nominal_v = 230
window_v = [207, 253]
[terminals]
line = "{line}"
neutral = "N"
output = "{output}"
"""
