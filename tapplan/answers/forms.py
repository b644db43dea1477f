"""The forms an answer is given in: for programs (JSON, flat records), for documents (CSV, Markdown, HTML).

Exact numbers become decimal numbers here and only here.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from math import gcd, isnan
from typing import Any

from tapplan.answers import words
from tapplan.answers.columns import Column, ColumnKind, Field, fields_of
from tapplan.exact import Span

Json = dict[str, object]

MOST_PLACES = 30  # decimals that a file may give a number


# --- for scripts ---


def as_json(record: Any) -> Json:
    """A record, or a whole answer, in the keys that scripts rely on."""
    told: Json = {}
    for field in fields_of(type(record)):
        value = getattr(record, field.name)
        if field.column.for_people or (field.column.optional and value is None):
            continue
        if field.column.kind is ColumnKind.RATIO:
            told |= _ratio(field.key, value)
        elif field.column.kind is ColumnKind.WITNESS:
            told[field.key] = witness_json(value)
        else:
            told[field.key] = plain(value, field.column.places)
    return told


def _ratio(key: str, value: Fraction | None) -> Json:
    return {key: None if value is None else str(value), f"{key}_float": None if value is None else float(value)}


def plain(value: Any, places: int | None = None) -> Any:
    """A value as JSON has it; measured numbers rounded to `places`, what is no number None."""
    if isinstance(value, Enum):
        return value.value if isinstance(value, str) else value.name.lower()
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, Fraction):
        return int(value) if value.denominator == 1 else float(value)
    if isinstance(value, Span):
        return [plain(value.low), plain(value.high)]
    if isinstance(value, Mapping):
        return {key: plain(one, places) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [plain(one, places) for one in value]
    if is_dataclass(value):
        return as_json(value) if fields_of(type(value)) else witness_json(value)
    found = float(value)
    return None if isnan(found) else found if places is None else round(found, places)


def witness_json(one: Any) -> Json:
    """What a witness states: the fields that apply, ratios twice; a case within it stands under its own keys."""
    stated: Json = {}
    for field in fields(one):
        value = getattr(one, field.name)
        if value is None:
            continue
        stated |= _witnessed(field.name, value)
    return stated


def _witnessed(name: str, value: Any) -> Json:
    match name:
        case "ratio":
            return _ratio(name, value)
        case "case":
            return witness_json(value)
        case _:
            return {name: plain(value)}


# --- flat, for frames and CSV ---


def flat(record: Any) -> dict[str, Any]:
    """A record as one level of names and plain values; ends as two, ratios as text and number, lists as one text."""
    told: dict[str, Any] = {}
    for field in fields_of(type(record)):
        if field.column.for_people or (field.column.optional and getattr(record, field.name) is None):
            continue
        told |= _flat(field, getattr(record, field.name))
    return told


def flat_heads(kind: type) -> list[str]:
    """The names that `flat` gives a record of a type, beside optional ones."""
    fields = (field for field in fields_of(kind) if not field.column.for_people and not field.column.optional)
    return [name for field in fields for name in _flat(field, None)]


def _flat(field: Field, value: Any) -> dict[str, Any]:
    name, places = field.name, field.column.places
    match field.column.kind:
        case ColumnKind.RATIO:
            return _ratio(name, value)
        case ColumnKind.ENDS:
            low, high = [None, None] if value is None else plain(value, places)
            stem, _, unit = name.rpartition("_")
            return {f"{stem}_low_{unit}": low, f"{stem}_high_{unit}": high}
        case ColumnKind.COILS | ColumnKind.NAMES:
            return {name: None if value is None else "+".join(map(str, plain(value)))}
        case ColumnKind.PATH:
            return {name: None if value is None else " ".join(value)}
        case ColumnKind.MORE | ColumnKind.WITNESS:
            return {}
        case _:
            return {name: plain(value, places)}


# --- for people ---


def text(value: Any, column: Column) -> str:
    """A cell in words and figures."""
    if value is None or (isinstance(value, float) and isnan(value)):
        return column.empty
    match column.kind:
        case ColumnKind.YES:
            return column.yes_no[0] if value else column.yes_no[1]
        case ColumnKind.NUMBER:
            return as_stated(value, column.digits) if column.as_stated else words.number(value, column.digits)
        case ColumnKind.ENDS:
            low, high = (value.low, value.high) if isinstance(value, Span) else value
            return f"{_end(low, column)} - {_end(high, column)}"
        case ColumnKind.RATIO:
            return words.ratio(value)
        case ColumnKind.COILS:
            return words.relays(value)
        case ColumnKind.NAMES | ColumnKind.PATH:
            return column.between.join(str(plain(one)) for one in value) or column.empty
        case _:
            return str(value)


def _end(value: Any, column: Column) -> str:
    return text(value, replace(column, kind=ColumnKind.NUMBER))


def as_stated(value: Fraction, digits: int) -> str:
    """A number with every decimal that it has; one whose decimals never end, or not soon, rounded to `digits`."""
    left, places = value.denominator, 0
    while left != 1 and gcd(left, 10) != 1 and places < MOST_PLACES:
        left, places = left // gcd(left, 10), places + 1
    if left != 1:
        return words.number(value, digits)
    return format(Decimal(f"{int(value * 10**places)}e-{places}"), "f")


@dataclass(frozen=True, slots=True)
class Cells:
    """Rows as headings and texts."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def shown_of(rows: Sequence[Any], kind: type | None = None) -> list[Field]:
    """The columns that people are shown: those with a heading, and of the optional ones those that say something.

    A column that rows head by themselves has the heading of the first.
    """
    return [
        _headed(field, rows)
        for field in fields_of(kind or type(rows[0]))
        if field.column.heading
        and not (field.column.optional and all(getattr(row, field.name) is None for row in rows))
    ]


