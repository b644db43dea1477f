"""The fewest bands, where the range ends exactly where a band's reach does; worked by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.control.table import derived_table
from tests.examples import PAIR, TAPPED, design

F = Fraction


def chosen(low: object, high: object) -> list[Fraction | None]:
    made = design(TAPPED, PAIR, mains=(230, F(str(low)), F(str(high))), window=(230, 207, 253))
    return [row.ratio for row in derived_table(made).rows]


def test_a_range_that_is_the_window_needs_one_band_and_it_is_straight_through() -> None:
    """Ratio 1 keeps 207 to 253 V in the window of 207 to 253 V, and no other ratio does."""
    assert chosen(207, 253) == [1]


@pytest.mark.parametrize(("low", "high"), [("206.9", 253), (207, "253.1")])
def test_a_little_more_than_the_window_needs_two(low: object, high: object) -> None:
    assert len(chosen(low, high)) == 2


def test_a_range_that_one_ratio_just_serves_takes_that_ratio_alone() -> None:
    """227/200 serves from 207 to 253 V of output: 182.38 to 222.91 V of the line."""
    low, high = F(207) * 200 / 227, F(253) * 200 / 227
    made = design(TAPPED, PAIR, mains=(210, low, high), window=(230, 207, 253))
    assert [row.ratio for row in derived_table(made).rows] == [F(227, 200)]


def test_of_ratios_that_serve_the_range_alone_the_one_nearest_straight_through_is_taken() -> None:
    """240 to 250 V: ratio 1 gives 240 to 250 V, ratio 227/258 gives 211 to 220 V; below, 227/200 would do as well."""
    assert chosen(240, 250) == [1]
    assert chosen(210, 220) == [1]


def test_bands_are_counted_from_the_mildest() -> None:
    """Taps at 200, 227 and 258: ratios 129/100 and 227/200 lift, 227/258 and 200/258 lower."""
    relays = {"KL": ("LINE", "A", "C"), "KO": [("OUT", "B", "M"), ("M2", "A", "C")], "KM": ("M", "C", "A")}
    made = design(TAPPED, relays, mains=(230, 165, 315), window=(230, 207, 253))
    named = {row.ratio: row.name for row in derived_table(made).rows}
    lifts = sorted((ratio for ratio in named if ratio > 1), reverse=True)
    lowers = sorted((ratio for ratio in named if ratio < 1), reverse=True)
    assert len(lifts) == len(lowers) == 2
    assert [named[ratio] for ratio in lifts] == ["boost 2", "boost 1"]
    assert [named[ratio] for ratio in lowers] == ["buck 1", "buck 2"]


def test_a_single_band_of_its_kind_has_no_number() -> None:
    made = design(TAPPED, PAIR, mains=(230, 190, 280), window=(230, 207, 253))
    assert [row.name for row in derived_table(made).rows] == ["boost", "direct", "buck"]
