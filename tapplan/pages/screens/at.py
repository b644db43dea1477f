"""The screen of `at`: single inputs."""

from __future__ import annotations

from rich.console import Group
from rich.text import Text

from tapplan.answers.at import LEGEND, Relays
from tapplan.pages.screens.grid import grid, headline, lines


def screen(answer: Relays, _: int) -> Group:
    """A line for each way of coming to an input."""
    origin = [answer.origin_told] if answer.origin_told else []
    return Group(headline(answer), grid(answer.courses), Text(LEGEND, style="dim"), *lines(origin))
