"""The plan for one page: what to measure in which order and what it means: what `isolate --plan` answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import measured, more, names, number, said, word
from tapplan.answers.isolate import spans
from tapplan.answers.isolaterows import HypothesisRows, candidates, listed
from tapplan.answers.words import CAUTION
from tapplan.bench.defects import MENDS, Hypothesis
from tapplan.bench.isolation import Isolation
from tapplan.bench.measures import resistor
from tapplan.bench.plan import Means, PlanLine, Then, plan
from tapplan.bench.words import asked, condition_told, hypothesis_told, measure_told, readings_told, told


@dataclass(frozen=True, slots=True, kw_only=True)
class MeaningRow:
    """Readings that fail a line, what they mean, and what to do: mend it, or measure what tells these apart."""

    readings: Annotated[str, word("if it reads")]
    spans: Annotated[tuple[tuple[float, float], ...], more()]
    means: Annotated[HypothesisRows, more()]
    what: Annotated[str, said("it is")]
    then: Annotated[str | None, word(optional=True)]
    mend: Annotated[tuple[str, ...], names()]
    to_do: Annotated[str, said("so")]


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairPlanRow:
    """One line of the plan; `caught`: the share of what is met that this line and those above catch."""

    line: Annotated[int, number("line", digits=0)]
    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    asked: Annotated[str, word("measure")]
    passes: Annotated[str, word("passes")]
    caught: Annotated[float, measured(places=None)]
    means: Annotated[tuple[MeaningRow, ...], more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPlan(Answer):
    """The lines in order, and how much of what is met they catch."""

    heading = "Plan for the bench"
    caution = CAUTION

    title: str
    lines: Annotated[tuple[RepairPlanRow, ...], more()]
    caught: Annotated[float, measured(places=None)]
    source_told: Annotated[str, word()]

    @property
    def wrong(self) -> bool:
        """A plan judges nothing."""
        return False

    @property
    def told(self) -> list[str]:
        """How to go through it."""
        if not self.lines:
            return ["Nothing is left to plan: what the readings leave is told by isolate without --plan."]
        return [
            f"{len(self.lines)} measurements catch {self.caught:.1%} of what is met, by how often it is met.",
            "From the top; a line that passes leads to the next. The first that does not names what is wrong, or "
            "what to measure to tell the last few apart; a reading that no row names calls for isolate with all "
            "readings. Nothing is put on the line before the lines above it have passed.",
            self.source_told,
        ]


def bench_plan(isolation: Isolation, title: str) -> BenchPlan:
    """The plan of a design from its readings on."""
    made = plan(isolation)
    volts = made.source_v
    return BenchPlan(
        title=title,
        lines=tuple(_line(number, one) for number, one in enumerate(made.lines, 1)),
        caught=made.lines[-1].caught if made.lines else 0.0,
        source_told=f"Small source: {float(volts):g} V AC, isolated, through {float(resistor(volts)):g} ohm; 10 kohm "
        "across the output while it is on.",
    )


def _line(number: int, one: PlanLine) -> RepairPlanRow:
    return RepairPlanRow(
        line=number,
        condition=condition_told(one.measure.condition),
        measure=measure_told(one.measure),
        asked=asked(one.measure),
        passes=readings_told(one.measure, one.passes),
        caught=one.caught,
        means=tuple(_meaning(one, each) for each in one.means),
    )


def _meaning(line: PlanLine, one: Means) -> MeaningRow:
    mend = _mends(one.hypotheses) if one.then is None else ()
    then = None if one.then is None else told(one.then.measure)
    return MeaningRow(
        readings=readings_told(line.measure, one.readings),
        spans=spans(one.readings),
        means=candidates(one.hypotheses),
        what=listed(candidates(one.hypotheses)),
        then=then,
        mend=mend,
        to_do="; ".join(mend) if one.then is None else _second(one.then),
    )


def _second(one: Then) -> str:
    """What to measure then, and what it means."""
    outcomes = "; ".join(
        f"{readings_told(one.measure, each.readings)}: {hypothesis_told(each.hypotheses[0])}" for each in one.means
    )
    return f"{asked(one.measure)} {outcomes[:1].upper()}{outcomes[1:]}."


def _mends(hypotheses: tuple[Hypothesis, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(MENDS[defect.fault] for each in hypotheses[:1] for defect in each))