def _headed(field: Field, rows: Sequence[Any]) -> Field:
    if not field.column.headed_by or not rows:
        return field
    return replace(field, column=replace(field.column, heading=getattr(rows[0], field.column.headed_by)))


def cells(rows: Sequence[Any], relays: Sequence[str] = (), kind: type | None = None) -> Cells:
    """Rows of one kind for a document; with `relays`, what is energised has a column for each of them.

    Without rows there are headings only where the `kind` is given.
    """
    if not rows and kind is None:
        return Cells((), ())
    shown = shown_of(rows, kind)
    heads: list[str] = []
    for field in shown:
        spread = relays if field.column.kind is ColumnKind.COILS else ()
        heads += spread or [field.column.headed]
    return Cells(tuple(heads), tuple(tuple(_cells_of(row, shown, relays)) for row in rows))


def _cells_of(record: Any, shown: Sequence[Field], relays: Sequence[str]) -> Iterable[str]:
    for field in shown:
        value = getattr(record, field.name)
        if relays and field.column.kind is ColumnKind.COILS:
            yield from (words.position(relay, value) for relay in relays)
        else:
            yield text(value, field.column)


def as_csv(rows: Sequence[Any], kind: type, relays: Sequence[str] = ()) -> str:
    """One line a row of this kind; with `relays`, a column of 0 and 1 for each of them at the end."""
    import csv  # a library of its own, which most answers do not need

    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    told = [flat(row) for row in rows]
    heads = list(told[0]) if told else flat_heads(kind)
    writer.writerow([*heads, *(safe(relay) for relay in relays)])
    for row, one in zip(rows, told, strict=True):
        coils = [int(relay in row.energised) for relay in relays]
        writer.writerow([*(_csv_cell(value) for value in one.values()), *coils])
    return made.getvalue()


def _csv_cell(value: Any) -> str:
    return "" if value is None else safe(value) if isinstance(value, str) else str(value)


def safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@") else cell


def as_markdown(rows: Sequence[Any], kind: type, relays: Sequence[str] = ()) -> str:
    """A table of rows of this kind for a document."""
    return markdown_table(cells(rows, relays, kind))


def markdown_table(made: Cells) -> str:
    """Headings and texts as a table for a document."""
    lines = [f"| {' | '.join(map(markdown_cell, made.heads))} |", "|" + " --- |" * len(made.heads)]
    lines += [f"| {' | '.join(map(markdown_cell, row))} |" for row in made.rows]
    return "\n".join(lines) + "\n"


def markdown_cell(told: str) -> str:
    """Text that stays text in a cell of a table."""
    for mark in "\\`*_[]<>|#":
        told = told.replace(mark, "\\" + mark)
    return told


def as_html(rows: Sequence[Any], relays: Sequence[str] = ()) -> str:
    """A table for a page or a notebook; nothing in it can end an element."""
    if not rows:
        return "<p>nothing</p>"
    return html_table(cells(rows, relays))


def html_table(made: Cells, caption: str = "") -> str:
    """Headings and texts as a table."""
    from html import escape  # with its table of entities, which a terminal does not need

    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in made.heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in made.rows)
    title = f"<caption>{escape(caption)}</caption>" if caption else ""
    return f"<table>{title}<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
