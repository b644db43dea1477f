"""The screens of the verb `isolate`: what the readings leave, what to measure next, the whole tree."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.bench.defects import HEALTHY, Hypothesis
from tapplan.bench.isolation import Diagnosis, Next, Reading
from tapplan.bench.measures import EFFORT
from tapplan.bench.tree import Fork, Leaf, Tree, forks
from tapplan.bench.words import asked, hypothesis_told, readings_told, value_told
from tapplan.pages.isolations import mends
from tapplan.pages.screen import headline, plain_table

MOST_SHOWN = 12


def verdict(title: str, found: Diagnosis, taken: tuple[Sequence[Reading], int | None]) -> Group:
    """The readings, and of a sheet how many cells were empty; what they leave, and the next measurement."""
    readings, empty = taken
    parts: list[RenderableType] = [headline(title, "Fault isolation")]
    if readings:
        parts.append(_readings(readings, found.conflict))
    if empty:
        parts.append(Text(f"Of the sheet {empty} lines have no reading."))
    if found.conflict:
        return Group(*parts, _conflict(found))
    parts.append(_groups(found))
    parts += _doubts(found)
    parts.append(_next(found))
    return Group(*parts)


def asking(found: Diagnosis) -> Group:
    """What is most likely so far, and the next measurement, for a dialogue."""
    likely = [f"{hypothesis_told(group.members[0])} ({group.share:.0%})" for group in found.groups[:3]]
    told = f"\n{len(found.groups)} possible; most likely: {', '.join(likely)}"
    return Group(Text(told), *([] if found.next is None else _step(found.next)))


def _readings(readings: Sequence[Reading], conflict: Sequence[int]) -> RenderableType:
    table = plain_table("", "measured", "reading", "" if not conflict else "in conflict")
    for number, one in enumerate(readings, 1):
        value = "unknown" if one.value is None else value_told(one.measure, one.value)
        table.add_row(f"{number}", asked(one.measure), value, "yes" if number - 1 in conflict else "")
    return table


def _conflict(found: Diagnosis) -> Text:
    listed = ", ".join(str(place + 1) for place in found.conflict)
    text = (
        f"\nNo fault on the list explains reading {listed}"
        if len(found.conflict) == 1
        else (f"\nThe readings contradict each other: no fault on the list explains {listed} together")
    )
    return Text(
        text + ". Take them again; if they stand, more than one thing is wrong (--pairs), or the stage is not wired "
        "as the design says."
    )


def _groups(found: Diagnosis) -> RenderableType:
    shown = [group for group in found.groups if group.share >= 0.0005][:MOST_SHOWN]
    table = plain_table("likely", "what explains the readings", "what to do", heading="\nStill possible")
    for group in shown:
        what = "; ".join(hypothesis_told(one) for one in group.members)
        table.add_row(f"{group.share:.1%}", what, "; ".join(mends(group.members)) or "nothing is broken")
    hidden = len(found.groups) - len(shown)
    more = [] if not hidden else [Text(f"and {hidden} more, less likely than these (all with --json)")]
    together = any(len(group.members) > 1 for group in shown)
    same = [Text("What stands in one row cannot be told apart from outside: open the part.")] if together else []
    return Group(table, *more, *same)


def _doubts(found: Diagnosis) -> list[RenderableType]:
    parts: list[RenderableType] = []
    for doubt in found.doubts:
        if sum(len(group.members) for group in found.groups) > 3:
            break  # as long as much is possible, every reading matters
        parts.append(
            Text(f"If reading {doubt.place + 1} were wrong, there would also fit: {_listed(doubt.hypotheses)}.")
        )
    return parts


def _listed(hypotheses: Sequence[Hypothesis]) -> str:
    named = [hypothesis_told(one) for one in hypotheses[:4]]
    more = len(hypotheses) - len(named)
    return "; ".join(named) + (f"; and {more} more" if more else "")


def _next(found: Diagnosis) -> RenderableType:
    if found.next is None:
        if found.barred:
            return Text(
                "\nWhat else would tell needs the line, and while a short is possible the line stays off: rule the "
                "short out first, or open the part."
            )
        certain = len(found.groups) == 1
        return Text("\nNothing more to measure." if certain else "\nNo measurement on the list tells these apart.")
    return Group(*_step(found.next))


def _step(one: Next) -> list[RenderableType]:
    measure = one.entry.measure
    parts: list[RenderableType] = [Text(f"\nNext: {asked(measure)}", style="bold"), Text(_price(one))]
    table = plain_table("if it reads", "that fits")
    for left in one.leaves:
        healthy = [HEALTHY] if HEALTHY in left.hypotheses else []
        faults = [each for each in left.hypotheses if each]
        table.add_row(readings_told(measure, left.readings), _listed([*healthy, *faults]))
    return [*parts, table]


def _price(one: Next) -> str:
    most = max(EFFORT.values())
    text = f"It is worth {one.bits:.2f} bits, at an effort of {one.entry.measure.effort} of {most}."
    if one.volts is not None:
        text += f" Up to {float(one.volts):.0f} V can stand somewhere on the winding: treat every terminal as live."
    return text


def tree(title: str, found: Tree) -> Group:
    """Every step with its outcomes, by number."""
    if isinstance(found.root, Leaf):
        told = "; ".join(hypothesis_told(one) for one in found.root.hypotheses)
        return Group(headline(title, "Decision tree"), Text(f"Nothing more to measure: {told}."))
    steps = sorted(forks(found.root), key=lambda one: one.number)
    told = f"{len(steps)} steps; on average {found.mean:.1f} measurements lead to the end, at worst {found.worst}."
    parts: list[RenderableType] = [headline(title, "Decision tree"), Text(told)]
    parts.append(
        Text(
            "Begin with step 1. Ways in which a fault shows itself less than once in a hundred are left out; a "
            "reading that no line names calls for `isolate` with all readings."
        )
    )
    for node in steps:
        parts.append(Text(f"\n{node.number}. {asked(node.measure)}", style="bold"))
        table = plain_table("   if it reads", "then")
        for branch in node.branches:
            table.add_row("   " + readings_told(node.measure, branch.readings), _then(branch.below))
        parts.append(table)
    return Group(*parts)


def _then(below: Fork | Leaf) -> str:
    if isinstance(below, Fork):
        return f"go to {below.number}"
    return "; ".join(hypothesis_told(one) for one in below.hypotheses)
