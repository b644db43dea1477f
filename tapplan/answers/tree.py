"""The whole decision tree of a design, step by step: what `isolate --tree` answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import measured, more, number, said, word
from tapplan.answers.isolate import healthy, spans
from tapplan.answers.isolaterows import HypothesisRows, candidates, defects_told
from tapplan.answers.words import CAUTION
from tapplan.bench.isolation import Isolation
from tapplan.bench.measures import Measure
from tapplan.bench.tree import Branch, Fork, Tree, forks, tree
from tapplan.bench.words import asked, condition_told, measure_told, readings_told


@dataclass(frozen=True, slots=True, kw_only=True)
class BranchRow:
    """An outcome of a step: on to another step, or what is left."""

    readings: Annotated[str, word("   if it reads")]
    spans: Annotated[tuple[tuple[float, float], ...], more()]
    step: Annotated[int | None, number(optional=True)] = None
    left: Annotated[HypothesisRows | None, more(optional=True)] = None
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
    left: Annotated[HypothesisRows | None, more(optional=True)] = None


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
            return [f"Nothing more to measure: {'; '.join(map(defects_told, self.tree.begins.left))}."]
        return [
            f"{len(self.tree.steps)} steps; on average {self.tree.mean:.1f} measurements lead to the end, at worst "
            f"{self.tree.worst}.",
            "Begin with step 1. Ways in which a fault shows itself less than once in a hundred are left out; a "
            "reading that no line names calls for `isolate` with all readings.",
        ]


def grown(isolation: Isolation, title: str) -> Grown:
    """The decision tree from the readings of an isolation on."""
    return Grown(title=title, tree=_tree(tree(isolation)), healthy=healthy(isolation, isolation.diagnosis()))


def _tree(found: Tree) -> TreeRows:
    steps = sorted(forks(found.root), key=lambda one: one.number)
    below = found.root
    begins = Beginning(step=below.number) if isinstance(below, Fork) else Beginning(left=candidates(below.hypotheses))
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
    told, ends, below = readings_told(measure, one.readings), spans(one.readings), one.below
    if isinstance(below, Fork):
        return BranchRow(readings=told, spans=ends, step=below.number, then=f"go to {below.number}")
    left = candidates(below.hypotheses)
    return BranchRow(readings=told, spans=ends, left=left, then="; ".join(map(defects_told, left)))
