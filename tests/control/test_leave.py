"""When a stage with a backup leaves and comes back: at the outermost holds or beyond, and inside what it left at."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.control.table import ControlTable, TableError, control_table
from tapplan.design.model import Backup, Sensing
from tests.examples import PAIR, TAPPED, design

F = Fraction
BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]


def table_of(leave: tuple[int, int], back: tuple[int, int], sensing: Sensing | None = None) -> ControlTable:
    backup = Backup(leave_v=(F(leave[0]), F(leave[1])), return_v=(F(back[0]), F(back[1])))
    return control_table(design(TAPPED, PAIR, bands=BANDS, backup=backup, sensing=sensing))


@pytest.mark.parametrize(
    ("leave", "band", "end"), [((161, 285), "b2", 160), ((155, 279), "k", 280), ((161, 279), "b2", 160)]
)
def test_a_leave_inside_an_outermost_hold_is_refused_with_that_hold(
    leave: tuple[int, int], band: str, end: int
) -> None:
    """b2 holds from 160 V and k up to 280 V: a leave at 161 or 279 V takes away what the file gives them."""
    with pytest.raises(TableError) as refused:
        table_of(leave, (170, 270))
    assert refused.value.path == ("backup", "leave_v")
    assert f'holds the outer end of "{band}", {end}' in str(refused.value)


@pytest.mark.parametrize("leave", [(160, 280), (160, 285), (155, 280), (155, 285)])
def test_a_leave_at_an_outermost_hold_or_beyond_it_is_where_the_row_ends(leave: tuple[int, int]) -> None:
    rows = table_of(leave, (170, 270)).rows
    assert (rows[0].kept.low, rows[-1].kept.high) == leave
    assert (rows[0].hold.low, rows[-1].hold.high) == (160, 280)
    assert [row.kept.high for row in rows[:-1]] == [192, 217, 246]
    assert [row.kept.low for row in rows[1:]] == [188, 213, 241]


# Read at the output: b2 multiplies by 258/200 and k by 227/258; away the pair at rest passes 227/200 on.
OUTPUT = [("b2", ["KO"], 200, 250), ("b1", [], 205, 250), ("d", ["KL", "KO"], 210, 250), ("k", ["KL"], 210, 255)]


def read_at_the_output(back: tuple[object, object]) -> ControlTable:
    backup = Backup(leave_v=(F(200), F(255)), return_v=(F(str(back[0])), F(str(back[1]))))
    return control_table(design(TAPPED, PAIR, bands=OUTPUT, backup=backup, sensing=Sensing(at="output")))


def test_a_return_is_judged_in_what_is_read_while_away() -> None:
    """200 V of b2 are 155.04 V of the line, 175.97 V when away; 255 V of k are 289.82 V of it, then 328.95 V."""
    low, high = F(200) * 200 / 258 * 227 / 200, F(255) * 258 / 227 * 227 / 200
    assert (round(float(low), 2), round(float(high), 2)) == (175.97, 328.95)
    assert read_at_the_output(("175.98", "328.95")).design.backup is not None
    for back in (("175.96", "328.95"), ("175.98", "328.96")):
        with pytest.raises(TableError, match=r"read as \[175\.969, 328\.95\] while away") as refused:
            read_at_the_output(back)
        assert refused.value.path == ("backup", "return_v")


def test_where_nothing_fixes_the_reading_of_a_row_no_return_can_be_judged_by_it() -> None:
    """KS lets the sense winding go in b2: while away it reads 20 turns of 200, in b2 nothing."""
    sections = (*TAPPED, ("sense", "S1", "S2", 20))
    bands = [
        ("b2", ["KO", "KS"], 16, 19),
        *((name, on, F(low, 10), F(high, 10)) for name, on, low, high in BANDS[1:]),
    ]
    made = design(
        sections,
        {**PAIR, "KS": ("S1", "N", "S3")},
        bands=bands,
        backup=Backup(leave_v=(F(16), F(28)), return_v=(F(17), F(27))),
        sensing=Sensing(at=("S2", "N")),
    )
    table = control_table(made)
    assert [row.sensed for row in table.rows] == [None, F(20, 200), F(20, 258), F(20, 258)]
    assert table.away.sensed == F(20, 200)
