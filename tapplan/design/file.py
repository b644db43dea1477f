"""Reading a design file: bytes to text to tables to a Design, or one DesignError with every problem found."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, fields
from decimal import Decimal, DecimalException
from pathlib import Path as FilePath
from typing import Any

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from tapplan.design import model, sense, standards
from tapplan.design.model import Design
from tapplan.design.places import Path, key_lines, line_of
from tapplan.errors import DesignError, Problem, TableError

LARGEST_FILE = 1_000_000

ADAPTER: TypeAdapter[Design] = TypeAdapter(Design)

_TABLES: dict[str, type] = {
    "mains": model.Mains,
    "output": model.Output,
    "terminals": model.Terminals,
    "winding": model.Winding,
    "relay": model.Relay,
    "poles": model.Pole,
    "sensing": model.Sensing,
    "band": model.Band,
    "backup": model.Backup,
    "sequence": model.Sequence,
    "move": model.SequenceMove,
    "limits": model.Limits,
    "accept": model.Accept,
    "controller": model.Controller,
    "core": model.Core,
    "copper": model.Copper,
    "coil_supply": model.CoilSupply,
    "feed": model.Feed,
    "battery": model.Battery,
    "protection": model.Protection,
    "fit": model.Fit,
}
FILE_KEYS = {  # fields of the model that the file writes otherwise
    "windings": "winding",
    "relays": "relay",
    "bands": "band",
    "feeds": "feed",
    "moves": "move",
    "old": "from",
    "new": "to",
}
_ACCEPTED = {
    "missing": "a value: this key is required",
    "string_type": "a text in quotes",
    "string_pattern_mismatch": "a text that is not empty, with no space at its ends and no control character",
    "string_too_long": "a shorter text: 80 characters for a name, 500 for the title",
    "tuple_type": "a list in brackets",
    "bool_type": "true or false",
    "dataclass_type": "a table of keys",
    "too_short": "at least one entry",
}


def load(path: str | FilePath) -> Design:
    """The design in the file.

    Raises:
        DesignError: the file cannot be read or means nothing; carries every problem found.
    """
    design = parse(read_text(path), str(path))
    if not design.windings:
        raise _unreadable(path, "a request for fit, with no [[winding]]", "a design; `tapplan fit` answers a request")
    return design


def load_request(path: str | FilePath) -> tuple[Design, model.Fit]:
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
    return design, design.fit


def load_frame(path: str | FilePath) -> tuple[str, Design]:
    """What is asked of a stage that is not known yet: a design file in which winding and relays may be missing.

    Raises:
        DesignError: as `load`.
    """
    text = read_text(path)
    return text, parse(text, str(path), frame=True)


DESIGN_FILE = "a design file in TOML that can be read"


@dataclass(frozen=True, slots=True)
class Layout:
    """How the bytes of a text file are laid out, beside what it says: a mark in front, and how lines end."""

    mark: bool
    newline: str

    def encoded(self, text: str) -> bytes:
        """A text in this layout."""
        return (b"\xef\xbb\xbf" if self.mark else b"") + text.replace("\n", self.newline).encode("utf-8")


def layout_of(path: str | FilePath) -> Layout:
    """The layout of a file that has been read; lines end as the first one does."""
    raw = FilePath(path).read_bytes()
    first = raw.find(b"\n")
    return Layout(raw.startswith(b"\xef\xbb\xbf"), "\r\n" if raw[max(first - 1, 0) : first] == b"\r" else "\n")


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


def parse(text: str, file: str = "<design>", *, frame: bool = False) -> Design:
    """The design in a text; `file` names it in messages. A `frame` may lack its windings.

    Raises:
        DesignError: the text means nothing; carries every problem found.
    """
    tables = _parse_toml(text, file)
    if not tables:
        raise _unreadable(file, "an empty file", 'a design: begin with format = 1, or see "tapplan new"')
    found = _Findings(text)
    _apply_standard(tables, found)
    design: Design | None
    try:
        design = ADAPTER.validate_python(tables)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            _explain(detail, tables, found)
        design = _salvaged(tables, error)
        if design is None:
            raise DesignError(file, found.in_order()) from None
    for doubt in sense.doubts(design):
        if frame and doubt.path == ("winding",) and not design.windings:
            continue
        if doubt.path not in found:
            found.add(doubt.path, doubt.found, doubt.accepted, doubt.hint)
    if found:
        raise DesignError(file, found.in_order())
    return design


def placed(error: TableError, path: str) -> DesignError:
    """What contradicts itself in a design file, with its line."""
    problem = Problem(
        key_text(error.path), error.found, error.accepted, line_of(key_lines(read_text(path)), error.path)
    )
    return DesignError(path, (problem,))


def _parse_toml(text: str, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        at = re.search(r"\(at line (\d+), column (\d+)\)", message)
        line = int(at.group(1)) if at else text.count("\n") + 1
        raise _unreadable(file, message.split(" (at ")[0].lower(), "TOML 1.0", line) from None
    except RecursionError:
        raise _unreadable(file, "brackets nested too deep", "a plain design file") from None
    except (ValueError, DecimalException):
        raise _unreadable(file, "a number too long to read", "numbers up to 1e9, 30 decimals") from None


class _Findings:
    """The problems found so far in one text, each looked up to its line once and told once."""

    def __init__(self, text: str) -> None:
        self._lines = key_lines(text)
        self._problems: dict[Path, Problem] = {}

    def __bool__(self) -> bool:
        return bool(self._problems)

    def __contains__(self, path: Path) -> bool:
        return path in self._problems

    def add(self, path: Path, found: str, accepted: str, hint: str = "") -> None:
        problem = Problem(key_text(path), found, accepted, line_of(self._lines, path), hint)
        self._problems.setdefault(path, problem)

    def in_order(self) -> tuple[Problem, ...]:
        return tuple(sorted(self._problems.values(), key=lambda problem: problem.line or 0))


def key_text(path: Path) -> str:
    """A path as people read it: `winding[3].turns`, entries counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else part
    return text


