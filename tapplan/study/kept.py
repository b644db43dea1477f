"""A search that is kept in a file, so that it goes on where it ended: one line for each wiring searched.

The first line names the request by a mark of all that it asks; a file of another request is refused. A last line that
was cut off is not read, and its wiring searched again.
"""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from math import inf
from pathlib import Path

from tapplan.errors import DesignError, OutputError, Problem, escaped
from tapplan.sealed import add_line, sealed, unsealed
from tapplan.study.fitting import Searched
from tapplan.study.request import Request
from tapplan.wholefile import write_bytes

KIND = "tapplan fit, kept"


def mark_of(request: Request) -> str:
    """A mark of a request; two that ask the same have the same."""
    return sha256(repr(request).encode()).hexdigest()[:16]


def read_kept(path: str, request: Request) -> tuple[Searched, ...]:
    """The wirings searched before; none where the file is not there yet.

    Raises:
        DesignError: it cannot be read, is no such file, or is kept for another request.
    """
    file = Path(path)
    if not file.exists():
        return ()
    try:
        first, *lines = file.read_text(encoding="utf-8").split("\n")
        head = unsealed(first)
    except (OSError, ValueError) as error:
        raise _refused(path, "a file that cannot be read as a kept search", 1) from error
    if head.get("kind") != KIND:
        raise _refused(path, "no kept search", 1)
    if head.get("request") != mark_of(request):
        raise _refused(path, "the search of another request", 1)
    return tuple(_searched(path, line, number) for number, line in enumerate(lines[:-1], 2))


def _searched(path: str, line: str, number: int) -> Searched:
    try:
        found = unsealed(line)
        turns, open_score = found["turns"], found["open"]
        values = None if turns is None else tuple(int(one) for one in turns)
        return Searched(int(found["wiring"]), values, -inf if open_score is None else float(open_score))
    except (ValueError, KeyError, TypeError) as error:
        raise _refused(path, "a line that is no searched wiring", number) from error


def _refused(path: str, found: str, line: int) -> DesignError:
    accepted = "a file that --keep wrote for this request, or a name that is free"
    return DesignError(path, (Problem("", found, accepted, line),))


def keeper(path: str, request: Request) -> Callable[[Searched], None]:
    """What writes each wiring searched into the file, a line at once.

    Raises:
        OutputError: the file cannot be written, at once or at some wiring.
    """
    file = Path(path)
    head = sealed({"kind": KIND, "request": mark_of(request)})
    try:
        whole = file.read_bytes() if file.exists() else head.encode()
    except OSError as error:
        raise _unwritable(path, error) from None
    write_bytes(path, whole[: whole.rfind(b"\n") + 1], force=True)

    def keep(one: Searched) -> None:
        told = {"wiring": one.place, "turns": one.values, "open": None if one.open_score == -inf else one.open_score}
        try:
            add_line(path, sealed(told))
        except OSError as error:
            raise _unwritable(path, error) from None

    return keep


def _unwritable(path: str, error: OSError) -> OutputError:
    return OutputError(f"{escaped(path)}: cannot be written ({error.strerror or error})")
