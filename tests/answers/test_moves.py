"""What a move can pass through, in words: shorts, ratios, and nothing only beyond the shorts."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.moves import _met


@pytest.mark.parametrize(
    ("shorts", "without", "ratios", "told"),
    [
        (0, 0, (), "-"),
        (1, 1, (), "1 shorts"),
        (1, 2, (), "1 shorts, nothing"),
        (0, 1, (Fraction(5, 4),), "ratios 1.25, nothing"),
        (2, 2, (Fraction(5, 4), Fraction(1)), "2 shorts, ratios 1 1.25"),
    ],
)
def test_what_is_met(shorts: int, without: int, ratios: tuple[Fraction, ...], told: str) -> None:
    flight: Any = SimpleNamespace(shorts=shorts, without_ratio=without, met=ratios)
    assert _met(flight).replace(",", "").split() == told.replace(",", "").split()