def _apply_standard(tables: dict[str, Any], found: _Findings) -> None:
    """Fills nominal and range of the mains from the published supply it names."""
    mains = tables.get("mains")
    if not isinstance(mains, dict) or not isinstance(mains.get("standard"), str):
        return
    for key in ("nominal_v", "range_v"):
        if key in mains:
            accepted = "either standard, or nominal_v and range_v"
            found.add(("mains", key), f"{key} beside standard", accepted)
    entry = standards.supply(mains["standard"])
    if entry is None:
        known = [known.key for known in standards.SUPPLIES]
        hint = sense.nearest(mains["standard"], known)
        accepted = 'a key that "tapplan standards" lists'
        found.add(("mains", "standard"), f'"{mains["standard"]}"', accepted, hint)
    supply = entry or standards.SUPPLIES[0]
    mains.setdefault("nominal_v", _plain(supply.nominal_v))
    mains.setdefault("range_v", [_plain(end) for end in supply.range_v])
    mains.setdefault("frequency_hz", _plain(supply.frequency_hz))


def _plain(number: Any) -> Decimal:
    return Decimal(number.numerator) / Decimal(number.denominator)


def _explain(detail: ErrorDetails, tables: dict[str, Any], found: _Findings) -> None:
    """Adds what one validation error says, in the words of the file."""
    path = _path_in_file(detail["loc"], tables)
    kind = detail["type"]
    if kind == "unexpected_keyword_argument":
        known = _known_keys(path[:-1])
        key = str(path[-1])
        accepted = f"keys of this table: {', '.join(known)}"
        found.add(path, f'unknown key "{key}"', accepted, sense.nearest(key, known))
        return
    accepted = _ACCEPTED.get(kind) or detail["msg"]
    if kind == "missing" and path in (("mains", "nominal_v"), ("mains", "range_v")):
        accepted = "nominal_v with range_v, or a published supply as standard"
    if kind == "literal_error":
        accepted = detail["ctx"]["expected"].replace("'", '"')
    found.add(path, "nothing" if kind == "missing" else shown(detail["input"]), accepted)


def _path_in_file(loc: tuple[int | str, ...], tables: dict[str, Any]) -> Path:
    """The error's place with the validator's own inner steps left out."""
    path: list[str | int] = []
    inner: object = tables
    for number, part in enumerate(loc):
        if isinstance(inner, dict) and part in inner:  # noqa: SIM114 - the types differ
            inner = inner[part]
        elif isinstance(inner, list) and isinstance(part, int) and part < len(inner):
            inner = inner[part]
        elif number != len(loc) - 1:
            continue
        path.append(part)
    return tuple(path)


def _known_keys(table: Path) -> list[str]:
    names = [part for part in table if isinstance(part, str)]
    kind = _TABLES[names[-1]] if names else Design
    return [FILE_KEYS.get(field.name, field.name) for field in fields(kind)]


def shown(value: object, most: int = 60) -> str:
    """A value as the file would write it, cut where it is long."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, int):
        size = value.bit_length()
        text = str(value) if size < 200 else f"a whole number of about {size * 3 // 10} digits"
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, list):
        text = "[" + ", ".join(shown(entry) for entry in value[:20]) + "]"
    elif isinstance(value, dict):
        text = "a table with " + (", ".join(map(str, list(value)[:10])) or "no keys")
    else:
        text = str(value)
    return text if len(text) <= most else text[: most - 3] + "..."


def _salvaged(tables: dict[str, Any], error: ValidationError) -> Design | None:
    """The design with its malformed numbers and unknown keys taken out, so that the rest is checked too.

    Only such problems are mended: a guess at a missing name would bring false reports. A number becomes 1,
    and where that will not do, the key takes a range.
    """
    for stand_in in (1, [1, 2]):
        for detail in error.errors(include_url=False):
            path = _path_in_file(detail["loc"], tables)
            if detail["type"] == "number":
                _holder(tables, path)[path[-1]] = stand_in
            elif detail["type"] == "unexpected_keyword_argument":
                del _holder(tables, path)[path[-1]]
            else:
                return None
        try:
            return ADAPTER.validate_python(tables)
        except ValidationError as again:
            error = again
    return None


def _holder(tables: dict[str, Any], path: Path) -> Any:
    """The table or list that holds the last part of a path."""
    inner: Any = tables
    for part in path[:-1]:
        inner = inner[part]
    return inner
