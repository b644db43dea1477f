"""Answers of several files: a directory that is written whole or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from tapplan.errors import OutputError


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
        _replace(target.resolve(), texts)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{path}: cannot be written ({reason})") from None


def _judge(target: Path, path: str, texts: Mapping[str, str], *, force: bool) -> None:
    """Whether the place is free, or may be made so."""
    if not target.exists():
        return
    if not target.is_dir():
        raise OutputError(f"{path}: found a file; accepted: the name of a directory")
    if not force:
        raise OutputError(f"{path}: found a directory of that name; it is kept unless --force is given")
    foreign = sorted(one.name for one in target.iterdir() if not (_alike(one.name, texts) and one.is_file()))
    if foreign:
        raise OutputError(
            f"{path}: found {foreign[0]} in it, which this export does not write; accepted: a directory with nothing "
            "but an earlier export, or a new one"
        )


def _alike(name: str, texts: Mapping[str, str]) -> bool:
    """Whether a file is one of these, or one that they would be called for another revision of the design."""
    endings = {Path(one).suffix for one in texts if one.startswith("tapplan_")}
    return name in texts or (name.startswith("tapplan_") and Path(name).suffix in endings)


def _replace(target: Path, texts: Mapping[str, str]) -> None:
    fresh = Path(tempfile.mkdtemp(prefix=".tapplan-", dir=target.parent))
    try:
        for name, text in texts.items():
            (fresh / name).write_bytes(text.encode("utf-8"))
        fresh.chmod(0o777 & ~_umask())
        if target.exists():
            _swap(fresh, target)
        else:
            fresh.rename(target)
    except BaseException:  # even an interrupt must leave no half-written directory behind
        shutil.rmtree(fresh, ignore_errors=True)
        raise


def _swap(fresh: Path, target: Path) -> None:
    """The new directory in the place of the old one, which comes back if the new one cannot go there."""
    aside = Path(tempfile.mkdtemp(prefix=".tapplan-", dir=target.parent))
    try:
        target.replace(aside)
    except BaseException:
        aside.rmdir()
        raise
    try:
        fresh.rename(target)
    except BaseException:
        aside.replace(target)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _umask() -> int:
    current = os.umask(0o022)
    os.umask(current)
    return current
