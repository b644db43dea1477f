"""The screen of `states`."""

from __future__ import annotations

from dataclasses import replace

from rich.console import Group
from rich.text import Text

from tapplan.answers.states import StateRow, States
from tapplan.pages.screens.grid import grid, headline

MOST_NAMED = 6  # relays that make no difference, beyond which only the ends of the list are named


def screen(answer: States, _: int) -> Group:
    """Every relay state, or every distinct circuit, with its path."""
    rows = [replace(row, any=_few(row)) for row in answer.states]
    return Group(headline(answer), grid(rows), Text(answer.total_told))


def _few(one: StateRow) -> tuple[str, ...] | None:
    names = one.any
    if names is None or len(names) <= MOST_NAMED:
        return names
    return (*names[: MOST_NAMED - 1], f"... {names[-1]} ({len(names)})")
