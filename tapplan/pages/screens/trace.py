"""The screen of `trace`: what was made, and the files that hold it."""

from __future__ import annotations

from rich.console import Group
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.trace import MadeTrace
from tapplan.pages.screens.grid import grid, lines

MOST_FILES = 20  # told one by one


def screen(answer: MadeTrace, _: int) -> Group:
    """The sentence, the files, and what is in all of them."""
    volts = [words.number(value, 2) for value in (answer.least_v, answer.mean_v, answer.most_v)]
    told = [
        f"{answer.samples} samples from {answer.begins} to {answer.ends}",
        f"least {volts[0]} V, mean {volts[1]} V, most {volts[2]} V",
    ]
    left = len(answer.files) - MOST_FILES
    if left > 0:
        told.insert(0, f"and {left} files more")
    return Group(Text(answer.headline, style="bold"), Text(""), grid(answer.files[:MOST_FILES]), *lines(told))
