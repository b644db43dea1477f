"""The screen of `at --sweep`: slow passes over a stretch of the line."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.sweep import Sweep
from tapplan.pages.screens.grid import grid, headline, lines


def screen(answer: Sweep, _: int) -> Group:
    """A line an input, with every change of band marked."""
    parts: list[RenderableType] = [headline(answer)]
    for one in answer.passes:
        parts += [Text(""), grid(one.rows, heading=one.course)]
    return Group(*parts, *lines([answer.origin_told] if answer.origin_told else []))
