"""What a verb returns."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING

from tapplan.errors import visible

if TYPE_CHECKING:
    from rich.console import RenderableType

    from tapplan.answers.answer import Answer

Draw = Callable[[int], "RenderableType | str"]


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer of a verb and how it is drawn for people, given the width of their screen.

    `written` is set when the verb has put its answer where it belongs itself. `document` is set for an answer that is
    a text by itself, such as a page, a sheet or a table in C: with `-o FILE` that goes into the file.
    """

    answer: Answer
    draw: Draw
    written: bool = False
    document: str | None = None


def on_screen(answer: Answer, module: str, function: str = "screen") -> Reply:
    """An answer drawn by a module of `tapplan.pages.screens`, with its words of caution under it.

    The module is looked up when somebody looks, so that scripts do not wait for rich.
    """

    def draw(width: int) -> RenderableType:
        from rich.console import Group

        drawn = getattr(import_module(f"tapplan.pages.screens.{module}"), function)(answer, width)
        if not answer.caution:
            return drawn  # type: ignore[no-any-return]
        from tapplan.pages.screens.grid import caution

        return Group(drawn, caution(answer.caution))

    return Reply(answer, draw)


def as_text(answer: Answer, text: str) -> Reply:
    """An answer that is a text, for people too."""
    return Reply(answer, lambda _: text, document=text)


def written(answer: Answer, told: str) -> Reply:
    """An answer that the verb has written where it belongs, and the sentence that says so.

    That names files, so what a terminal would obey is shown as escapes.
    """
    shown = visible(told)
    return Reply(answer, lambda _: shown, written=True)
