"""Bars of shares: as long as their sums are to scale, and marked where something is overdrawn."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.pages.screens.bars import Share, bar

F = Fraction


@pytest.mark.parametrize(
    ("shares", "told"),
    [
        ([("a", 2), ("b", 3)], "aabbb"),
        ([("a", 0), ("b", 3)], "bbb"),
        ([("a", "0.4"), ("b", "0.4"), ("c", "0.4")], "b"),
        ([("a", "1.5"), ("b", "1.4"), ("c", "0.1")], "aab"),
        ([("a", 10)], "a" * 10),
        ([("a", 2), ("b", -3)], "aa!!!"),
        ([("a", -1), ("b", 2), ("c", -2)], "bb!!!"),
        ([("a", 2), ("b", "-0.1")], "aa!"),
        ([("a", "-0.6"), ("b", "-0.6")], "!"),
        ([], ""),
        ([("a", 0)], ""),
    ],
)
def test_each_share_ends_where_the_sum_so_far_comes_to(shares: list[tuple[str, object]], told: str) -> None:
    """Ten characters for ten volts. 0.4, 0.8 and 1.2 V end at 0, 1 and 1; 1.5, 2.9 and 3 V at 2, 3 and 3."""
    made = [Share(letter, F(str(size))) for letter, size in shares]
    assert bar(made, F(10), 10) == told


def test_a_bar_is_to_scale() -> None:
    assert bar([Share("=", F(5))], F(20), 40) == "=" * 10
    assert bar([Share("=", F(20))], F(20), 30) == "=" * 30
    assert bar([Share("=", F(-5))], F(20), 40) == "!" * 10
