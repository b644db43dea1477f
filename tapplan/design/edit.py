"""Edits of a design file's text: bands, single numbers or a whole stage, its comments and layout kept."""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from difflib import SequenceMatcher
from fractions import Fraction
from pathlib import Path as FilePath
from typing import Any

from tapplan.design.model import Design, Pole, Relay
from tapplan.design.places import key_lines
from tapplan.design.problems import key_text
from tapplan.design.shape import Path
from tapplan.errors import OutputError, escaped
from tapplan.exact import Span, rounded_down, rounded_up

PLAIN_NUMBER = re.compile(r"[+-]?(0|[1-9][0-9]*)([.,][0-9]+)?")  # a comma is taken for the decimal sign
MOST_PLACES = 15  # of a decimal, which a float tells apart
FINEST = Fraction(1, 10**6)  # ends that are no short decimal are written to this, inward: the safe side


def rewritten(path: str, text: str, made: str) -> bytes:
    """A file's bytes with `made` in place of `text`, as which it was read; whatever is in both stays byte for byte.

    A mark in front and the end of every line that is kept stay as they are; a new line ends as the first one does.

    Raises:
        OutputError: the file cannot be read, or holds another text by now.
    """
    try:
        raw = FilePath(path).read_bytes()
    except OSError as error:
        raise OutputError(f"{escaped(path)}: cannot be read again ({error.strerror or error})") from None
    mark = codecs.BOM_UTF8 if raw.startswith(codecs.BOM_UTF8) else b""
    own = raw.removeprefix(mark).decode("utf-8", errors="replace")
    if own.replace("\r\n", "\n") != text:
        told = "found it changed since it was read, so nothing was written; accepted: the same call once more"
        raise OutputError(f"{escaped(path)}: {told}")
    return mark + _with_own_ends(own.split("\n"), made.split("\n")).encode("utf-8")


def _with_own_ends(own: list[str], made: list[str]) -> str:
    """Lines with the ends that they have in a text; those that are not in it end as its first one does."""
    *ended, last = own
    plain = [line.removesuffix("\r") for line in ended]
    new = "\r" if ended and ended[0].endswith("\r") else ""
    ends = [new] * (len(made) - 1) + [""]
    for kept in SequenceMatcher(None, [*plain, last], made).get_matching_blocks():
        for here, there in zip(range(kept.a, kept.a + kept.size), range(kept.b, kept.b + kept.size), strict=True):
            if here < len(ended) and there < len(made) - 1:
                ends[there] = ended[here].removeprefix(plain[here])
    return "\n".join(line + end for line, end in zip(made, ends, strict=True))


@dataclass(frozen=True, slots=True)
class WrittenBand:
    """A band as it goes into a file."""

    name: str
    energised: tuple[str, ...]
    hold_v: Span


def with_bands(text: str, bands: Sequence[WrittenBand]) -> str:
    """The text with exactly these [[band]] tables; everything else stays as it is.

    Tables that are there already are filled anew, so comments inside them stay; those left over are removed.
    The result ends in a newline.
    """
    import tomlkit  # only here: reading needs no layout

    document = tomlkit.parse(text)
    if "band" in document and not isinstance(document["band"], tomlkit.items.AoT):
        document.remove("band")  # written as one inline array, which cannot grow by tables
    tables = document.get("band")
    if tables is None:
        if not text.endswith("\n\n"):
            document.add(tomlkit.nl())
        tables = tomlkit.aot()
        document.add("band", tables)
    while len(tables) > len(bands):
        del tables[-1]
    for place, band in enumerate(bands):
        kept = place < len(tables)
        table = tables[place] if kept else tomlkit.table()
        table["name"] = band.name
        table["energised"] = list(band.energised)
        table["hold_v"] = [
            _written(rounded_up(band.hold_v.low, FINEST)),
            _written(rounded_down(band.hold_v.high, FINEST)),
        ]
        if not kept:
            tables.append(table)
    written = tomlkit.dumps(document)
    return written if written.endswith("\n") else written + "\n"


