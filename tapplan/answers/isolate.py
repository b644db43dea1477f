"""From readings to the faults that explain them, and the next measurement: what `isolate` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import measured, more, names, number, said, word
from tapplan.answers.words import CAUTION
from tapplan.bench.defects import HEALTHY, MENDS, Hypothesis
from tapplan.bench.isolation import AlikeFaults, Diagnosis, Isolation, Next, Reading
from tapplan.bench.measures import EFFORT, Measure
from tapplan.bench.tree import Branch, Fork, Tree, forks, tree
from tapplan.bench.values import Prediction
from tapplan.bench.words import (
    asked,
    condition_told,
    hypothesis_told,
    measure_told,
    readings_told,
    value_told,
)

MOST_SHOWN = 12
LEAST_SHOWN = 0.0005  # a group less likely than this is only counted on a screen
FEW = 3  # with more left than this every reading still matters, so that no single one is doubted aloud


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


Candidates = tuple[tuple[DefectRow, ...], ...]  # hypotheses, each with its defects; none of them for a healthy stage


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRow:
    """Hypotheses that no measurement on the list can tell apart; `share`: how likely they are together."""

    share: Annotated[float, measured(places=None)]
    candidates: Annotated[Candidates, more()]
    mend: Annotated[tuple[str, ...], names()]
    likely: Annotated[str, said("likely")]
    what: Annotated[str, said("what explains the readings")]
    to_do: Annotated[str, said("what to do")]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtRow:
    """A reading, by its number, which, if it were wrong, would let other hypotheses in."""

    reading: Annotated[int, number("reading")]
    candidates: Annotated[Candidates, more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeRow:
    """Readings of the next measurement, and what they would leave."""

    readings: Annotated[str, word("if it reads")]
    spans: Annotated[tuple[tuple[float, float], ...], more()]
    fits: Annotated[Candidates, more()]
    left: Annotated[str, said("that fits")]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRow:
    """The measurement to make: its information and effort, and the most volts it can bring about."""

    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    asked: Annotated[str, word("next")]
    unit: Annotated[str, word()]
    bits: Annotated[float, measured(places=None)]
    effort: Annotated[int, number()]
    most_v: Annotated[Fraction | None, number()]
    outcomes: Annotated[tuple[OutcomeRow, ...], more()]
    worth: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Isolated(Answer):
    """What the readings leave, their conflict or doubts, and the next measurement.

    `conflict` holds the numbers of readings that contradict each other; `barred` counts measurements that wait until
    a short is ruled out; `cells_empty` the lines of a sheet without a reading.
    """

    heading = "Fault isolation"
    caution = CAUTION

    title: str
    readings: Annotated[tuple[ReadingRow, ...], more()]
    groups: Annotated[tuple[GroupRow, ...], more()]
    conflict: Annotated[tuple[int, ...], names()]
    doubts: Annotated[tuple[DoubtRow, ...], more()]
    next: Annotated[NextRow | None, more()]
    barred: Annotated[int, number()]
    cells_empty: Annotated[int | None, number(optional=True)] = None
    healthy: bool

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """What is still possible first."""
        return ("groups", "readings", "doubts", "next")

    @property
    def wrong(self) -> bool:
        """Whether a healthy stage does not explain the readings."""
        return not self.healthy

    @property
    def empty_told(self) -> str:
        """How many lines of a sheet have no reading; nothing where none are left."""
        if not self.cells_empty:
            return ""
        return f"Of the sheet {self.cells_empty} line{'s have' if self.cells_empty > 1 else ' has'} no reading."

    @property
    def shown(self) -> tuple[GroupRow, ...]:
        """The groups worth a line on a screen."""
        return tuple(one for one in self.groups if one.share >= LEAST_SHOWN)[:MOST_SHOWN]

    @property
    def conflict_told(self) -> str:
        """That the readings contradict each other, and what to do; nothing where they do not."""
        if not self.conflict:
            return ""
        listed = ", ".join(map(str, self.conflict))
        told = (
            f"No fault on the list explains reading {listed}"
            if len(self.conflict) == 1
            else f"The readings contradict each other: no fault on the list explains {listed} together"
        )
        return (
            f"{told}. Take them again; if they stand, more than one thing is wrong (--pairs), or the stage is not "
            "wired as the design says."
        )

    @property
    def groups_told(self) -> list[str]:
        """What the table of groups leaves out, and what a row of several means."""
        hidden = len(self.groups) - len(self.shown)
        lines = [f"and {hidden} more, less likely than these (all with --json)"] if hidden else []
        if any(len(one.candidates) > 1 for one in self.shown):
            lines.append("What stands in one row cannot be told apart from outside: open the part.")
        return lines

    @property
    def doubts_told(self) -> list[str]:
        """What would fit as well if one reading were wrong; nothing as long as much is possible."""
        if sum(len(one.candidates) for one in self.groups) > FEW:
            return []
        return [
            f"If reading {one.reading} were wrong, there would also fit: {_listed(one.candidates)}."
            for one in self.doubts
        ]

    @property
    def end_told(self) -> str:
        """Why there is nothing to measure next."""
        if self.barred:
            return (
                "What else would tell needs the line, and while a short is possible the line stays off: rule the "
                "short out first, or open the part."
            )
        certain = len(self.groups) == 1
        return "Nothing more to measure." if certain else "No measurement on the list tells these apart."

    @property
    def likely_told(self) -> str:
        """The most likely so far, in a line."""
        likely = [f"{_told(one.candidates[0])} ({one.share:.0%})" for one in self.groups[:3]]
        return f"{len(self.groups)} possible; most likely: {', '.join(likely)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class BranchRow:
    """An outcome of a step: on to another step, or what is left."""

    readings: Annotated[str, word("   if it reads")]
    spans: Annotated[tuple[tuple[float, float], ...], more()]
    step: Annotated[int | None, number(optional=True)] = None
    left: Annotated[Candidates | None, more(optional=True)] = None
    then: Annotated[str, said("then")]


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeStep:
    """One measurement of the tree, by number."""

    step: Annotated[int, number("step")]
    condition: Annotated[str, word()]
    measure: Annotated[str, word()]
    asked: Annotated[str, word("measure")]
    outcomes: Annotated[tuple[BranchRow, ...], more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beginning:
    """Where the tree begins: at a step, or at once with what is left."""

    step: Annotated[int | None, number(optional=True)] = None
    left: Annotated[Candidates | None, more(optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeRows:
    """The steps by number, and how many measurements it takes on average and at worst."""

    mean: Annotated[float, measured(places=None)]
    worst: Annotated[int, number()]
    begins: Annotated[Beginning, more()]
    steps: Annotated[tuple[TreeStep, ...], more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grown(Answer):
    """The whole decision tree."""

    heading = "Decision tree"
    caution = CAUTION

    title: str
    tree: Annotated[TreeRows, more()]
    healthy: bool

    @property
    def wrong(self) -> bool:
        """Whether a healthy stage does not explain the readings so far."""
        return not self.healthy

    @property
    def told(self) -> list[str]:
        """How long the way is, and how to go it."""
        if self.tree.begins.left is not None:
            return [f"Nothing more to measure: {'; '.join(map(_told, self.tree.begins.left))}."]
        return [
            f"{len(self.tree.steps)} steps; on average {self.tree.mean:.1f} measurements lead to the end, at worst "
            f"{self.tree.worst}.",
            "Begin with step 1. Ways in which a fault shows itself less than once in a hundred are left out; a "
            "reading that no line names calls for `isolate` with all readings.",
        ]


def isolated(isolation: Isolation, title: str) -> Isolated:
    """What the readings of an isolation say."""
    found = isolation.diagnosis()
    return Isolated(
        title=title,
        readings=tuple(_reading(one, place, found.conflict) for place, one in enumerate(isolation.readings)),
        groups=tuple(_group(one) for one in found.groups),
        conflict=tuple(place + 1 for place in found.conflict),
        doubts=tuple(DoubtRow(reading=one.place + 1, candidates=_candidates(one.hypotheses)) for one in found.doubts),
        next=None if found.next is None else _next(found.next),
        barred=found.barred,
        healthy=_healthy(found),
    )


def with_empty(found: Isolated, cells: int | None) -> Isolated:
    """The same, with how many lines of a sheet had no reading."""
    return replace(found, cells_empty=cells)


def grown(isolation: Isolation, title: str) -> Grown:
    """The decision tree from the readings of an isolation on."""
    return Grown(title=title, tree=_tree(tree(isolation)), healthy=_healthy(isolation.diagnosis()))


def _healthy(found: Diagnosis) -> bool:
    """Whether a healthy stage explains the readings."""
    return any(HEALTHY in group.members for group in found.groups)


def _candidates(hypotheses: Sequence[Hypothesis]) -> Candidates:
    return tuple(
        tuple(DefectRow(part=one.part, fault=one.fault, told=one.told()) for one in each) for each in hypotheses
    )


def _told(defects: Sequence[DefectRow]) -> str:
    return " and ".join(one.told for one in defects) or "no fault"


def _listed(candidates: Candidates) -> str:
    named = [_told(one) for one in candidates[:4]]
    left = len(candidates) - len(named)
    return "; ".join(named) + (f"; and {left} more" if left else "")


def _reading(one: Reading, place: int, conflict: Sequence[int]) -> ReadingRow:
    return ReadingRow(
        number=f"{place + 1}",
        condition=condition_told(one.measure.condition),
        measure=measure_told(one.measure),
        asked=asked(one.measure),
        value=one.value,
        shown="unknown" if one.value is None else value_told(one.measure, one.value),
        unit=one.measure.unit,
        told=one.told,
        in_conflict=None if not conflict else "yes" if place in conflict else "",
    )


def _group(one: AlikeFaults) -> GroupRow:
    mend = tuple(dict.fromkeys(MENDS[defect.fault] for each in one.members for defect in each))
    return GroupRow(
        share=one.share,
        candidates=_candidates(one.members),
        mend=mend,
        likely=f"{one.share:.1%}",
        what="; ".join(hypothesis_told(each) for each in one.members),
        to_do="; ".join(mend) or "nothing is broken",
    )


def _spans(prediction: Prediction) -> tuple[tuple[float, float], ...]:
    return tuple((float(one.low), float(one.high)) for one in prediction)


def _next(one: Next) -> NextRow:
    measure = one.entry.measure
    return NextRow(
        condition=condition_told(measure.condition),
        measure=measure_told(measure),
        asked=asked(measure),
        unit=measure.unit,
        bits=one.bits,
        effort=measure.effort,
        most_v=one.volts,
        outcomes=tuple(
            OutcomeRow(
                readings=readings_told(measure, leaving.readings),
                spans=_spans(leaving.readings),
                fits=_candidates(leaving.hypotheses),
                left=_listed(_candidates(sorted(leaving.hypotheses, key=lambda each: each != HEALTHY))),
            )
            for leaving in one.leaves
        ),
        worth=_worth(one),
    )


def _worth(one: Next) -> str:
    most = max(EFFORT.values())
    told = f"It is worth {one.bits:.2f} bits, at an effort of {one.entry.measure.effort} of {most}."
    if one.volts is None:
        return told
    return f"{told} Up to {float(one.volts):.0f} V can stand somewhere on the winding: treat every terminal as live."


def _tree(found: Tree) -> TreeRows:
    steps = sorted(forks(found.root), key=lambda one: one.number)
    below = found.root
    begins = (
        Beginning(step=below.number) if isinstance(below, Fork) else Beginning(left=_candidates(below.hypotheses))
    )
    return TreeRows(mean=found.mean, worst=found.worst, begins=begins, steps=tuple(_step(one) for one in steps))


def _step(node: Fork) -> TreeStep:
    return TreeStep(
        step=node.number,
        condition=condition_told(node.measure.condition),
        measure=measure_told(node.measure),
        asked=asked(node.measure),
        outcomes=tuple(_branch(node.measure, one) for one in node.branches),
    )


def _branch(measure: Measure, one: Branch) -> BranchRow:
    told, spans, below = readings_told(measure, one.readings), _spans(one.readings), one.below
    if isinstance(below, Fork):
        return BranchRow(readings=told, spans=spans, step=below.number, then=f"go to {below.number}")
    left = _candidates(below.hypotheses)
    return BranchRow(readings=told, spans=spans, left=left, then="; ".join(map(_told, left)))
