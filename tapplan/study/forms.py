"""What a linear program is told of a wiring: its states as sums of unknowns on some scale, and their known order."""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.arrays import Floats
from tapplan.study.scales import Scale

Sum = dict[int, float]


@dataclass(frozen=True, slots=True)
class Held:
    """A row that always holds: a sum of unknowns between two numbers."""

    entries: Sum
    least: float
    most: float


@dataclass(frozen=True)
class StateForm:
    """The states of a wiring, each a sum of unknowns on a scale, and between what the unknowns lie.

    `earlier`: for each state those whose u is smaller, whatever the turns. Fewer than `least_used` are not looked
    for.
    """

    scale: Scale
    states: tuple[Sum, ...]
    earlier: tuple[frozenset[int], ...]
    least: Floats
    most: Floats
    held: tuple[Held, ...] = ()
    least_used: int = 2

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return len(self.least)

    def value(self, found: Floats, state: int) -> float:
        """A state's u on the scale, in a solution."""
        return float(sum(by * found[place] for place, by in self.states[state].items()))

    def u(self, found: Floats, state: int) -> float:
        """A state's u, in a solution."""
        return self.scale.back(self.value(found, state))


def plus(one: Sum, other: Sum, factor: float = 1.0) -> Sum:
    """One sum, and another times a factor."""
    return {place: one.get(place, 0.0) + factor * other.get(place, 0.0) for place in {**one, **other}}
