"""The screen of `faults`: the harmful rows; harmless ones are only counted."""

from __future__ import annotations

from rich.console import Group
from rich.text import Text

from tapplan.answers.faults import Faults
from tapplan.pages.screens.grid import grid, headline


def screen(answer: Faults, _: int) -> Group:
    """The fault table, the most harmful first."""
    return Group(headline(answer), grid(answer.harmful), Text(answer.told))
