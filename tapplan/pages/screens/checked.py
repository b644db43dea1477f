"""The screens of `check` for several designs: the verdict on each, short or in full."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from tapplan.answers.checked import Checked
from tapplan.pages.screens import verdict
from tapplan.pages.screens.findings import each
from tapplan.pages.screens.grid import headline

INDENTED = (0, 0, 0, 4)


def screen(answer: Checked, _: int) -> Group:
    """The verdict on each design, the faults of those that are not sound, and how many are."""
    parts: list[RenderableType] = [headline(answer)]
    for one in answer.designs:
        told = one.told if one.error is None else f"{one.told}: {one.error}"
        parts += [Text(one.design, style="bold"), Padding(Text(told), INDENTED)]
        parts += [Padding(Text(one.counts), INDENTED)] if one.counts else []
        parts += [Padding(Group(*each(one.faults)), INDENTED)] if one.faults else []
    return Group(*parts, Text(answer.told, style="bold"))


def everything(answer: Checked, width: int) -> Group:
    """Each verdict in full."""
    parts: list[RenderableType] = []
    for one in answer.designs:
        if one.verdict is not None:
            parts += [Text(f"\n{one.design}", style="bold"), verdict.everything(one.verdict, width)]
    return Group(*parts, Text(f"\n{answer.told}", style="bold"))
