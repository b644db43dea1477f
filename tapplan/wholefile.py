"""Files that are written whole or not at all: the one place where tapplan puts a file on a disk.

What is written goes into a file of a short hidden name beside the target (`.tapplan-`, a mark of the target's name, a
random end, `.new`), is forced onto the disk, and takes the target's place in one step. Whatever ends the writing, an
error, Ctrl-C or a signal to end, that file is taken away again. Only a process that is killed outright, or a machine
without power, can leave it behind; the next writing of the same target takes away what no living process holds.

A file that is replaced keeps its mode and, where the system lets it be given away, its owner; a symbolic link stays
and leads to the new content. A file with several names (hard links) cannot be replaced without losing the others, so
its content is written over in place: room is set aside first, and what was there is kept in a second file (`.old`)
until the new content is on the disk, and put back if that fails.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import signal
import stat
import threading
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from types import FrameType
from typing import IO

from tapplan.errors import OutputError, escaped

try:
    import fcntl
except ImportError:  # not a POSIX system: there an open file cannot be taken away anyway
    fcntl = None  # type: ignore[assignment]

PREFIX, NEW, OLD = ".tapplan-", ".new", ".old"
ENDING = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


def write_bytes(path: str, content: bytes, *, force: bool) -> None:
    """Writes a file in one step; one that is there is replaced only with `force`.

    Raises:
        OutputError: the file is there already, or cannot be written. Nothing is left half-written.
    """
    with whole_file(path, force=force) as stream:
        stream.write(content)


@contextlib.contextmanager
def whole_file(path: str, *, force: bool) -> Iterator[IO[bytes]]:
    """A stream into a file that is there, with all of it, when the block ends well, and else is as it was.

    An existing file is replaced only with `force`.

    Raises:
        OutputError: there is such a file already, or it cannot be written.
    """
    try:
        target = replaceable(path, force=force)
        with _ended_tidily(), _beside(target) as stream:
            yield stream
    except OSError as error:
        raise _unwritable(path, error.strerror or str(error)) from None


def replaceable(path: str, *, force: bool) -> Path:
    """The file that a name leads to, where it may be written.

    Raises:
        OutputError: it may not: a folder, a device, or without `force` a file that is there.
    """
    there = _status(path)
    ends = (os.sep, os.altsep or os.sep)
    if there is not None and stat.S_ISDIR(there.st_mode):
        raise OutputError(f"{escaped(path)}: found a directory; accepted: a file name")
    if not path or path.endswith(ends):
        raise OutputError(f'found "{escaped(path)}" as the name of a file; accepted: a file name')
    if there is not None and not force:
        raise OutputError(f"{escaped(path)}: found a file of that name; it is kept unless --force is given")
    if there is not None and not stat.S_ISREG(there.st_mode):
        raise OutputError(f"{escaped(path)}: found a pipe or device; accepted: the name of an ordinary file")
    return Path(os.path.realpath(path))


def _status(path: str) -> os.stat_result | None:
    """What stands at a path; None where nothing does, as behind a link that leads nowhere."""
    if "\0" in path:
        raise _unwritable(path, "a name holds no NUL")
    try:
        return os.stat(path)
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise _unwritable(path, getattr(error, "strerror", None) or str(error)) from None


def _unwritable(path: str, reason: str) -> OutputError:
    return OutputError(f"{escaped(path)}: cannot be written ({reason})")


# --- under another name beside it ---


@contextlib.contextmanager
def _beside(target: Path) -> Iterator[IO[bytes]]:
    """A stream into a new file beside the target, which takes its place when the block ends well."""
    _clear(target, NEW)
    with _spare(target, NEW) as (fresh, stream):
        yield stream
        _onto_the_disk(stream)
        if _names(target) > 1:
            _write_over(target, fresh)
        else:
            _dress(fresh, target)
            fresh.replace(target)
    _onto_the_disk_by_name(target.parent)
    _clear(target, OLD)


@contextlib.contextmanager
def _spare(target: Path, ending: str) -> Iterator[_Spare]:
    """A new file beside the target, held by a lock that a killed process loses; it is gone when the block ends."""
    spare = target.parent / f"{_mark(target)}{secrets.token_hex(4)}{ending}"
    try:
        handle = os.open(spare, os.O_CREAT | os.O_EXCL | os.O_RDWR | getattr(os, "O_BINARY", 0), 0o600)
        with os.fdopen(handle, "wb") as stream:
            _lock(stream)
            yield _Spare(spare, stream)
    finally:  # even an interrupt must leave no half-written file behind
        spare.unlink(missing_ok=True)
