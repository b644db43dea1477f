"""What is changed, and what is left out."""

import random
from pathlib import Path

import pytest

from tests.mutants.places import drawn, made, places

pytest.importorskip("cosmic_ray", reason="mutants need the extra of that name")

TEXT = '''"""A module."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    LIMIT = 1

Either = int | str
__all__ = ["Thing"] + ["either"]


@dataclass(frozen=True, slots=True)
class Thing:
    """A thing."""

    turns: int | None = 7

    def more(self, *, by: int | float = 3) -> int | float | None:
        """More of it."""
        return None if self.turns is None else self.turns + by


@cache
def either(first: Either, /) -> bool:
    """Whether it is large."""
    return first == 5 or not first


def limits(text: str) -> object:
    """A limit of work, a choice of two words, a chance."""
    return 1_000 if text == "up" else zip([Random(7)], text, strict=True)
'''


@pytest.fixture
def found(tmp_path: Path) -> dict[tuple[int, str], list[str]]:
    (tmp_path / "thing.py").write_text(TEXT)
    changed: dict[tuple[int, str], list[str]] = {}
    for place in places(tmp_path, "thing.py"):
        texts = [made(TEXT, place, change) for change in place.changes]
        changed[place.line, place.family] = [mutant.after for mutant in texts if mutant]
    return changed


def test_annotations_aliases_decorators_and_what_only_types_see_are_left_alone(found: dict) -> None:
    lines = TEXT.splitlines()
    touched = {lines[line - 1].strip() for line, _ in found}
    assert touched == {
        "turns: int | None = 7",
        "def more(self, *, by: int | float = 3) -> int | float | None:",
        "return None if self.turns is None else self.turns + by",
        "return first == 5 or not first",
        'return 1_000 if text == "up" else zip([Random(7)], text, strict=True)',
    }
    assert {family for _, family in found} == {
        *("NumberReplacer", "ReplaceBinaryOperator", "ReplaceComparisonOperator"),
        *("ReplaceOrWithAnd", "ReplaceUnaryOperator", "AddNot"),
    }


def test_every_change_reads_as_meant(found: dict) -> None:
    last = TEXT.splitlines().index("    return first == 5 or not first") + 1
    assert "return first != 5 or not first" in found[last, "ReplaceComparisonOperator"]
    assert not any(" is 5" in after for after in found[last, "ReplaceComparisonOperator"])
    assert found[last, "ReplaceOrWithAnd"] == ["return first == 5 and not first"]
    assert len(found[24, "ReplaceBinaryOperator"]) == 11


def test_texts_are_not_put_in_order_and_neither_limits_nor_chances_are_changed(found: dict) -> None:
    line = len(TEXT.splitlines())
    assert found[line, "ReplaceComparisonOperator"] == [
        'return 1_000 if text != "up" else zip([Random(7)], text, strict=True)'
    ]
    assert (line, "NumberReplacer") not in found


def test_the_same_chance_draws_the_same_mutant(tmp_path: Path) -> None:
    (tmp_path / "thing.py").write_text(TEXT)
    for place in places(tmp_path, "thing.py"):
        one, other = (drawn(tmp_path, place, random.Random(4)) for _ in range(2))
        assert one == other
        assert one is not None
        assert one.text != TEXT
