"""The columns of an answer: beside each field of a row stand its heading, its unit and how it is written.

A row is a frozen dataclass whose fields are annotated with a `Column`; a field without one is for tapplan itself and
is told to nobody. Every reader, from the screen to a notebook, walks these columns, so that a column is added in one
place.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from typing import Any, get_type_hints


class ColumnKind(Enum):
    """What stands in a column."""

    WORD = auto()
    NUMBER = auto()  # exact, whole or measured
    ENDS = auto()  # a span, or two measured numbers
    RATIO = auto()  # exact; programs get it as text and as a number
    COILS = auto()  # the relays driven
    NAMES = auto()  # names or numbers in a list
    PATH = auto()  # points and contacts in the order passed
    YES = auto()
    WITNESS = auto()
    MORE = auto()  # a row or rows of their own: for programs; people get them as tables of their own


@dataclass(frozen=True, slots=True)
class SharedCell:
    """Columns that share one cell where a screen is narrow: the common heading, and what stands between them."""

    heading: str
    between: str


@dataclass(frozen=True, slots=True)
class Column:
    """How one field is told.

    `key` is the name that scripts know it by, where that is not the field's own. `digits` are the decimals shown to
    people, `places` those kept for scripts of what is measured rather than exact (None: all). One that is `as_stated`
    has every digit of a number that ends, and `digits` of one that does not. `headed_by` names the property of a row
    that heads the column, where that differs from answer to answer; `heading` is then for a table without rows. A
    column off the screen is left to programs, documents and the page.
    """

    kind: ColumnKind
    heading: str = ""
    unit: str = ""
    key: str = ""
    digits: int = 3
    places: int | None = None
    as_stated: bool = False
    headed_by: str = ""
    on_screen: bool = True
    optional: bool = False
    for_people: bool = False
    stacked: bool = False
    whole: bool = False
    pair: SharedCell | None = None
    between: str = ", "
    empty: str = "-"
    yes_no: tuple[str, str] = ("yes", "")

    @property
    def headed(self) -> str:
        """The heading with its unit."""
        return f"{self.heading} ({self.unit})" if self.unit else self.heading


def word(heading: str = "", **how: Any) -> Column:
    """A name, a kind, a sentence."""
    return Column(ColumnKind.WORD, heading, **how)


def said(heading: str, **how: Any) -> Column:
    """Words for people made of what stands in other columns."""
    return Column(ColumnKind.WORD, heading, for_people=True, **how)


def number(heading: str = "", unit: str = "", **how: Any) -> Column:
    """A quantity in its unit."""
    return Column(ColumnKind.NUMBER, heading, unit, **how)


def volts(heading: str = "", **how: Any) -> Column:
    """An exact voltage."""
    return Column(ColumnKind.NUMBER, heading, "V", **how)


def measured(heading: str = "", unit: str = "", **how: Any) -> Column:
    """A quantity of the physics in floating point: scripts get it to a millionth."""
    return Column(ColumnKind.NUMBER, heading, unit, **{"digits": 2, "places": 6, **how})


def ends(heading: str = "", unit: str = "V", **how: Any) -> Column:
    """The two ends of a span."""
    return Column(ColumnKind.ENDS, heading, unit, **{"digits": 1, **how})


def ratio(heading: str = "ratio", **how: Any) -> Column:
    """Output over input, exact."""
    return Column(ColumnKind.RATIO, heading, **how)


def coils(heading: str = "energised", **how: Any) -> Column:
    """The relays driven."""
    return Column(ColumnKind.COILS, heading, **how)


def names(heading: str = "", **how: Any) -> Column:
    """Several names, or numbers."""
    return Column(ColumnKind.NAMES, heading, **how)


def path(heading: str = "path", **how: Any) -> Column:
    """Points and contacts in the order the current passes them."""
    return Column(ColumnKind.PATH, heading, **{"between": " ", **how})


def yes(heading: str = "", **how: Any) -> Column:
    """Whether something is so."""
    return Column(ColumnKind.YES, heading, **how)


def more(**how: Any) -> Column:
    """A row or rows of their own."""
    return Column(ColumnKind.MORE, **how)


def witness() -> Column:
    """What a finding rests on."""
    return Column(ColumnKind.WITNESS)


@dataclass(frozen=True, slots=True)
class Field:
    """A column and the field of the row that it tells."""

    name: str
    column: Column

    @property
    def key(self) -> str:
        """What scripts know it by."""
        return self.column.key or self.name


_KNOWN: dict[type, tuple[Field, ...]] = {}


def fields_of(kind: type) -> tuple[Field, ...]:
    """The columns of a kind of row, in the order of its fields."""
    if kind not in _KNOWN:
        _KNOWN[kind] = _fields_of(kind)
    return _KNOWN[kind]


def _fields_of(kind: type) -> tuple[Field, ...]:
    hints = get_type_hints(kind, include_extras=True)
    told = ((name, getattr(hint, "__metadata__", ())) for name, hint in hints.items())
    return tuple(Field(name, marks[0]) for name, marks in told if marks and isinstance(marks[0], Column))
