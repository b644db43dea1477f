"""What each key of a table takes, worked out from the model's annotations: the one walk that all readers share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import MISSING, dataclass, fields, is_dataclass
from functools import cache
from types import NoneType
from typing import Annotated, Any, Literal, TypeVar, get_args, get_origin

from tapplan.design.marks import Called, Entries, Pair, Says, Taken, Text

Path = tuple[str | int, ...]
Mark = TypeVar("Mark")


@dataclass(frozen=True, slots=True)
class Flag:
    """true or false."""

    @property
    def accepted(self) -> str:
        """The same in words."""
        return "true or false"


@dataclass(frozen=True, slots=True)
class Options:
    """One of a few written values."""

    values: tuple[str | int, ...]

    @property
    def accepted(self) -> str:
        """The values in words."""
        *others, last = (f'"{one}"' if isinstance(one, str) else str(one) for one in self.values)
        return f"{', '.join(others)} or {last}" if others else last


@dataclass(frozen=True, slots=True)
class Both:
    """A list of just two entries, each of its own shape."""

    each: tuple[Shape, Shape]
    accepted: str


@dataclass(frozen=True, slots=True)
class Several:
    """A list of entries of one shape."""

    each: Shape
    entries: Entries


@dataclass(frozen=True, slots=True)
class Nested:
    """A table of keys: one class of the model."""

    table: type


Shape = Taken | Text | Flag | Options | Both | Several | Nested


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table: the field's name, the key as the file writes it, and what it takes.

    `default` is what the field is without the key, `dataclasses.MISSING` where the key is required.
    """

    name: str
    written: str
    shape: Shape
    says: Says
    default: object

    @property
    def required(self) -> bool:
        """Whether a table cannot do without."""
        return self.default is MISSING


@cache
def keys_of(kind: type) -> tuple[Key, ...]:
    """The keys of a table, in the order of the model."""
    return tuple(_key(one.name, one.type, one.default) for one in fields(kind))


def _key(name: str, annotation: Any, default: object) -> Key:
    marks = _marks(annotation)
    called, says = _mark(Called, marks), _mark(Says, marks)
    if says is None:
        raise TypeError(f"{name}: a key that says nothing of itself")
    return Key(name, name if called is None else called.key, shape_of(annotation), says, default)


def _marks(annotation: Any) -> Sequence[object]:
    return get_args(annotation)[1:] if get_origin(annotation) is Annotated else ()


def _mark(kind: type[Mark], marks: Sequence[object]) -> Mark | None:
    return next((mark for mark in marks if isinstance(mark, kind)), None)


def shape_of(annotation: Any) -> Shape:
    """What an annotation of the model takes; a mark that reads decides, else the type.

    Raises:
        TypeError: the annotation is of no kind that a file can hold.
    """
    marks = _marks(annotation)
    read = _mark(Taken, marks) or _mark(Text, marks)
    if read is not None:
        return read
    plain = get_args(annotation)[0] if marks else annotation
    inner = get_args(plain)
    if NoneType in inner:
        (kept,) = (one for one in inner if one is not NoneType)
        return shape_of(Annotated[kept, *marks] if marks else kept)
    if plain is bool:
        return Flag()
    if get_origin(plain) is Literal:
        return Options(inner)
    if get_origin(plain) is tuple:
        return _list(inner, marks)
    if is_dataclass(plain) and isinstance(plain, type):
        return Nested(plain)
    raise TypeError(f"no file holds {annotation!r}")


def _list(inner: tuple[Any, ...], marks: Sequence[object]) -> Shape:
    if inner[1] is Ellipsis:
        return Several(shape_of(inner[0]), _mark(Entries, marks) or Entries())
    pair = _mark(Pair, marks)
    if pair is None or len(inner) != 2:
        raise TypeError(f"a list of {inner!r} without a mark that says what is accepted")
    return Both((shape_of(inner[0]), shape_of(inner[1])), pair.accepted)


def table_at(root: type, path: Path) -> type | None:
    """The class of the table that stands at a path of a file, or None where no table can stand."""
    here: Shape = Nested(root)
    for part in path:
        match here:
            case Nested(table):
                found = next((key.shape for key in keys_of(table) if key.written == part), None)
            case Several(each):
                found = each
            case _:
                found = None
        if found is None:
            return None
        here = found
    return here.table if isinstance(here, Nested) else None
