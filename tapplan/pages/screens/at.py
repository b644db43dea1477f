"""The screens of `at`: single inputs, and sweeps."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.at import LEGEND, Relays, Sweep
from tapplan.pages.screens.grid import grid, headline, lines


def screen(answer: Relays, _: int) -> Group:
    """A line for each way of coming to an input."""
    return Group(headline(answer), grid(answer.courses), Text(LEGEND, style="dim"), *lines(_origin(answer)))


def sweep(answer: Sweep, _: int) -> Group:
    """A line an input, with every change of band marked."""
    parts: list[RenderableType] = [headline(answer)]
    for one in answer.passes:
        parts += [Text(""), grid(one.rows, heading=one.course)]
    return Group(*parts, *lines(_origin(answer)))


def _origin(answer: Relays | Sweep) -> list[str]:
    return [answer.origin_told] if answer.origin_told else []
