"""The screen of `bands`."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.bands import Bands
from tapplan.pages.screens.grid import grid, headline


def screen(answer: Bands, _: int) -> Group:
    """The derived bands with the room between neighbours, the gaps, and where room is short."""
    parts: list[RenderableType] = [headline(answer), grid(answer.bands), Text(answer.coverage.told)]
    if answer.shortfalls:
        parts.append(Text(answer.shortfalls_told))
    return Group(*parts)
