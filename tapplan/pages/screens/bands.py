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
        heading = "No choice of states leaves all neighbours the hysteresis and noise margin asked for:"
        parts.append(Text("\n".join([heading, *(f"  {one.told}" for one in answer.shortfalls)])))
    return Group(*parts)
