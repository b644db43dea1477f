"""What a linear program is told of a wiring: its states as sums of unknowns on some scale, and their known order."""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.arrays import Floats
from tapplan.study.scales import RatioScale

UnknownSum = dict[int, float]


@dataclass(frozen=True, slots=True)
class FixedRow:
    """A row that always holds: a sum of unknowns between two numbers."""

    entries: UnknownSum
    least: float
    most: float


@dataclass(frozen=True)
class StateForm:
    """The states of a wiring, each a sum of unknowns on a scale, and between what the unknowns lie.

    `earlier`: for each state those whose u is smaller, whatever the turns. Fewer than `least_used` are not looked
    for.
    """

    scale: RatioScale
    states: tuple[UnknownSum, ...]
    earlier: tuple[frozenset[int], ...]
    least: Floats
    most: Floats
    held: tuple[FixedRow, ...] = ()
    least_used: int = 2

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return len(self.least)

    def value(self, found: Floats, number: int) -> float:
        """A state's u on the scale, in a solution."""
        return float(sum(by * found[place] for place, by in self.states[number].items()))

    def u(self, found: Floats, number: int) -> float:
        """A state's u, in a solution."""
        return self.scale.back(self.value(found, number))


def plus(one: UnknownSum, other: UnknownSum, factor: float = 1.0) -> UnknownSum:
    """One sum, and another times a factor."""
    return {place: one.get(place, 0.0) + factor * other.get(place, 0.0) for place in {**one, **other}}
