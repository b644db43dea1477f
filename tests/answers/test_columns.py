"""The columns: what each kind is without a word more, and which fields of a row have one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import pytest

from tapplan.answers import columns
from tapplan.answers.columns import Column, ColumnKind, Field, fields_of

K = ColumnKind
USUAL = {
    "heading": "", "unit": "", "key": "", "digits": 3, "places": None, "as_stated": False, "headed_by": "",
    "on_screen": True, "optional": False, "for_people": False, "stacked": False, "whole": False, "pair": None,
    "between": ", ", "empty": "-", "yes_no": ("yes", ""),
}  # fmt: skip


def parts(one: Column) -> dict[str, Any]:
    return {name: getattr(one, name) for name in one.__dataclass_fields__}


@pytest.mark.parametrize(
    ("made", "kind", "other"),
    [
        (columns.word(), K.WORD, {}),
        (columns.word("a"), K.WORD, {"heading": "a"}),
        (columns.said("a"), K.WORD, {"heading": "a", "for_people": True}),
        (columns.number("a", "s"), K.NUMBER, {"heading": "a", "unit": "s"}),
        (columns.volts("a"), K.NUMBER, {"heading": "a", "unit": "V"}),
        (columns.measured("a", "W"), K.NUMBER, {"heading": "a", "unit": "W", "digits": 2, "places": 6}),
        (columns.measured(digits=0, places=None), K.NUMBER, {"digits": 0}),
        (columns.ends("a"), K.ENDS, {"heading": "a", "unit": "V", "digits": 1}),
        (columns.ends("a", "s", digits=2), K.ENDS, {"heading": "a", "unit": "s", "digits": 2}),
        (columns.ratio(), K.RATIO, {"heading": "ratio"}),
        (columns.coils(), K.COILS, {"heading": "energised"}),
        (columns.names(), K.NAMES, {}),
        (columns.path(), K.PATH, {"heading": "path", "between": " "}),
        (columns.path("through", between=" > "), K.PATH, {"heading": "through", "between": " > "}),
        (columns.yes("a"), K.YES, {"heading": "a"}),
        (columns.more(), K.MORE, {}),
        (columns.witness(), K.WITNESS, {}),
        (columns.word("a", optional=True, key="b"), K.WORD, {"heading": "a", "optional": True, "key": "b"}),
    ],
)
def test_a_column_is_as_its_kind_has_it_unless_stated(made: Column, kind: ColumnKind, other: dict[str, Any]) -> None:
    """Three decimals of what is exact, two of what is measured, one of ends; all of it shown to all readers."""
    assert parts(made) == {"kind": kind, **USUAL, **other}


def test_a_heading_has_its_unit_and_a_field_its_own_key() -> None:
    assert (columns.number("a", "s").headed, columns.number("a").headed) == ("a (s)", "a")
    assert (Field("x", columns.word(key="y")).key, Field("x", columns.word()).key) == ("y", "x")


@dataclass(frozen=True)
class Base:
    first: Annotated[int, columns.number("one")]
    bare: int
    other: Annotated[int, "no column"]


@dataclass(frozen=True)
class Below(Base):
    second: Annotated[int, columns.number("two")]
    first: Annotated[int, columns.number("another")]


def test_a_row_tells_the_fields_that_have_a_column_those_of_its_base_first() -> None:
    assert [(one.name, one.column.heading) for one in fields_of(Base)] == [("first", "one")]
    assert [(one.name, one.column.heading) for one in fields_of(Below)] == [("first", "another"), ("second", "two")]
    assert fields_of(Base) is fields_of(Base)
