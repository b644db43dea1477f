"""The files a call writes, kept apart from what it reads: before anything is done with them.

Asked before anything is worked out, and whatever the names are: links, hard links and other ways to one file count
as that file. `--force` does not change it. Only `bands --write` may write the design that it reads, and a session
that is resumed may be kept up in its own file.
"""

from __future__ import annotations

import argparse
import glob
import os
from collections.abc import Iterator
from dataclasses import dataclass

from tapplan.errors import UsageError, escaped

ENDS_OF_LINE = ("\n", "\r")
READ_ONE = ("design", "new", "compare", "learn", "sheet", "priors", "weights")
READ_SEVERAL = ("designs", "beside")
LOGS = ("logs", "log")
OWN = ("design", "resume")  # read, and perhaps written on purpose
WRITTEN = {"output": "-o", "save": "--save", "spread": "--spread", "keep": "--keep"}


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """A file that a call writes: the option, and the name that it was given."""

    option: str
    path: str


def keep_in_line(args: argparse.Namespace) -> None:
    """Refuses a name with an end of line in it: it would make two lines of every message that has it.

    Raises:
        UsageError: there is one.
    """
    own = (getattr(args, name, None) or "" for name in OWN)
    for name in (*own, *_read_by(args), *(one.path for one in _written_by(args))):
        if any(end in name for end in ENDS_OF_LINE):
            raise UsageError(f'found "{escaped(name)}"; accepted: a name in one line')


def keep_apart(args: argparse.Namespace) -> None:
    """Refuses a call that would write a file that it reads, or two things into one file.

    Raises:
        UsageError: it would.
    """
    written = _written_by(args)
    session = getattr(args, "resume", None)
    for one in written:
        if any(is_same(one.path, read) for read in _read_by(args)):
            raise _refused(one, "the very file that is read")
        if any(_lies_in(one.path, folder) for folder in _log_paths(args)):
            raise _refused(one, "a file in the folder of logs that is read")
    for place, one in enumerate(written):
        if one.option == "-o" and session is not None and is_same(one.path, session):
            raise _refused(one, "the file of the session")
        for other in written[place + 1 :]:
            if is_same(one.path, other.path):
                told = "the file of the session" if other.option == "--save" else f"the file of {other.option}"
                raise _refused(one, told)


def look_ahead(args: argparse.Namespace) -> None:
    """Tells what stands in the way of a file before hours of work, not after them.

    Raises:
        OutputError: there is such a file already, or no place for it.
    """
    is_folder = getattr(args, "sites", None) is not None or getattr(args, "to", None) == "firmware"
    for one in _written_by(args):
        if (one.option == "-o" and not is_folder) or one.option == "--spread":
            from tapplan.wholefile import replaceable  # only who writes a file waits for it

            replaceable(one.path, force=args.force)


def is_same(one: str, other: str) -> bool:
    """Whether two names are of one file, there or not."""
    if os.path.realpath(one) == os.path.realpath(other):
        return True
    return os.path.exists(one) and os.path.exists(other) and os.path.samefile(one, other)


def _refused(one: WrittenFile, told: str) -> UsageError:
    return UsageError(f"found {one.option} {escaped(one.path)}, {told}; accepted: another name")


def _written_by(args: argparse.Namespace) -> list[WrittenFile]:
    """The files that a call writes."""
    given = ((option, getattr(args, name, None)) for name, option in WRITTEN.items())
    return [WrittenFile(option, path) for option, path in given if path is not None]


def _read_by(args: argparse.Namespace) -> Iterator[str]:
    """The files that a call reads and must not write; a session that is resumed is none of them."""
    is_written = args.verb == "new" or getattr(args, "write", False)
    for name in READ_ONE:
        path = getattr(args, name, None)
        if path is not None and not (name == "design" and is_written):
            yield path
    for name in READ_SEVERAL:
        yield from getattr(args, name, None) or ()
    yield from _log_paths(args)


def _log_paths(args: argparse.Namespace) -> Iterator[str]:
    """The logs that a call reads: files and folders, patterns as what they stand for."""
    for name in LOGS:
        for path in getattr(args, name, None) or ():
            yield path
            if glob.has_magic(path):
                yield from glob.iglob(path)


def _lies_in(path: str, folder: str) -> bool:
    """Whether a file that is there lies in a folder, or in one within it."""
    if not os.path.isdir(folder) or not os.path.isfile(path):
        return False
    return os.path.realpath(path).startswith(os.path.join(os.path.realpath(folder), ""))
