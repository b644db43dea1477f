"""Which sudden steps stand for a pair of bands: the worst over the curve and the worst under it.

Neither hides the other: a dropout of a few ms and a surge that breaks what is plugged in are told side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.answers import words
from tapplan.answers.steps import PhaseRow, StepRow

SIDES = ("over", "under")  # the first is what breaks a load, the second what stops it


@dataclass(frozen=True, slots=True)
class NumberedStep:
    """A step against one side of the curve, and its place among all steps."""

    number: int
    step: StepRow

    @property
    def level(self) -> str:
        """The side, and the level judged."""
        return f"{self.step.side} {self.step.percent:.0f} %"

    @property
    def lasts(self) -> str:
        """How long it stands, of how long it may."""
        lasts = words.number(self.step.lasts_ms, 1)
        return f"{lasts} ms" if self.step.allowed_ms is None else f"{lasts} of {self.step.allowed_told} ms"


@dataclass(frozen=True, slots=True)
class StepCell:
    """The worst step of a pair over the curve, then the worst under it; one of them may be missing."""

    sides: tuple[NumberedStep, ...]

    @property
    def start(self) -> str:
        """The band left."""
        return self.sides[0].step.start

    @property
    def end(self) -> str:
        """The band finally entered."""
        return self.sides[0].step.entered[-1]

    @property
    def kept(self) -> bool:
        """Whether the curve bears both."""
        return all(one.step.kept for one in self.sides)

    @property
    def shown(self) -> NumberedStep:
        """The one that is drawn: the one over the curve where it leaves it, else the one under."""
        first, last = self.sides[0], self.sides[-1]
        return first if first.step.side == "over" and not first.step.kept else last


def worst_of_pairs(found: Sequence[StepRow]) -> list[StepCell]:
    """For each band left and band finally entered, on each side what leaves the curve most, or comes nearest to it.

    The order is that of `StepRow.harm`: first what leaves it, then by how many percent, then by how long.
    """
    worst: dict[tuple[str, str], dict[str, NumberedStep]] = {}
    for number, one in enumerate(found):
        sides = worst.setdefault((one.start, one.entered[-1]), {})
        if one.side not in sides or one.harm > sides[one.side].step.harm:
            sides[one.side] = NumberedStep(number, one)
    return [StepCell(tuple(sides[side] for side in SIDES if side in sides)) for sides in worst.values()]


def judged_phase(step: StepRow) -> PhaseRow | None:
    """The phase at whose end the level judged is over; None where the phases do not tell in which it stands.

    They tell where the level is met in one stretch alone, or in one alone that is long enough for it: two flights
    apart can each be the one that leaves the load on nothing.
    """
    stretches: list[list[PhaseRow]] = [[]]
    for phase in step.course:
        if _reaches(phase, step):
            stretches[-1].append(phase)
        else:
            stretches.append([])
    met = [one for one in stretches if one]
    if len(met) > 1:
        met = [one for one in met if one[-1].until_ms - one[0].from_ms >= step.lasts_ms]
    if len(met) != 1:
        return None
    return next((phase for phase in reversed(met[0]) if _outermost(phase, step) == step.output_v), None)


def _outermost(phase: PhaseRow, step: StepRow) -> Fraction:
    return phase.output_v.high if step.side == "over" else phase.output_v.low


def _reaches(phase: PhaseRow, step: StepRow) -> bool:
    """Whether the output can be at the level judged, or farther out."""
    outermost = _outermost(phase, step)
    return outermost >= step.output_v if step.side == "over" else outermost <= step.output_v
