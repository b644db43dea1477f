"""The rows of what `isolate` answers, and hypotheses in a few words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.columns import measured, more, names, number, said, word, yes
from tapplan.bench.defects import Hypothesis

LEAST_OUTCOME = 0.01  # an outcome that fits nothing likelier is only counted on a screen


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRow:
    """A reading that was taken. `value` None: it was not to be had."""

    number: Annotated[str, said(" ")]
    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    asked: Annotated[str, word("measured")]
    value: Annotated[Fraction | None, number()]
    shown: Annotated[str, said("reading")]
    unit: Annotated[str, word()]
    told: Annotated[str, word()]
    in_conflict: Annotated[str | None, said("in conflict", optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectRow:
    """One defect of a hypothesis."""

    part: Annotated[str, word("part")]
    fault: Annotated[str, word("fault")]
    told: Annotated[str, word("what")]


HypothesisRows = tuple[
    tuple[DefectRow, ...], ...
]  # hypotheses, each with its defects; none of them for a healthy stage


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRow:
    """Hypotheses that no measurement on the list can tell apart; `share`: how likely they are together."""

    share: Annotated[float, measured(places=None)]
    candidates: Annotated[HypothesisRows, more()]
    mend: Annotated[tuple[str, ...], names()]
    likely: Annotated[str, said("likely")]
    what: Annotated[str, said("what explains the readings")]
    to_do: Annotated[str, said("what to do")]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtRow:
    """A reading, by its number, which, if it were wrong, would let other hypotheses in."""

    reading: Annotated[int, number("reading")]
    candidates: Annotated[HypothesisRows, more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRow:
    """Readings of the next measurement, and what they would leave."""

    readings: Annotated[str, word("if it reads")]
    spans: Annotated[tuple[tuple[float, float], ...], more()]
    share: Annotated[float, measured(places=None)]
    fits: Annotated[HypothesisRows, more()]
    left: Annotated[str, said("that fits")]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRow:
    """The measurement to make: its information and effort, and the most volts it can bring about.

    `unbars`: what it is made for, where that keeps the line off; `again`: it was read before.
    """

    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    asked: Annotated[str, word("next")]
    unit: Annotated[str, word()]
    bits: Annotated[float, measured(places=None)]
    effort: Annotated[int, number()]
    most_v: Annotated[Fraction | None, number()]
    outcomes: Annotated[tuple[OutcomeRow, ...], more()]
    unbars: Annotated[HypothesisRows, more()]
    again: Annotated[bool, yes()]
    worth: str

    @property
    def shown(self) -> tuple[OutcomeRow, ...]:
        """The outcomes worth a line on a screen: of what is likely now, or all where nothing is."""
        return tuple(one for one in self.outcomes if one.share >= LEAST_OUTCOME) or self.outcomes

    @property
    def hidden_told(self) -> list[str]:
        """How many outcomes the screen leaves out."""
        hidden = len(self.outcomes) - len(self.shown)
        return [f"and {hidden} more that fit less likely faults (all with --json)"] if hidden else []


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingRow:
    """A measurement on the line that waits, and what keeps it waiting."""

    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    because: Annotated[HypothesisRows, more()]

    @property
    def told(self) -> str:
        """In a sentence."""
        return (
            f'More would tell "{self.condition}: {self.measure}", but while this is possible the line stays off: '
            f"{listed(self.because)}."
        )


def candidates(hypotheses: Sequence[Hypothesis]) -> HypothesisRows:
    """The hypotheses, those once that differ in nothing that is said of them."""
    rows = (tuple(DefectRow(part=one.part, fault=one.fault, told=one.told()) for one in each) for each in hypotheses)
    return tuple(dict.fromkeys(rows))


def defects_told(defects: Sequence[DefectRow]) -> str:
    """The defects of one hypothesis in a few words."""
    return " and ".join(one.told for one in defects) or "no fault"


def listed(candidates: HypothesisRows) -> str:
    """The first few of several hypotheses, and how many more there are."""
    named = [defects_told(one) for one in candidates[:4]]
    left = len(candidates) - len(named)
    return "; ".join(named) + (f"; and {left} more" if left else "")
