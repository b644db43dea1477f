"""The screen of `standards`."""

from __future__ import annotations

from rich.console import Group
from rich.text import Text

from tapplan.answers.standards import Standards
from tapplan.pages.screens.grid import grid


def screen(answer: Standards, _: int) -> Group:
    """The published supplies and tolerance curves with their sources."""
    return Group(
        Text('Supply ranges, for [mains] standard = "KEY"', style="bold"),
        grid(answer.supplies),
        Text("\nTolerance curves (percent of nominal, from the time given)", style="bold"),
        grid(answer.curves),
        Text('"memory" and "quoted": the text of the standard was not at hand; confirm before relying on it.'),
    )
