"""The truth table on a screen: a word a relay where there is room, else the closed throw, else one list for all."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from rich.console import Console, Group

from tapplan.answers import words
from tapplan.answers.table import TruthTable, truth_table
from tapplan.checks.review import review
from tapplan.pages.screens import table
from tapplan.pages.screens.grid import Spread, grid, width_of
from tests.pages.firmware.stages import stage


@cache
def answer(at: str = "input") -> TruthTable:
    return truth_table(review(stage(at=at)))


def lines(width: int, one: TruthTable | None = None) -> list[str]:
    console = Console(width=200, no_color=True)
    with console.capture() as captured:
        console.print(Group(table.screen(one or answer(), width)))
    return [line.rstrip() for line in captured.get().splitlines()]


def test_relays_are_told_as_fully_as_the_screen_is_wide() -> None:
    """The two blanks after the last column need no room."""
    each = width_of(grid(answer().bands, spread=Spread(answer().relays, words.position))) - 2
    throws = width_of(grid(answer().bands, spread=Spread(answer().relays, words.throw))) - 2
    assert throws < each
    assert any("energised" in line for line in lines(each))
    assert not any(table.THROWS in line for line in lines(each))
    narrow = lines(each - 1)
    assert table.THROWS in narrow
    assert narrow[3].split()[:2] == ["boost", "NO"]
    assert table.THROWS in lines(throws)
    bare = lines(throws - 1)
    assert table.THROWS not in bare
    assert bare[2].split()[:2] == ["band", "energised"]
    assert bare[3].split()[:2] == ["boost", "K"]


def test_the_map_is_no_wider_than_its_most_and_stands_only_over_bands() -> None:
    drawn = [line for line in lines(200) if line.startswith("mains range")]
    assert drawn == [line for line in lines(110) if line.startswith("mains range")]
    assert drawn != [line for line in lines(109) if line.startswith("mains range")]
    bare = lines(200, replace(answer(), bands=()))
    assert not any(line.startswith("mains range") for line in bare)
    assert any(line.startswith("Coverage: ") for line in bare)


def test_holds_as_read_stand_apart_where_the_line_is_not_read() -> None:
    read = lines(200, answer("output"))
    assert any("hold, read at the output (V)" in line for line in read)
    assert not any("hold" in line for line in lines(200))
    told = replace(answer(), origin_told="The file leaves them out.")
    assert lines(200, told)[-1] == "The file leaves them out."
    assert "The file" not in lines(200)[-1]
