"""Where answers go: standard output, or a file that is written whole or not at all."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from tapplan.errors import visible

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.segment import Segments

    from tapplan.cli.reply import Draw

PIPE_WIDTH = 160
FILE_WIDTH = 120


def write_whole(path: str, text: str, *, force: bool) -> None:
    """Writes a text file in one step; an existing file is replaced only with `force`.

    Raises:
        OutputError: the file is there already, or cannot be written. Nothing is left half-written.
    """
    from tapplan.wholefile import write_bytes  # only who writes a file waits for it

    write_bytes(path, text.encode("utf-8", "backslashreplace"), force=force)


def show(draw: Draw) -> None:
    """Shows what `draw` makes for the width of standard output.

    A terminal gets colour and its own width; a pipe gets plain text of `PIPE_WIDTH`, or of COLUMNS if set.
    """
    from rich.console import Console  # not needed for JSON

    if sys.stdout.isatty():
        console = Console(highlight=False, emoji=False)
        drawn = draw(console.width)
        if not isinstance(drawn, str):
            console.print(_visible(console, drawn))
            return
    sys.stdout.write(as_text(draw, _pipe_width()))


def _pipe_width() -> int:
    asked = os.environ.get("COLUMNS", "")
    return int(asked) if asked.isdecimal() and int(asked) >= 20 else PIPE_WIDTH


def as_text(draw: Draw, width: int = FILE_WIDTH) -> str:
    """What `draw` makes as plain text: no colour, no trailing blanks."""
    from rich.console import Console

    drawn = draw(width)
    if isinstance(drawn, str):
        return drawn if drawn.endswith("\n") else drawn + "\n"
    console = Console(width=width, color_system=None, highlight=False, emoji=False, force_terminal=False)
    with console.capture() as captured:
        console.print(_visible(console, drawn))
    return "\n".join(line.rstrip() for line in captured.get().splitlines()) + "\n"


def _visible(console: Console, drawn: RenderableType) -> Segments:
    """What is drawn, with anything in its texts that a terminal would obey as escapes: logs have names too."""
    from rich.segment import Segment, Segments

    drawn_as = console.render(drawn)
    return Segments(one if one.control else Segment(visible(one.text), one.style) for one in drawn_as)
