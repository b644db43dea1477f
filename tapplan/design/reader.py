"""The light reader: walks the marks of the model over a parsed file and may only say yes.

It gives the table's value, or None at the first doubt; what is wrong, and everything else that is, `explained` says.
"""

from __future__ import annotations

from typing import Any, TypeVar

from tapplan.design.marks import Taken, Text
from tapplan.design.shape import Both, Flag, Nested, Options, Several, Shape, keys_of

Table = TypeVar("Table")


def read_table(kind: type[Table], found: object) -> Table | None:
    """The table of a parsed file as a value of its class; None when anything in it is not as it should be."""
    values = _values(kind, found) if isinstance(found, dict) else None
    return None if values is None else kind(**values)


def _values(kind: type, found: dict[str, object]) -> dict[str, Any] | None:
    values: dict[str, Any] = {}
    for key in keys_of(kind):
        if key.written in found:
            value = read_value(key.shape, found[key.written])
            if value is None:
                return None
            values[key.name] = value
        elif key.required:
            return None
    return values if len(values) == len(found) else None


def read_value(shape: Shape, found: object) -> object | None:
    """A value of a parsed file as the model has it; None when it is not of this shape."""
    match shape:
        case Taken() | Text():
            return shape.read(found)
        case Flag():
            return found if isinstance(found, bool) else None
        case Options(values):
            return next((one for one in values if type(found) is type(one) and found == one), None)
        case Nested(table):
            return read_table(table, found)
        case Both(each):
            return _entries(each, found) if isinstance(found, list) and len(found) == 2 else None
        case Several(each, entries):
            if not isinstance(found, list) or len(found) < entries.least or len(found) > (entries.most or len(found)):
                return None
            return _entries((each,) * len(found), found)


def _entries(shapes: tuple[Shape, ...], found: list[object]) -> tuple[object, ...] | None:
    values = tuple(read_value(shape, one) for shape, one in zip(shapes, found, strict=True))
    return None if any(value is None for value in values) else values
