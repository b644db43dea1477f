"""Pieces of a page: tables in frames, filters, folds, chapters; nothing where there is nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import pytest

from tapplan.answers.columns import number, word
from tapplan.answers.forms import Cells
from tapplan.pages.markup import (
    chapter,
    figure,
    filled_table,
    filtered,
    folded,
    framed,
    linked_table,
    rows_table,
    shorter,
    static,
    without,
)


@dataclass(frozen=True)
class Row:
    name: Annotated[str, word("name")]
    none: Annotated[str | None, word("none")] = None
    empty: Annotated[str, word("empty")] = ""
    volts: Annotated[int | None, number("volts")] = None


ROWS = (Row("<a>"), Row("b", volts=7))


def test_rows_stand_in_a_frame_named_by_their_caption_or_their_first_heading() -> None:
    named = rows_table(ROWS, 'A "caption"')
    assert named.startswith('<div class="wide" tabindex="0" role="group" aria-label="A &quot;caption&quot;"><table>')
    assert "<caption>A &quot;caption&quot;</caption>" in named
    bare = rows_table(ROWS)
    assert 'aria-label="name"' in bare
    assert "<caption>" not in bare
    assert bare.count("<tr>") == 3
    assert "&lt;a&gt;" in bare
    assert rows_table(()) == ""


def test_columns_that_no_row_fills_are_left_out() -> None:
    table = filled_table(ROWS, "x")
    heads = table.partition("</thead>")[0].split("<th ")[1:]
    assert [one.partition(">")[2].partition("<")[0] for one in heads] == ["name", "volts"]
    assert "<td>b</td><td>7</td>" in table
    assert "<td>&lt;a&gt;</td><td>-</td>" in table
    assert filled_table((), "x") == ""


def test_a_column_is_taken_out_by_its_heading() -> None:
    made = Cells(("a", "b", "c"), (("1", "2", "3"), ("4", "5", "6")))
    assert without(made, "b") == Cells(("a", "c"), (("1", "3"), ("4", "6")))
    assert without(made, "x") == made


def test_a_table_with_links_begins_each_row_with_its_own() -> None:
    table = linked_table(ROWS, ["<a>1</a>", "<a>2</a>"], "t")
    assert '<th scope="col"></th><th scope="col">name</th>' in table
    assert "<tr><td><a>1</a></td><td>&lt;a&gt;</td>" in table
    assert "<tr><td><a>2</a></td><td>b</td>" in table
    assert '<div id="t"><div class="wide" tabindex="0" role="group" aria-label="name"><table>' in table
    assert table.startswith(filtered("", "t"))
    assert linked_table((), (), "t") == ""
    with pytest.raises(ValueError, match="zip"):
        linked_table(ROWS, ["x"], "t")


def test_a_filter_stands_before_the_table_it_filters() -> None:
    assert filtered("<table>", "t") == (
        '<p class="screen-only"><label>Only rows with <input type="search" data-filters="t"></label> '
        '<span id="t-says" class="faint" role="status"></span></p><table>'
    )


def test_pictures_folds_and_chapters() -> None:
    assert figure("<svg>", "a < b") == (
        f"<figure>{framed('<svg>', 'Picture')}<figcaption>a &lt; b</figcaption></figure>"
    )
    assert folded("a < b", "<p>") == "<details><summary>a &lt; b</summary><p></details>"
    assert folded("a", "") == ""
    assert chapter("c", "a < b", "<p>") == '<section id="c"><h2><a href="#c">a &lt; b</a></h2><p></section>'
    assert chapter("c", "x", "<p>", "sheet").startswith('<section id="c" class="sheet">')
    assert chapter("c", "x", "") == ""


def test_ends_that_a_page_may_leave_out_are_left_out() -> None:
    assert shorter("<table><tr><td>a</td><th>b</th></tr></table><ul><li>c</li></ul><p>d</p>") == (
        "<table><tr><td>a<th>b</table><ul><li>c</ul><p>d</p>"
    )


@pytest.mark.parametrize("name", ["report.css", "print.css", "decide.js", "tell.js"])
def test_files_of_the_page_have_no_comments_and_no_indents(name: str) -> None:
    text = static(name)
    assert text
    assert "/*" not in text
    assert not [line for line in text.splitlines() if line.startswith(" ")]
