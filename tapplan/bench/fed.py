"""Volts on a circuit of which two points are fed, by turns alone; what nothing fixes is anything."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.bench.values import ANY, NO, Prediction, exactly
from tapplan.network.circuit import Across, Circuit
from tapplan.network.spaces import Vector, holds, multiple
from tapplan.network.turns import Potentials


@dataclass(frozen=True, slots=True)
class FedCircuit:
    """A circuit with these contacts closed and `volts` across two of its points."""

    circuit: Circuit
    joined: Potentials
    across: Across
    volts: Fraction

    @property
    def turns(self) -> Vector | None:
        """Turns from the lower to the higher point fed."""
        return self.joined.between(self.across.low, self.across.high)

    @property
    def shorted(self) -> bool:
        """Whether what is fed is shorted, by contacts or through turns."""
        turns = self.turns
        return turns is not None and holds(self.joined.loops, turns)

    def between(self, high: int, low: int, *, loaded: bool) -> Prediction:
        """Volts between two points; `loaded`: a test lamp hangs across them, so that what floats shows nothing."""
        if self.shorted:
            return ANY
        fed, asked = self.turns, self.joined.between(low, high)
        if fed is None:
            return self._by_ties(high, low, loaded=loaded)
        if asked is None:
            return NO if loaded else ANY
        share = multiple(self.joined.loops, asked, fed)
        return ANY if share is None else exactly(abs(share) * self.volts)

    def settled(self, asked: Across) -> bool:
        """Whether both points hang on what is fed, so that their volts are not those of stray capacitance."""
        live = {self.joined.part[self.across.high], self.joined.part[self.across.low]}
        high, low = self.joined.part[asked.high], self.joined.part[asked.low]
        return high == low or {high, low} <= live

    def highest(self) -> Fraction:
        """The most volts between any two points whose volts are fixed; nought where nothing is excited."""
        fed = self.turns
        if fed is None:
            return Fraction(0)
        if len(fed) == 1 and not self.joined.loops:
            return self.volts * self._most_turns() / abs(fed[0])
        shares: dict[int, list[Fraction]] = {}  # by part, of the turns fed, from its root
        for point, part in enumerate(self.joined.part):
            root = self.joined.part.index(part)
            rise = self.joined.between(root, point)
            share = None if rise is None else multiple(self.joined.loops, rise, fed)
            if share is not None:
                shares.setdefault(part, [Fraction(0)]).append(share)
        return self.volts * max((max(each) - min(each) for each in shares.values()), default=Fraction(0))

    def _most_turns(self) -> int:
        """The most turns between any two points of one part, where all are on one core and no loop is closed."""
        heights: dict[int, list[int]] = {}
        for part, height in zip(self.joined.part, self.joined.height, strict=True):
            heights.setdefault(part, []).append(height[0])
        return max(max(each) - min(each) for each in heights.values())

    def _by_ties(self, high: int, low: int, *, loaded: bool) -> Prediction:
        """Where nothing is excited: contacts alone can tie a point to one that is fed."""
        levels = [self._level(high), self._level(low)]
        if levels[0] is not None and levels[1] is not None:
            return exactly(abs(levels[0] - levels[1]))
        live = {self.joined.part[self.across.high], self.joined.part[self.across.low]}
        apart = self.joined.part[high] not in live or self.joined.part[low] not in live
        return NO if apart and (loaded or self.joined.between(low, high) is not None) else ANY

    def _level(self, point: int) -> Fraction | None:
        for end, volts in ((self.across.low, Fraction(0)), (self.across.high, self.volts)):
            turns = self.joined.between(end, point)
            if turns is not None and holds(self.joined.loops, turns):
                return volts
        return None
