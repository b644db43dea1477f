"""Reading a design file: bytes to text to tables to a Design, or one DesignError with every problem found."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, DecimalException
from pathlib import Path as FilePath
from typing import Any

from tapplan.design.model import Design, Fit
from tapplan.design.objection import Objection
from tapplan.design.reader import read_table
from tapplan.design.sense.rules import objections
from tapplan.design.supplied import supplied
from tapplan.errors import DesignError, Problem, TableError

LARGEST_FILE = 1_000_000
MOST_NESTED = 30
MOST_IN_LINE = 1000  # parts of a key between braces, where a text in quotes might look like one
_PART = r"""(?>[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DOTTED = rf"[ \t]*+{_PART}(?:[ \t]*+\.[ \t]*+{_PART})"
# Keys of many parts, for which the parser would take memory and time by the square of their number.
LONG_KEY = re.compile(rf"^[ \t]*+\[?+\[?+{_DOTTED}{{{MOST_NESTED}}}|[{{,]{_DOTTED}{{{MOST_IN_LINE}}}", re.MULTILINE)


def load(path: str | FilePath) -> Design:
    """The design in the file.

    Raises:
        DesignError: the file cannot be read or means nothing; carries every problem found.
    """
    design = parse(read_text(path), str(path))
    if not design.windings:
        raise _unreadable(path, "a request for fit, with no [[winding]]", "a design; `tapplan fit` answers a request")
    return design


@dataclass(frozen=True, slots=True)
class Asked:
    """A request: what a stage must do, and what may be chosen for it."""

    design: Design
    fit: Fit


def load_request(path: str | FilePath) -> Asked:
    """A request for `fit`: a design file with [fit], without winding, relay or band; and its [fit].

    Raises:
        DesignError: as `load`; also when [fit] is missing, or what it should choose is there already.
    """
    design = parse(read_text(path), str(path))
    if design.fit is None:
        raise _unreadable(path, "no [fit]", "a request: [fit] with total_turns, and no winding, relay or band")
    for key, there in (("winding", design.windings), ("relay", design.relays), ("band", design.bands)):
        if there:
            raise _unreadable(path, f"[[{key}]] beside [fit]", "a request without it: fit chooses turns and wiring")
    return Asked(design, design.fit)


@dataclass(frozen=True, slots=True)
class Frame:
    """What is asked of a stage that is not known yet, and the text that says it."""

    text: str
    design: Design


def load_frame(path: str | FilePath) -> Frame:
    """What is asked of a stage that is not known yet: a design file in which winding and relays may be missing.

    Raises:
        DesignError: as `load`.
    """
    text = read_text(path)
    return Frame(text, _parsed(text, str(path), frame=True))


DESIGN_FILE = "a design file in TOML that can be read"


def read_text(path: str | FilePath, accepted: str = DESIGN_FILE) -> str:
    """The text of a design file, or of another that is `accepted`, lines ending in one character.

    Raises:
        DesignError: it is missing, a directory, forbidden, too large, or not UTF-8 text.
    """
    file = FilePath(path)
    try:
        with file.open("rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
    except IsADirectoryError:
        raise _unreadable(path, "a directory", accepted) from None
    except FileNotFoundError:
        raise _unreadable(path, "no such file", accepted) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _unreadable(path, f"a file that cannot be read ({reason})", accepted) from None
    if len(raw) > LARGEST_FILE:
        raise _unreadable(path, "more than 1 MB", f"{accepted}, at most 1 MB")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise _unreadable(path, f"byte 0x{raw[error.start]:02x}", "text in UTF-8", line) from None


def _unreadable(path: str | FilePath, found: str, accepted: str, line: int | None = None) -> DesignError:
    return DesignError(str(path), (Problem("", found, accepted, line),))


def parse(text: str, file: str = "<design>") -> Design:
    """The design in a text; `file` names it in messages.

    Raises:
        DesignError: the text means nothing; carries every problem found.
    """
    return _parsed(text, file, frame=False)


def _parsed(text: str, file: str, *, frame: bool) -> Design:
    """The design in a text; a `frame` may lack its windings."""
    tables = toml_tables(text, file)
    if not tables:
        raise _unreadable(file, "an empty file", 'a design: begin with format = 1, or see "tapplan new"')
    filled = supplied(tables)
    wrong = list(filled.objections)
    design = read_table(Design, filled.tables)
    if design is None:
        from tapplan.design.explained import explained  # pydantic, only where there is something to explain

        told = explained(filled.tables)
        design = told.mended
        wrong += told.objections
    if design is not None:
        wrong += [
            one for one in objections(design) if not (frame and one.path == ("winding",) and not design.windings)
        ]
    if design is None or wrong:
        raise _refused(text, file, wrong)
    return design


def _refused(text: str, file: str, wrong: list[Objection]) -> DesignError:
    from tapplan.design.problems import problems_of  # lines are looked up only for what is told

    return DesignError(file, problems_of(text, wrong))


def placed(error: TableError, path: str) -> DesignError:
    """What contradicts itself in a design file, with its line."""
    return _refused(read_text(path), path, [Objection(error.path, error.found, error.accepted)])


def toml_tables(text: str, file: str, accepted: str = "TOML 1.0") -> dict[str, Any]:
    """What a text in TOML says, its numbers exact; `file` names it in messages.

    Raises:
        DesignError: it is no TOML.
    """
    long_key = LONG_KEY.search(text)
    if long_key is not None:
        raise _too_deep(file, text.count("\n", 0, long_key.start()) + 1)
    try:
        tables: dict[str, Any] = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        at = re.search(r"\(at line (\d+), column (\d+)\)", message)
        line = int(at.group(1)) if at else text.count("\n") + 1
        raise _unreadable(file, message.split(" (at ")[0].lower(), accepted, line) from None
    except RecursionError:
        raise _too_deep(file) from None
    except (ValueError, DecimalException):
        raise _unreadable(file, "a number too long to read", "numbers up to 1e9, 30 decimals") from None
    if _nested_deep(tables):
        raise _too_deep(file)
    return tables


def _too_deep(file: str, line: int | None = None) -> DesignError:
    return _unreadable(file, "brackets or keys nested too deep", "a plain file in TOML", line)


def _nested_deep(tables: dict[str, Any]) -> bool:
    """Whether values lie deeper in values than any key takes: what walks down them would run out of stack."""
    level: list[Any] = [tables]
    for _ in range(MOST_NESTED):
        level = [inner for one in level if isinstance(one, dict | list) for inner in _within(one)]
        if not level:
            return False
    return True


def _within(value: dict[str, Any] | list[Any]) -> Iterable[Any]:
    return value.values() if isinstance(value, dict) else value
