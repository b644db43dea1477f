"""What a verb returns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from tapplan.cli.output import Draw
from tapplan.pages.answers import Json

if TYPE_CHECKING:
    from rich.console import RenderableType


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer of a verb: for scripts, for people (given the width of their screen), and the exit code.

    `written` is set when the verb has put its answer where it belongs itself.
    """

    answer: Json
    draw: Draw
    code: int = 0
    written: bool = False


def cautioned(renderable: RenderableType) -> RenderableType:
    """A screen with the words of caution under it."""
    from rich.console import Group

    from tapplan.pages import screen

    return Group(renderable, screen.caution())
