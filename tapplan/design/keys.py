"""The design file, key by key: meaning, unit, place, default and an example of each, from the model alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, is_dataclass
from fractions import Fraction
from typing import Any

from tapplan.design.marks import Says, Taken, Text
from tapplan.design.model import Design
from tapplan.design.objection import shown
from tapplan.design.shape import Both, Flag, Key, Nested, Options, Several, Shape, keys_of


@dataclass(frozen=True, slots=True)
class KeyRow:
    """One key of the format, in words; `default` is what holds without it, "required" where it must be there."""

    table: str
    key: str
    default: str
    unit: str
    place: str
    meaning: str
    accepted: str
    example: str


@dataclass(frozen=True, slots=True)
class TableRows:
    """One table of the format: its name with dots, whether it stands once or many times, and its keys."""

    name: str
    listed: bool
    meaning: str
    keys: tuple[Key, ...]

    @property
    def header(self) -> str:
        """The line that opens it in a file; nothing at the top."""
        if not self.name:
            return ""
        return f"[[{self.name}]]" if self.listed else f"[{self.name}]"

    @property
    def rows(self) -> tuple[KeyRow, ...]:
        """Its keys in words, those that open a table of their own left out."""
        return tuple(_row(self.name, key) for key in self.keys if key.says.example)

    @property
    def example(self) -> str:
        """The table with the example of each key, those left out that stand in place of others."""
        written = [f"{key.written} = {key.says.example}" for key in self.keys if _in_example(key.says)]
        return "\n".join([self.header, *written] if self.header else written)


def _in_example(says: Says) -> bool:
    return bool(says.example) and not says.instead


def tables() -> tuple[TableRows, ...]:
    """Every table of the format, the top of the file first, each before the tables inside it."""
    return (TableRows("", False, "", keys_of(Design)), *_inside("", Design))


def _inside(name: str, kind: type) -> Iterator[TableRows]:
    for key in keys_of(kind):
        inner = key.shape.each if isinstance(key.shape, Several) else key.shape
        if isinstance(inner, Nested):
            own = f"{name}.{key.written}" if name else key.written
            yield TableRows(own, isinstance(key.shape, Several), key.says.meaning, keys_of(inner.table))
            yield from _inside(own, inner.table)


def rows() -> tuple[KeyRow, ...]:
    """Every key of the format that holds a value of its own."""
    return tuple(row for table in tables() for row in table.rows)


def _row(written: str, key: Key) -> KeyRow:
    says = key.says
    return KeyRow(
        written,
        key.written,
        default_of(key),
        says.unit,
        says.place,
        meaning_of(key),
        accepted_of(key.shape),
        says.example,
    )


def meaning_of(key: Key) -> str:
    """What a key means, and in whose place it stands."""
    return f"{key.says.meaning} In place of {key.says.instead}." if key.says.instead else key.says.meaning


def default_of(key: Key) -> str:
    """What holds without the key: as the field says, and in words where that depends on another key."""
    if key.default is None or key.required:
        return key.says.default or ("required" if key.required else "none")
    own = shown(plain(key.default), 200)
    return f"{own}, or {key.says.default}" if key.says.default else own


def described(key: Key) -> str:
    """The whole of it in prose: meaning, unit and place, and what holds without it where its field does not say."""
    says, parts = key.says, [meaning_of(key)]
    if says.unit:
        parts.append(f"Unit: {', '.join(filter(None, (says.unit, says.place)))}.")
    if says.default:
        parts.append(f"Without it: {default_of(key)}.")
    return " ".join(parts)


def accepted_of(shape: Shape) -> str:
    """What a key takes, in words."""
    match shape:
        case Text(kind, _, most):
            return f"{kind}, at most {most} characters"
        case Several(each, entries):
            limits = [f"at least {entries.least}"] if entries.least else []
            limits += [f"at most {entries.most}"] if entries.most else []
            return ", ".join(["a list, each entry " + accepted_of(each), *limits])
        case Nested():
            return "a table"
        case Taken() | Flag() | Options() | Both():
            return shape.accepted


def plain(value: object) -> Any:
    """A default as a file would hold it: whole numbers, decimals, texts, lists and tables."""
    if isinstance(value, Fraction):
        return int(value) if value.denominator == 1 else float(value)
    if isinstance(value, tuple):
        return [plain(one) for one in value]
    return {} if is_dataclass(value) else value


OPENING = """\
# The design file, key by key

A design is one file in TOML 1.0. Numbers are read as exact decimals, up to 1e9 and with 30 decimals at most. Keys
carry their unit: `_v` volts, `_ms` milliseconds, `_ohm`, `_mm`, `_mm2`, `_hz`, `_va`, `_a`, `_w`, `_pct` percent. An
unknown key is an error. Tables in single brackets stand once; those in double brackets once for each part."""


def design_file_topic() -> str:
    """The format in Markdown: a section for each table, with its keys and a short example."""
    return "\n\n".join([OPENING, *(_section(table) for table in tables())]) + "\n"


def _section(rows: TableRows) -> str:
    title = f"## `{rows.header}`" if rows.header else "## At the top"
    told = rows.meaning or "Before the first table."
    lines = "\n".join(_line(row) for row in rows.rows)
    return "\n\n".join([title, told, f"```toml\n{rows.example}\n```", lines])


def _line(one: KeyRow) -> str:
    """A key in a sentence or two: meaning, unit and place, what is accepted, and what holds without it."""
    place = ", ".join(filter(None, (one.unit, one.place)))
    without = "Required." if one.default == "required" else f"Without it: {one.default}."
    stands = f" ({place})" if place else ""
    return f"- `{one.key}`{stands}: {one.meaning} Accepted: {one.accepted}. {without}"