def with_order(text: str, order: str) -> str:
    """The text with this order in its [sequence]; everything else stays as it is."""
    import tomlkit  # only for writing, with comments kept

    document = tomlkit.parse(text)
    if "sequence" in document:
        document["sequence"]["order"] = order
        return tomlkit.dumps(document)
    return f'{text.rstrip()}\n\n[sequence]\norder = "{order}"\n'


@dataclass(frozen=True, slots=True)
class StatedNumber:
    """A number of a design file that can be changed by itself: where it stands, what of, and as it is written.

    `owner` is the name of the winding or the band, empty for the backup.
    """

    path: Path
    owner: str
    told: str

    @property
    def key(self) -> str:
        """Its place as messages write it."""
        return key_text(self.path)


def stated_numbers(text: str) -> tuple[StatedNumber, ...]:
    """The turns of windings, ends of holds and of the backup that a design file states; the text must read."""
    tables = tomllib.loads(text, parse_float=str)
    turns = [
        StatedNumber(("winding", place, "turns"), one["name"], str(one["turns"]))
        for place, one in enumerate(tables.get("winding", ()))
    ]
    spans = [
        *(
            (("band", place, "hold_v"), one["name"], one.get("hold_v", ()))
            for place, one in enumerate(tables.get("band", ()))
        ),
        *((("backup", key), "", tables.get("backup", {}).get(key, ())) for key in ("leave_v", "return_v")),
    ]
    ends = [
        StatedNumber((*path, end), owner, str(told)) for path, owner, pair in spans for end, told in enumerate(pair)
    ]
    return (*turns, *ends)


def with_numbers(text: str, numbers: Mapping[Path, str]) -> str:
    """The text with these numbers, written as they are given; every other line stays as it is, its end too.

    What is no plain number goes in as a string, so that reading the text tells what is accepted there.

    Raises:
        OutputError: the text cannot be changed at one of these places alone.
    """
    made = text
    for path, told in numbers.items():
        made = _with_number(made, path, told)
    expected = _loaded(text)
    for path, told in numbers.items():
        _put(expected, path, _loaded(f"x = {_literal(told)}")["x"])
    if _loaded(made) != expected:
        raise OutputError("these numbers would read otherwise from the file; nothing was changed")
    return made


def _loaded(text: str) -> dict[str, Any]:
    return tomllib.loads(text, parse_float=Decimal)


def _literal(told: str) -> str:
    """A number, or whatever was given in its place, as TOML writes it."""
    plain = told.strip()
    return plain.replace(",", ".") if PLAIN_NUMBER.fullmatch(plain) else _quoted(plain)


def _with_number(text: str, path: Path, told: str) -> str:
    """The text with one number changed: only the statement it stands in is taken apart.

    A whole document would be written anew, its tables in another order where the file mixes them.
    """
    import tomlkit  # only for writing, with comments kept

    lines = text.split("\n")
    begins = _statement(key_lines(text), path) - 1
    ends = next((end for end in range(begins + 1, len(lines) + 1) if _reads(lines[begins:end])), None)
    if ends is None:
        raise OutputError(f"{key_text(path)}: found no statement that ends; nothing was changed")
    statement: Any = tomlkit.parse("\n".join(lines[begins:ends]) + "\n")
    _put(statement, _inside(statement, path), tomlkit.value(_literal(told)))
    return "\n".join([*lines[:begins], tomlkit.dumps(statement).removesuffix("\n"), *lines[ends:]])


def _statement(lines: Mapping[Path, int], path: Path) -> int:
    """The line on which the statement with a value begins."""
    for cut in range(len(path), 0, -1):
        if path[:cut] in lines:
            return lines[path[:cut]]
    raise OutputError(f"{key_text(path)}: found no line with it; nothing was changed")


def _reads(lines: Sequence[str]) -> bool:
    """Whether these lines are whole statements."""
    with suppress(tomllib.TOMLDecodeError):
        return bool(_loaded("\n".join(lines) + "\n"))
    return False


