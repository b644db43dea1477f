"""A wiring of taps alone, as pairs of a line tap and an output tap, and what their order says of its ratios.

With x the logarithms of the taps' turns, the logarithm of a state's u (line over output turns) is a difference of two
of them. So each order of the states makes a convex problem (`orders`), and with one side's turns fixed the other's
follow from the ends of the range (`whole`). Ideas of both: own derivation.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import inf, log

import numpy as np

from tapplan.arrays import Floats
from tapplan.study.forms import FixedRow, StateForm
from tapplan.study.scales import LOGARITHM
from tapplan.study.wiring import TurnRow, Wiring


@dataclass(frozen=True, slots=True, order=True)
class TapPair:
    """The tap under the line, and that under the output, by their places among the unknowns."""

    line: int
    output: int


@dataclass(frozen=True, slots=True, order=True)
class TapStep:
    """Two taps, of which one is known to be higher than the other."""

    low: int
    high: int


@dataclass(frozen=True)
class TapPairs:
    """The pairs that a wiring's states join; `above` holds what is known of their heights."""

    size: int
    pairs: tuple[TapPair, ...]
    above: frozenset[TapStep]
    least_used: int

    @cached_property
    def lines(self) -> frozenset[int]:
        """The taps that the line stands on in some state."""
        return frozenset(pair.line for pair in self.pairs)

    @cached_property
    def outputs(self) -> frozenset[int]:
        """The taps that the output stands on in some state."""
        return frozenset(pair.output for pair in self.pairs)

    def form(self, least: Floats, most: Floats) -> StateForm:
        """The pairs for a linear program in logarithms, with the least and the most turns of every tap."""
        apart = log(1 + 1 / most.max())
        return StateForm(
            LOGARITHM,
            tuple({} if one.line == one.output else {one.line: 1.0, one.output: -1.0} for one in self.pairs),
            tuple(
                frozenset(place for place, other in enumerate(self.pairs) if self._less(other, one))
                for one in self.pairs
            ),
            np.log(least),
            np.log(most),
            tuple(FixedRow({one.high: 1.0, one.low: -1.0}, apart, inf) for one in sorted(self.above)),
            self.least_used,
        )

    def _less(self, one: TapPair, other: TapPair) -> bool:
        """Whether the first one's u is surely the smaller."""
        if one == other:
            return False
        if one.line == one.output and other.line == other.output:
            return False
        direct, apart = (one, other) if one.line == one.output else (other, one)
        if direct.line == direct.output:  # u = 1 beside l/o
            ends = (apart.output, apart.line) if direct == one else (apart.line, apart.output)
            return TapStep(*ends) in self.above
        lines = one.line == other.line or TapStep(one.line, other.line) in self.above
        outputs = one.output == other.output or TapStep(other.output, one.output) in self.above
        return lines and outputs


def pairs_of(wiring: Wiring) -> TapPairs | None:
    """The pairs of a wiring; None where some state stands on a sum of turns.

    Taps whose partners are the same are told apart by nothing but their names: the higher is said to be the later.
    """
    rows = list(wiring.states)
    if any(not _single(row) for one in rows for row in (one.line, one.output)):
        return None
    places = [TapPair(one.line.index(1), one.output.index(1)) for one in rows]
    direct = [pair for pair in places if pair.line == pair.output]
    kept = [pair for pair in places if pair.line != pair.output] + direct[:1]
    known = {TapStep(row.index(-1), row.index(1)) for row in wiring.rising if sorted(row) == _difference(len(row))}
    used = frozenset(tap for pair in places for tap in (pair.line, pair.output))
    return TapPairs(
        wiring.unknowns, tuple(sorted(kept)), _closed(known | set(_alike(places, known, used))), wiring.least_used
    )


def _single(turns: TurnRow) -> bool:
    return sum(map(abs, turns)) == 1 and max(turns) == 1


def _difference(size: int) -> list[int]:
    return [-1, *[0] * (size - 2), 1]


def _alike(places: list[TapPair], known: set[TapStep], used: frozenset[int]) -> Iterator[TapStep]:
    """Taps that could change places, in order, where nothing orders them already."""
    ordered = {tap for one in known for tap in (one.low, one.high)}
    partners = {
        tap: (
            frozenset(pair.output for pair in places if pair.line == tap),
            frozenset(pair.line for pair in places if pair.output == tap),
        )
        for tap in used
    }
    for one, other in product(sorted(used), repeat=2):
        if one < other and partners[one] == partners[other] and not {one, other} & ordered:
            yield TapStep(one, other)


def _closed(known: set[TapStep]) -> frozenset[TapStep]:
    """With all that follows: what is above a tap is above those below it."""
    while True:
        more = {TapStep(a.low, b.high) for a, b in product(known, repeat=2) if a.high == b.low} - known
        if not more:
            return frozenset(known)
        known = known | more
