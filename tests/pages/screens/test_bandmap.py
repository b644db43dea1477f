"""The map of the bands as text, to the column."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.answers.table import GapRow
from tapplan.exact import Span
from tapplan.pages.screens.bandmap import band_map

F = Fraction


@dataclass(frozen=True)
class Row:
    band: str
    input_hold: Span | None


@dataclass(frozen=True)
class Table:
    """What of a truth table is drawn."""

    mains: Span
    bands: tuple[Row, ...]
    gaps: tuple[GapRow, ...] = ()


def span(low: Any, high: Any) -> Span:
    return Span(F(low), F(high))


TABLE = Table(span(100, 200), (Row("low", span(100, 150)), Row("high", span(140, 220)), Row("none", None)))


def drawn(table: Any, width: int = 71) -> list[str]:
    return band_map(table, width)


def test_each_stretch_begins_and_ends_at_its_share_of_the_columns() -> None:
    """Of 71 columns 11 are the longest name and 20 the ends: 40 are left for 100 to 220 V, 39 steps of 3.08 V."""
    mains, low, high = drawn(TABLE)
    assert mains == "mains range |" + "-" * 31 + "|" + " " * 8 + "100 - 200 V"
    assert low == "low         [" + "=" * 15 + "]" + " " * 24 + "100 - 150 V"
    assert high == "high        " + " " * 13 + "[" + "=" * 25 + "]" + " 140 - 220 V"


def test_the_scale_holds_the_mains_where_no_band_does() -> None:
    wide = replace(TABLE, bands=(Row("a", span(120, 180)),))
    mains, one = drawn(wide)
    assert mains == "mains range |" + "-" * 38 + "| 100 - 200 V"
    assert one.startswith("a           " + " " * 8 + "[")
    assert one.index("]") == 12 + 31


@pytest.mark.parametrize("width", [0, 39, 40])
def test_a_map_is_never_narrower_than_for_forty_columns(width: int) -> None:
    assert drawn(TABLE, width) == drawn(TABLE, 40)
    assert drawn(TABLE, 41) != drawn(TABLE, 40)


def test_a_stretch_too_short_for_two_ends_is_one_sign_and_gaps_are_crossed_out() -> None:
    gaps = (GapRow("dead-zone", F(150), F("150.5"), "x", "y"), GapRow("uncovered", F(200), F(220), "x", "y"))
    *_, dead, uncovered = drawn(replace(TABLE, gaps=gaps))
    assert dead == "dead-zone   " + " " * 16 + "x" + " " * 24 + "150 - 150.5 V"
    assert uncovered == "uncovered   " + " " * 32 + "xxxxxxxx" + " 200 - 220 V"
    short = replace(TABLE, bands=(*TABLE.bands, Row("brief", span("150.04", "150.06"))))
    assert drawn(short)[-1].split() == ["brief", "=", "150", "-", "150.1", "V"]


@pytest.mark.parametrize(("letters", "shown"), [(24, "n" * 24), (25, "n" * 22 + "..")])
def test_long_names_are_cut_to_twenty_four_letters(letters: int, shown: str) -> None:
    made = replace(TABLE, bands=(Row("n" * letters, span(100, 150)),))
    lines = drawn(made)
    assert lines[1].startswith(f"{shown} [")
    assert lines[0].startswith("mains range" + " " * 13 + " |")
