"""What all answers have in common: their tables by name, and as a frame of whichever library is there."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Annotated, Any

import pytest

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, number
from tapplan.errors import UsageError


@dataclass(frozen=True, slots=True)
class One:
    volts: Annotated[int, number("volts")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Two(Answer):
    heading = "Two"

    title: str
    first: Annotated[tuple[One, ...], more()]
    second: Annotated[One | None, more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bare(Answer):
    title: str = ""


TWO = Two(title="x", first=(One(230), One(231)), second=One(7))


def test_a_table_is_had_by_its_name_and_the_first_without_one() -> None:
    assert TWO.rows() == TWO.rows("first") == (One(230), One(231))
    assert TWO.rows("second") == (One(7),)
    assert Two(title="x", first=(), second=None).rows("second") == ()


def test_a_table_that_there_is_not_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(UsageError, match=r"found part 'third'; accepted: first, second$"):
        TWO.rows("third")
    for part in (None, "first"):
        with pytest.raises(UsageError, match="accepted: no part, for it has no table"):
            Bare().rows(part)
    assert Bare().parts() == ()


@pytest.mark.parametrize("there", [("pandas", "polars"), ("pandas",), ("polars",)])
def test_a_frame_is_of_pandas_or_else_of_polars(there: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("pandas", "polars"):
        made = SimpleNamespace(DataFrame=lambda rows, name=name: (name, rows)) if name in there else None
        monkeypatch.setitem(sys.modules, name, made)
    assert TWO.frame() == (there[0], [{"volts": 230}, {"volts": 231}])
    assert TWO.frame("second") == (there[0], [{"volts": 7}])


def test_without_either_library_there_is_no_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("pandas", "polars"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(UsageError, match="found neither pandas nor polars"):
        TWO.frame()


def test_an_answer_without_a_caution_has_none_and_one_with_a_title_names_it() -> None:
    told: Any = TWO.as_json()
    assert told == {"first": [{"volts": 230}, {"volts": 231}], "second": {"volts": 7}}
    assert (TWO.headline, Bare().headline, TWO.wrong) == ("Two: x", "", False)
    assert TWO._repr_html_().startswith("<p><b>Two: x</b></p><table>")
    assert TWO._repr_html_().count("<tr>") == 3
