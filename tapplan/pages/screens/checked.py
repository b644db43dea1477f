"""The screens of `check` for several designs: a line each, or each verdict in full."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.checked import Checked
from tapplan.pages.screens import verdict
from tapplan.pages.screens.findings import each
from tapplan.pages.screens.grid import grid, headline


def screen(answer: Checked, _: int) -> Group:
    """A line a design, the faults of those that are not sound, and how many are."""
    parts: list[RenderableType] = [headline(answer), grid(answer.designs)]
    for one in answer.designs:
        faults = [] if one.verdict is None else [row for row in one.verdict.urgent if row.severity == "fault"]
        if faults:
            parts += [Text(f"\n{one.design}", style="bold"), *each(faults)]
    return Group(*parts, Text(answer.told, style="bold"))


def everything(answer: Checked, width: int) -> Group:
    """Each verdict in full."""
    parts: list[RenderableType] = []
    for one in answer.designs:
        if one.verdict is not None:
            parts += [Text(f"\n{one.design}", style="bold"), verdict.everything(one.verdict, width)]
    return Group(*parts, Text(f"\n{answer.told}", style="bold"))
