"""The screen of `steps`: the worst step from each band on each side of the curve; the worst of all as a picture."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.steps import Drawing, Steps
from tapplan.pages.screens.envelope import LEGEND, envelope
from tapplan.pages.screens.grid import grid, headline, lines

WIDEST = 100
JUDGED = "A level is judged by how long it, or a worse one, lasts without a break, wherever that lies in time."


def screen(answer: Steps, width: int) -> Group:
    """All of it; last a word on inputs that no band holds."""
    parts: list[RenderableType] = [headline(answer), grid(answer.worst), *lines(answer.told)]
    if answer.drawing is not None:
        parts += _picture(answer.drawing, min(width, WIDEST))
    if answer.unheld_inputs:
        parts.append(Text("Steps to inputs that no band holds are not followed; `tapplan table` lists those."))
    return Group(*parts)


def _picture(drawing: Drawing, width: int) -> list[RenderableType]:
    picture = Text("\n".join(envelope(drawing, width)))
    return [Text(f"\n{drawing.told}"), picture, Text(f"{LEGEND}\n{JUDGED}", style="dim")]
