"""Tables on a screen: widths, pairs, headings with and without their unit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated

import pytest
from rich.table import Table

from tapplan.answers.columns import SharedCell, coils, names, number, ratio, volts, word
from tapplan.pages.screens.grid import BETWEEN, Spread, caution, grid, lines, width_of

F = Fraction
PAIR, OTHER = SharedCell("in > out", " > "), SharedCell("up > down", " > ")


@dataclass(frozen=True)
class Row:
    name: Annotated[str, word("name")]
    energised: Annotated[tuple[str, ...], coils("coils")]
    low_v: Annotated[Fraction, volts("low", pair=PAIR)]
    high_v: Annotated[Fraction, volts("high", pair=PAIR)]
    up_v: Annotated[Fraction, volts("up", pair=OTHER)]
    seconds: Annotated[Fraction, number("time", "s")]
    left_v: Annotated[Fraction, volts("left")]
    key: Annotated[str, word("key", whole=True)]
    ratio: Annotated[Fraction | None, ratio(stacked=True)]
    plain: Annotated[Fraction | None, ratio("plain")]
    hidden: Annotated[tuple[str, ...], names("hidden", on_screen=False)] = ()
    kind: str = "shorted"


ROW = Row("a", ("K",), F(1), F(2), F(3), F(4), F(5), "k", F(5, 4), F(5, 4))


def heads(table: Table) -> list[str]:
    return [str(one.header) for one in table.columns]


def cells(table: Table) -> list[str]:
    return [str(next(iter(one.cells))) for one in table.columns]


def test_pairs_share_a_cell_each_under_its_own_heading() -> None:
    table = grid([ROW])
    assert heads(table) == [
        "name", "coils", "in > out", "up > down", "time (s)", "left (V)", "key", "ratio", "plain",
    ]  # fmt: skip
    assert cells(table) == ["a", "K", "1 > 2", "3", "4", "5", "k", "5/4\n1.2500", "5/4 = 1.2500"]
    assert [one.no_wrap for one in table.columns] == [False, False, True, True, False, False, True, True, False]
    assert cells(grid([replace(ROW, ratio=None, plain=None)]))[-2:] == ["shorted", "-"]


@pytest.mark.parametrize(("unit", "wanted"), [("V", ["time (s)", "left"]), ("s", ["time", "left (V)"])])
def test_the_unit_told_above_a_table_is_left_out_of_its_headings(unit: str, wanted: list[str]) -> None:
    assert heads(grid([ROW], unit_told=unit))[4:6] == wanted


def test_relays_have_a_column_each_where_they_are_spread() -> None:
    spread = Spread(("K", "L"), lambda relay, driven: "on" if relay in driven else "off")
    table = grid([ROW, replace(ROW, energised=("L",))], spread=spread)
    assert heads(table)[:4] == ["name", "K", "L", "in > out"]
    assert [list(one.cells) for one in table.columns[1:3]] == [["on", "off"], ["off", "on"]]


def test_the_width_of_a_table_is_that_of_its_longest_lines() -> None:
    """A blank pair after each column; of headings and cells of several lines the longest one counts."""
    made = Table()
    made.add_column("head\nlonger head")
    made.add_column("x")
    made.add_row("short", "a\nbbb")
    assert BETWEEN == 2
    assert width_of(made) == (11 + 2) + (3 + 2)
    assert width_of(Table()) == 0


def test_a_heading_stands_over_rows_and_over_none() -> None:
    assert str(grid([ROW], "Over").title) == str(grid([], "Over").title) == "Over"
    assert len(grid([]).columns) == 0


def test_sentences_and_cautions_are_texts_of_their_own() -> None:
    assert [str(one) for one in lines(["a", "b"])] == ["a", "b"]
    assert caution("take care").plain == "\ntake care"
