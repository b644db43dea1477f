"""Where logs lie: files and folders of this machine, or of any store that fsspec knows by a URL.

Local files need no fsspec. Everything that can go wrong outside the log itself becomes a LogError here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from tapplan.errors import MOST_FOUND, LogError, TapplanError, escaped, shortened
from tapplan.logs.told import refusal

INSTALL = "pip install 'tapplan[logs]'"
TOLD_BY_STORE = ("ETag", "etag", "mtime", "LastModified", "last_modified", "updated", "created")


@dataclass(frozen=True, slots=True)
class Stand:
    """One file of a log as it lies there: its size, and a mark that is another once it has been written anew."""

    path: str
    bytes: int
    changed: str


def is_url(path: str) -> bool:
    """Whether a path names a store, as in s3://bucket/log.csv."""
    return re.match(r"[A-Za-z][A-Za-z0-9+.:-]+://", path) is not None


def stand_of(path: str) -> Stand:
    """Size and mark of a file.

    Raises:
        LogError: there is no such file, or it is a folder.
    """
    with clear(path):
        if is_url(path):
            told = _store(path).info(_inside(path))
            if told.get("type") == "directory":
                raise IsADirectoryError
            return Stand(
                path, int(told.get("size") or 0), next((str(told[key]) for key in TOLD_BY_STORE if key in told), "")
            )
        if Path(path).is_dir():
            raise IsADirectoryError
        said = Path(path).stat()
        return Stand(path, said.st_size, str(said.st_mtime_ns))


def is_folder(path: str) -> bool:
    """Whether there is a folder at this path.

    Raises:
        LogError: there is nothing at all.
    """
    with clear(path):
        if is_url(path):
            told = _store(path)
            if not told.exists(_inside(path)):
                raise FileNotFoundError
            return bool(told.isdir(_inside(path)))
        if not Path(path).exists():
            raise FileNotFoundError
        return Path(path).is_dir()


def beneath(folder: str) -> tuple[str, ...]:
    """Every file in a folder and in those within it, as paths from there, parted by "/", in natural order."""
    with clear(folder):
        if is_url(folder):
            top = _inside(folder).rstrip("/")
            inner = [path.removeprefix(top).lstrip("/") for path in _store(folder).find(_inside(folder))]
        else:
            top_path = Path(folder)
            inner = [path.relative_to(top_path).as_posix() for path in top_path.rglob("*") if path.is_file()]
    return tuple(sorted(inner, key=natural))


def matching(pattern: str) -> tuple[str, ...]:
    """The paths that a pattern with * or ? stands for, in natural order; a path that is there stands for itself."""
    if not re.search(r"[*?\[]", pattern):
        return (pattern,)
    with clear(pattern):
        if is_url(pattern):
            store = _store(pattern)
            found = [store.unstrip_protocol(path) for path in store.glob(_inside(pattern))]
        else:
            there = Path(pattern)
            found = [pattern] if there.exists() else _local_matches(there)
    if not found:
        raise refusal(pattern, "nothing there has such a name", "files and folders of logs")
    return tuple(sorted(found, key=natural))


@contextmanager
def opened(path: str) -> Iterator[BinaryIO]:
    """A file to be read; it is closed at the end.

    Raises:
        LogError: it cannot be opened, whatever the reason.
    """
    with clear(path):
        file = _store(path).open(_inside(path), "rb") if is_url(path) else open(path, "rb")  # noqa: SIM115 - see below
    with file:
        yield file


@contextmanager
def clear(path: str) -> Iterator[None]:
    """Whatever goes wrong when a path is looked up, as one clear error."""
    try:
        yield
    except TapplanError:
        raise
    except FileNotFoundError:
        raise refusal(path, "there is no such file or folder", "a CSV or Parquet file, or a folder of them") from None
    except IsADirectoryError:
        raise refusal(path, "it is a folder", "a file") from None
    except Exception as error:  # a store's own library may raise anything
        raise unreadable(path, error) from error


def unreadable(path: str, error: Exception) -> LogError:
    """The error of a file that cannot be read to its end, with the first line of what is said about it."""
    said = (str(error).strip() or type(error).__name__).splitlines()[0]
    plain = shortened(re.sub(r"\b[A-Za-z]+Exception: ", "", said), MOST_FOUND)  # a library's own types say nothing
    return LogError(f"{escaped(path)}: cannot be read: {escaped(plain)}")


def natural(path: str) -> list[int | str]:
    """A key by which part-2 stands before part-10."""
    return [int(part) if place % 2 else part for place, part in enumerate(re.split(r"([0-9]+)", path))]


def _local_matches(pattern: Path) -> list[str]:
    anchor = Path(pattern.anchor) if pattern.anchor else Path()
    return [str(path) for path in anchor.glob(str(pattern.relative_to(anchor) if pattern.anchor else pattern))]


def _store(path: str) -> Any:
    """The file system of a URL, as fsspec opens it."""
    try:
        from fsspec.core import url_to_fs  # only logs in a store need it
    except ImportError:
        raise LogError(f"{escaped(path)}: a log in a store needs fsspec: {INSTALL}") from None
    return url_to_fs(path)[0]


def _inside(path: str) -> str:
    """The path within the store."""
    from fsspec.core import url_to_fs  # loaded by `_store`

    return str(url_to_fs(path)[1])
