"""The screen of thresholds refined on logs: the verdict, the thresholds, what each part of the logs makes of them."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.refined import Refined, RefinedFigures
from tapplan.pages.screens.grid import grid, headline, lines


def screen(answer: Refined, _: int) -> Group:
    """All of it."""
    return Group(headline(answer), *drawn(answer))


def drawn(figures: RefinedFigures) -> list[RenderableType]:
    """The same without a first line, as a part of another screen."""
    parts: list[RenderableType] = [*lines(figures.told)]
    if figures.thresholds:
        told = "\nThresholds between neighbours, before -> found (V as read; overlaps in input volts):"
        parts += [Text(told), grid(figures.thresholds)]
    return [
        *parts,
        Text("\nOn each part of the log:"),
        grid(figures.trials),
        Text(""),
        grid(figures.spans),
        Text("\nThe holds to be used:" if figures.kept else "\nThe holds as they stay:"),
        grid(figures.bands),
    ]