def _inside(statement: Any, path: Path) -> Path:
    """A path within the one statement that it leads into: the tables that stand around are left out."""
    for cut in range(len(path)):
        inner = statement
        with suppress(KeyError, IndexError, TypeError):
            for part in path[cut:]:
                inner = inner[part]
            return path[cut:]
    raise OutputError(f"{key_text(path)}: found no value of its own; nothing was changed")


def _put(tables: Any, path: Path, value: object) -> None:
    """One value changed within tables and lists."""
    *around, last = path
    for part in around:
        tables = tables[part]
    tables[last] = value


def _written(volts: Fraction) -> int | float:
    """Volts for a file: whole where whole, else the shortest decimal."""
    return int(volts) if volts.denominator == 1 else float(volts)


def with_stage(text: str, design: Design, header: Sequence[str]) -> str:
    """A request's text made a design file: its own tables and comments, then windings, relays and bands of `design`.

    What the stage replaces ([fit], [[winding]], [[relay]], [[band]]) is taken out; line and output go where they
    stand in the design, and the core is the one that it has.
    """
    import tomlkit  # only for writing, with comments kept

    document = tomlkit.parse(text)
    for key in ("fit", "winding", "relay", "band"):
        document.pop(key, None)
    terminals: dict[str, object] = document["terminals"]
    for key in ("line", "output"):
        terminals[key] = getattr(design.terminals, key)
    core: dict[str, object] = document.get("core", {})
    if design.core is not None and design.core.lamination is not None and design.core.stack_mm is not None:
        core["lamination"], core["stack_mm"] = design.core.lamination, float(design.core.stack_mm)
    lines = [*header, "", tomlkit.dumps(document).rstrip()]
    for winding in design.windings:
        ends = _listed(winding.ends)
        lines += ["", "[[winding]]", f"name = {_quoted(winding.name)}", f"ends = {ends}", f"turns = {winding.turns}"]
        if winding.wire_mm is not None:
            lines.append(f"wire_mm = {_decimal(winding.wire_mm)}")
        if winding.strands is not None:
            lines.append(f"strands = {winding.strands}")
    for relay in design.relays:
        lines += ["", "[[relay]]", f"name = {_quoted(relay.name)}", *_poles(relay), *_stated(relay)]
    for band in design.bands:
        lines += ["", "[[band]]", f"name = {_quoted(band.name)}", f"energised = {_listed(band.energised)}"]
        if band.hold_v is not None:
            lines.append(f"hold_v = [{_decimal(band.hold_v[0])}, {_decimal(band.hold_v[1])}]")
    return "\n".join(lines) + "\n"


def _stated(relay: Relay) -> list[str]:
    """The ratings that are stated."""
    keys = ("contact_a", "contact_v", "contact_ohm", "coil_v", "coil_w")
    return [f"{key} = {_decimal(value)}" for key in keys if (value := getattr(relay, key)) is not None]


def _poles(relay: Relay) -> list[str]:
    def throws(pole: Pole) -> list[str]:
        ends = (("com", pole.com), ("nc", pole.nc), ("no", pole.no))
        return [f"{key} = {_quoted(end)}" for key, end in ends if end is not None]

    poles = relay.all_poles
    if len(poles) == 1:
        return throws(poles[0])
    return ["poles = [", *(f"    {{ {', '.join(throws(pole))} }}," for pole in poles), "]"]


def _listed(names: Sequence[str]) -> str:
    return "[" + ", ".join(map(_quoted, names)) + "]"


def _quoted(name: str) -> str:
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _decimal(value: Fraction) -> str:
    """The number, which is not below 0, as it is where decimals can write it, else as near as a float comes."""
    places = next((places for places in range(MOST_PLACES) if (value * 10**places).denominator == 1), None)
    if places is None:
        return f"{float(value):.{MOST_PLACES}g}"
    whole, rest = divmod(int(value * 10**places), 10**places)
    return f"{whole}.{rest:0{places}d}" if places else f"{whole}"
