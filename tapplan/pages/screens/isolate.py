"""The screens of `isolate`: what the readings leave, what to measure next, the whole tree, and a dialogue."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.isolate import Isolated
from tapplan.answers.isolaterows import NextRow
from tapplan.answers.plan import BenchPlan
from tapplan.answers.tree import Grown
from tapplan.pages.screens.grid import grid, headline, lines


def screen(answer: Isolated, _: int) -> Group:
    """The readings; what they leave, and the next measurement."""
    parts: list[RenderableType] = [headline(answer)]
    if answer.readings:
        parts.append(grid(answer.readings))
    if answer.cells_empty:
        parts.append(Text(answer.empty_told))
    parts += lines([one for one in (answer.verdict_told, answer.conflict_told) if one])
    parts += [grid(answer.shown, heading="\nStill possible"), *lines(answer.groups_told), *lines(answer.doubts_told)]
    parts += [Text(f"\n{answer.end_told}")] if answer.next is None else _next(answer.next)
    return Group(*parts)


def asking(answer: Isolated, where: Sequence[str] = ()) -> Group:
    """What is most likely so far, and the next measurement with where the probes go, for a dialogue."""
    return Group(Text(f"\n{answer.likely_told}"), *([] if answer.next is None else _next(answer.next, where)))


def _next(one: NextRow, where: Sequence[str] = ()) -> list[RenderableType]:
    return [
        Text(f"\nNext: {one.asked}", style="bold"),
        *lines(where),
        Text(one.worth),
        grid(one.shown),
        *lines(one.hidden_told),
    ]


def tree(answer: Grown, _: int) -> Group:
    """Every step with its outcomes, by number."""
    parts: list[RenderableType] = [headline(answer), *lines(answer.told)]
    for step in answer.tree.steps:
        parts += [Text(f"\n{step.step}. {step.asked}", style="bold"), grid(step.outcomes)]
    return Group(*parts)


def plan(answer: BenchPlan, _: int) -> Group:
    """Every line of the plan: what passes, and what failing it means."""
    parts: list[RenderableType] = [headline(answer), *lines(answer.told)]
    for line in answer.lines:
        head = f"\n{line.line}. {line.asked} Passes: {line.passes}."
        parts += [Text(head, style="bold"), grid(line.means)]
    return Group(*parts)
