"""Where answers go: standard output, or a file that is written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from tapplan.errors import OutputError

if TYPE_CHECKING:
    from tapplan.cli.reply import Draw

PIPE_WIDTH = 160
FILE_WIDTH = 120


def write_whole(path: str, text: str, *, force: bool) -> None:
    """Writes a text file in one step; an existing file is replaced only with `force`.

    Raises:
        OutputError: the file is there already, or cannot be written. Nothing is left half-written.
    """
    write_bytes(path, text.encode("utf-8"), force=force)


def write_bytes(path: str, content: bytes, *, force: bool) -> None:
    """As `write_whole`, for what is no text."""
    target = Path(path)
    try:
        if target.is_dir():
            raise OutputError(f"{path}: found a directory; accepted: a file name")
        if target.exists() and not force:
            raise OutputError(f"{path}: found a file of that name; it is kept unless --force is given")
        if target.exists() and not target.is_file():
            raise OutputError(f"{path}: found a pipe or device; accepted: the name of an ordinary file")
        target = target.resolve()
        _replace(target, content)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{path}: cannot be written ({reason})") from None


def _replace(target: Path, content: bytes) -> None:
    mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
    handle, name = tempfile.mkstemp(prefix=".tapplan-", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        if target.exists() and target.stat().st_nlink > 1:  # known by several names: all must see the new content
            shutil.copyfile(name, target)
            Path(name).unlink()
            return
        Path(name).chmod(mode)
        if target.exists():
            _keep_owner(Path(name), target.stat())
        Path(name).replace(target)
    except BaseException:  # even an interrupt must leave no half-written file behind
        Path(name).unlink(missing_ok=True)
        raise


def _keep_owner(new: Path, old: os.stat_result) -> None:
    """The owner of a file that is replaced, where the system lets it be given; where not, the writer's."""
    if hasattr(os, "chown") and (old.st_uid, old.st_gid) != (os.geteuid(), os.getegid()):
        with contextlib.suppress(PermissionError):
            os.chown(new, old.st_uid, old.st_gid)


def _umask() -> int:
    current = os.umask(0o022)
    os.umask(current)
    return current


def show(draw: Draw) -> None:
    """Shows what `draw` makes for the width of standard output.

    A terminal gets colour and its own width; a pipe gets plain text of `PIPE_WIDTH`, or of COLUMNS if set.
    """
    from rich.console import Console  # not needed for JSON

    if sys.stdout.isatty():
        console = Console(highlight=False, emoji=False)
        drawn = draw(console.width)
        if not isinstance(drawn, str):
            console.print(drawn)
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
        console.print(drawn)
    return "\n".join(line.rstrip() for line in captured.get().splitlines()) + "\n"
