"""Answers of several files: a directory that is written whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from tapplan.errors import OutputError, escaped
from tapplan.wholefile import write_folder


def write_directory(path: str, texts: Mapping[str, str], *, force: bool) -> None:
    """Writes text files into a new directory in one step; one that is there is replaced only with `force`.

    With `force` too, a directory is kept that holds anything that an export of this kind does not write: its files
    are somebody's own.

    Raises:
        OutputError: the directory is there already, or cannot be written. Nothing is left half-written.
    """
    target = Path(path)
    try:
        _judge(target, path, texts, force=force)
        write_folder(target.resolve(), {name: text.encode("utf-8") for name, text in texts.items()})
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{escaped(path)}: cannot be written ({reason})") from None


def _judge(target: Path, path: str, texts: Mapping[str, str], *, force: bool) -> None:
    """Whether the place is free, or may be made so."""
    if not target.exists():
        return
    if not target.is_dir():
        raise OutputError(f"{escaped(path)}: found a file; accepted: the name of a directory")
    if not force:
        raise OutputError(f"{escaped(path)}: found a directory of that name; it is kept unless --force is given")
    foreign = sorted(one.name for one in target.iterdir() if not (_alike(one.name, texts) and one.is_file()))
    if foreign:
        raise OutputError(
            f"{escaped(path)}: found {escaped(foreign[0])} in it, which this export does not write; "
            "accepted: a directory with nothing but an earlier export, or a new one"
        )


def _alike(name: str, texts: Mapping[str, str]) -> bool:
    """Whether a file is one of these, or one that they would be called for another revision of the design."""
    endings = {Path(one).suffix for one in texts if one.startswith("tapplan_")}
    return name in texts or (name.startswith("tapplan_") and Path(name).suffix in endings)
