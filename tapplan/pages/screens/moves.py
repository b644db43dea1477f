"""The screen of `moves`."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.moves import LEGEND, Moves
from tapplan.pages.screens.grid import grid, headline


def screen(answer: Moves, _: int) -> Group:
    """Every move as it is commanded, with what its relays can pass through, and the safest order with its price."""
    parts: list[RenderableType] = [headline(answer), grid(answer.moves), Text(LEGEND)]
    if answer.choices:
        parts += [Text("\nThe safest order of the relays, where several move", style="bold"), grid(answer.choices)]
    return Group(*parts)
