"""The documents of a winding sheet by their parts: lists that count from one, tables with blanks, cells left free."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from functools import cache
from itertools import pairwise

from tapplan.answers.forms import cells
from tapplan.answers.winding import WindingSheet, winding_sheet
from tapplan.control.table import control_table
from tapplan.pages import winding
from tapplan.pages.winding import winding_csv, winding_html, winding_markdown
from tapplan.rating.built import built_table
from tests.rating.test_laid import stage

BLANKS = [["done"], ["colour"], ["done"], [], ["volts", "ohm"]]


@cache
def sheet() -> WindingSheet:
    made = winding_sheet(built_table(stage(), control_table))
    return replace(made, before=("Look < twice.", "Cut once."), after=("Dip & bake.", "Test."), title="=A|B")


def test_what_is_to_be_done_is_counted_from_one() -> None:
    text = winding_markdown(sheet())
    assert "## Before winding\n\n1. Look < twice.\n2. Cut once.\n\n## Sections" in text
    assert text.endswith("## After winding\n\n1. Dip & bake.\n2. Test.\n")


def test_what_is_to_be_done_is_a_list_of_the_page_with_its_signs_escaped() -> None:
    text = winding_html(sheet())
    assert "<h2>Before winding</h2><ol><li>Look &lt; twice.</li><li>Cut once.</li></ol><h2>Sections" in text
    assert text.endswith("<h2>After winding</h2><ol><li>Dip &amp; bake.</li><li>Test.</li></ol></body></html>\n")


def test_columns_to_fill_in_by_hand_stand_last_and_empty() -> None:
    made = winding._parts(sheet())
    rows = (sheet().sections, sheet().leads, sheet().layers, sheet().wires, sheet().proofs)
    for part, each, blanks in zip(made, rows, BLANKS, strict=True):
        plain = cells(each)
        assert list(part.cells.heads) == [*plain.heads, *blanks]
        assert [list(row) for row in part.cells.rows] == [[*row, *("" for _ in blanks)] for row in plain.rows]
    text = winding_html(sheet())
    assert [one.split('"')[0] for one in text.split('<div class="')[1:]] == [
        "blank" if blanks else "plain" for blanks in BLANKS
    ]


def test_each_table_of_the_file_stands_under_its_name_and_a_cell_without_a_value_is_left_free() -> None:
    lines = list(csv.reader(io.StringIO(winding_csv(sheet()))))
    assert lines[0][2:5] == ["title", "'=A|B", "tapplan"]
    names = [after[0] for before, after in pairwise(lines) if not before]
    assert names == [part.heading for part in winding._parts(sheet())]
    assert not any(cell == "-" for line in lines for cell in line)
    assert any("-" in row for part in winding._parts(sheet()) for row in part.cells.rows)


def test_windings_of_another_core_are_named_where_there_are_some() -> None:
    far = replace(sheet(), elsewhere=("a|b", "c<d"))
    assert "\n- Not on this core: a\\|b, c\\<d.\n" in winding_markdown(far)
    assert "<p>Not on this core: a|b, c&lt;d.</p><figure>" in winding_html(far)
    assert "Not on this core" not in winding_markdown(sheet()) + winding_html(sheet())
