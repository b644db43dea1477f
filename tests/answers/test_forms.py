"""The forms of an answer: what stands in a column is written the same way wherever it is read."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, StrEnum
from fractions import Fraction
from typing import Annotated, Any

import pytest
from rich.console import Console

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import (
    Column,
    ColumnKind,
    SharedCell,
    coils,
    ends,
    fields_of,
    measured,
    more,
    names,
    number,
    path,
    ratio,
    said,
    volts,
    witness,
    word,
    yes,
)
from tapplan.answers.forms import (
    MOST_PLACES,
    Cells,
    as_csv,
    as_html,
    as_json,
    as_markdown,
    as_stated,
    cells,
    flat,
    flat_heads,
    html_table,
    markdown_cell,
    markdown_table,
    plain,
    safe,
    shown_of,
    text,
    witness_json,
)
from tapplan.exact import Span
from tapplan.pages.screens.grid import Spread, grid

F = Fraction
BOTH = SharedCell("in > out", " > ")


class Level(StrEnum):
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Rests:
    """A witness: what does not apply is None."""

    input_v: Fraction | None = None
    ratio: Fraction | None = None
    states: tuple[tuple[str, ...], ...] | None = None


@dataclass(frozen=True, slots=True)
class Inner:
    level: Annotated[Level, word("level")]
    share: Annotated[float, number()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    name: Annotated[str, word("name", key="called")]
    energised: Annotated[tuple[str, ...], coils()]
    ratio: Annotated[Fraction | None, ratio(stacked=True)]
    input_v: Annotated[Fraction, volts("in", digits=1, pair=BOTH)]
    output_v: Annotated[Fraction | None, volts("out", digits=1, pair=BOTH)]
    hold_v: Annotated[Span | None, ends("hold")]
    heat_w: Annotated[float | None, measured("heat", "W")]
    path: Annotated[tuple[str, ...] | None, path(on_screen=False)]
    parts: Annotated[tuple[int, ...], names("parts", between=" and ")]
    good: Annotated[bool, yes("good", yes_no=("fine", "BAD"))]
    inner: Annotated[Inner, more()]
    rests_on: Annotated[Rests, witness()]
    note: Annotated[str | None, word("note", optional=True)] = None
    aloud: Annotated[str, said("aloud")] = "so it is"
    kind: str = "untold"


LINE = Line(
    name="=1+1",
    energised=("K1", "K2"),
    ratio=F(3, 4),
    input_v=F(1, 3),
    output_v=None,
    hold_v=Span(F(1), F(5, 2)),
    heat_w=1.23456789,
    path=("A", "K1.no", "B"),
    parts=(1, 2),
    good=False,
    inner=Inner(Level.LOW, 0.123456789),
    rests_on=Rests(ratio=F(1, 2), states=(("K1",), ())),
)


def test_scripts_get_exact_numbers_as_numbers_and_ratios_twice() -> None:
    assert as_json(LINE) == {
        "called": "=1+1",
        "energised": ["K1", "K2"],
        "ratio": "3/4",
        "ratio_float": 0.75,
        "input_v": 1 / 3,
        "output_v": None,
        "hold_v": [1, 2.5],
        "heat_w": 1.234568,
        "path": ["A", "K1.no", "B"],
        "parts": [1, 2],
        "good": False,
        "inner": {"level": "low", "share": 0.123456789},
        "rests_on": {"ratio": "1/2", "ratio_float": 0.5, "states": [["K1"], []]},
    }
    json.dumps(as_json(LINE), allow_nan=False)


def test_an_optional_column_is_told_only_where_it_says_something() -> None:
    from dataclasses import replace

    noted = replace(LINE, note="new")
    assert as_json(noted)["note"] == "new"
    assert flat(noted)["note"] == "new"
    assert "note" not in flat(LINE)
    assert "note" not in cells([LINE]).heads
    assert cells([LINE, noted]).heads.count("note") == 1
    assert [row[-2] for row in cells([LINE, noted]).rows] == ["-", "new"]


def test_a_frame_gets_one_level_of_plain_values() -> None:
    assert flat(LINE) == {
        "name": "=1+1",
        "energised": "K1+K2",
        "ratio": "3/4",
        "ratio_float": 0.75,
        "input_v": 1 / 3,
        "output_v": None,
        "hold_low_v": 1,
        "hold_high_v": 2.5,
        "heat_w": 1.234568,
        "path": "A K1.no B",
        "parts": "1+2",
        "good": False,
    }
    from dataclasses import replace

    bare = flat(replace(LINE, hold_v=None, path=None, ratio=None, heat_w=float("nan")))
    assert (bare["hold_low_v"], bare["hold_high_v"], bare["path"], bare["ratio_float"], bare["heat_w"]) == (None,) * 5


@pytest.mark.parametrize(
    ("value", "column", "told"),
    [
        (F(1, 3), volts(digits=2), "0.33"),
        (F(2), volts(digits=2), "2"),
        (1.239, measured(), "1.24"),
        (float("nan"), measured(), "-"),
        (None, volts(empty="any"), "any"),
        (Span(F(1, 8), F(2)), ends(digits=2), "0.12 - 2"),
        ((1.26, None), ends(), "1.3 - -"),
        (F(3, 4), ratio(), "3/4 = 0.7500"),
        (F(1), ratio(), "1"),
        ((), coils(), "none (all at rest)"),
        (("K1", "K2"), coils(), "K1, K2"),
        (("A", "B"), path(), "A B"),
        ((), path(), "-"),
        (("a", "b"), names(between=", then "), "a, then b"),
        (True, yes(), "yes"),
        (False, yes(), ""),
        (False, yes(yes_no=("held", "BROKEN")), "BROKEN"),
        (Level.LOW, word(), "low"),
        ("plain", word(), "plain"),
    ],
)
def test_people_get_words(value: Any, column: Column, told: str) -> None:
    assert text(value, column) == told


def test_a_document_has_every_headed_column_and_one_for_each_relay() -> None:
    made = cells([LINE], ("K1", "K3"))
    assert made.heads == ("name", "K1", "K3", "ratio", "in (V)", "out (V)", "hold (V)", "heat (W)", "path", "parts",
                          "good", "aloud")  # fmt: skip
    assert made.rows == (("=1+1", "energised", "rest", "3/4 = 0.7500", "0.3", "-", "1 - 2.5", "1.23", "A K1.no B",
                          "1 and 2", "BAD", "so it is"),)  # fmt: skip
    assert cells([LINE]).heads[1] == "energised"
    assert cells([]).heads == ()


def test_a_spreadsheet_takes_nothing_for_a_formula() -> None:
    rows = list(csv.reader(io.StringIO(as_csv([LINE], Line, ("K1", "-K3")))))
    assert rows[0][:3] == ["name", "energised", "ratio"]
    assert rows[0][-2:] == ["K1", "'-K3"]
    assert rows[1][0] == "'=1+1"
    assert rows[1][rows[0].index("output_v")] == ""
    assert rows[1][rows[0].index("hold_high_v")] == "2.5"
    assert rows[1][-2:] == ["1", "0"]
    heads, *rest = as_csv([LINE], Line).splitlines()
    assert len(rest) == 1
    without = as_csv([], Line).splitlines()
    assert set(without[0].split(",")) <= set(heads.split(","))
    assert len(without) == 1


def test_markdown_and_html_keep_text_as_text() -> None:
    from dataclasses import replace

    hostile = replace(LINE, name="<b>|*x*")
    lines = as_markdown([hostile], Line).splitlines()
    assert lines[0].startswith("| name | energised | ratio |")
    assert lines[1] == "|" + " --- |" * 11
    assert lines[2].startswith("| \\<b\\>\\|\\*x\\* | K1, K2 |")
    page = as_html([hostile])
    assert "<b>" not in page
    assert "<td>&lt;b&gt;|*x*</td>" in page
    assert page.count("<th ") == page.count("<td>") == 11
    assert as_html([]) == "<p>nothing</p>"
    assert "<caption>A &amp; B</caption>" in html_table(cells([LINE]), "A & B")


def test_a_screen_joins_columns_that_share_a_cell_and_leaves_some_out() -> None:
    table = grid([LINE], "Heading")
    assert [str(column.header) for column in table.columns] == [
        "name", "energised", "ratio", "in > out", "hold (V)", "heat (W)", "parts", "good", "aloud",
    ]  # fmt: skip
    assert [next(iter(column.cells)) for column in table.columns] == [
        "=1+1", "K1, K2", "3/4\n0.7500", "0.3 > -", "1 - 2.5", "1.23", "1 and 2", "BAD", "so it is",
    ]  # fmt: skip
    assert [column.no_wrap for column in table.columns[2:5]] == [True, True, False]
    assert str(table.title) == "Heading"
    spread = grid([LINE], spread=Spread(("K1", "K3"), words.throw), unit_told="V")
    assert [str(column.header) for column in spread.columns][1:3] == ["K1", "K3"]
    assert [next(iter(column.cells)) for column in spread.columns][1:3] == ["NO", "NC"]
    assert "hold" in [str(column.header) for column in spread.columns]
    assert "heat (W)" in [str(column.header) for column in spread.columns]
    assert len(grid([]).columns) == 0


def test_a_state_without_a_ratio_is_named_in_its_place() -> None:
    from dataclasses import replace

    (cell,) = grid([replace(LINE, ratio=None)]).columns[2].cells
    assert cell == "untold"


def test_names_with_brackets_are_no_markup() -> None:
    from dataclasses import replace

    console = Console(width=120, file=io.StringIO())
    console.print(grid([replace(LINE, name="[bold]x[/bold]")]))
    assert "[bold]x[/bold]" in console.file.getvalue()


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Answer):
    heading = "Told"
    caution = words.CAUTION_LINE

    title: str
    lines: Annotated[tuple[Line, ...], more()]
    one: Annotated[Line | None, more()]
    count: Annotated[int, number()]
    hidden: int = 0


def test_an_answer_has_parts_and_ends_with_its_caution() -> None:
    answer = Told(title="<x>", lines=(LINE,), one=None, count=1)
    assert answer.parts() == ("lines", "one")
    assert answer.rows() == (LINE,)
    assert answer.rows("one") == ()
    assert Told(title="", lines=(), one=LINE, count=0).rows("one") == (LINE,)
    assert list(answer.as_json()) == ["lines", "one", "count", "caution"]
    assert answer.as_json()["caution"] == words.CAUTION
    assert answer.headline == "Told: <x>"
    assert Told(title="", lines=(), one=None, count=0).headline == "Told"
    assert answer._repr_html_().startswith("<p><b>Told: &lt;x&gt;</b></p><table>")
    assert answer.wrong is False


def test_columns_are_found_in_the_order_of_the_fields() -> None:
    assert [field.name for field in fields_of(Line)][:4] == ["name", "energised", "ratio", "input_v"]
    assert next(field.key for field in fields_of(Line)) == "called"
    assert "kind" not in [field.name for field in fields_of(Line)]
    assert fields_of(Line)[0].column.kind is ColumnKind.WORD
    assert volts("in").headed == "in (V)"
    assert word("in").headed == "in"


def test_plain_values() -> None:
    found: Mapping[str, Any] = plain({"a": (F(1, 2), None, 3), "b": Span(F(1), F(2)), "c": 2.0})
    assert found == {"a": [0.5, None, 3], "b": [1, 2], "c": 2.0}
    assert plain(1.23456, 2) == 1.23
    assert plain(float("nan")) is None


# --- by hand ---


class Colour(Enum):
    DARK_RED = 3


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (Colour.DARK_RED, "dark_red"),
        (Level.LOW, "low"),
        (True, True),
        (7, 7),
        ("a", "a"),
        (F(6, 3), 2),
        (F(1, 2), 0.5),
        ([F(1), (F(1, 4),)], [1, [0.25]]),
        (Inner(Level.LOW, 0.5), {"level": "low", "share": 0.5}),
        (Rests(input_v=F(3)), {"input_v": 3}),
        (1.25, 1.25),
    ],
)
def test_a_value_as_json_has_it(value: Any, told: Any) -> None:
    found = plain(value)
    assert (found, type(found)) == (told, type(told))


def test_measured_numbers_are_rounded_wherever_they_stand_and_exact_ones_never() -> None:
    assert plain([1.23456, {"a": 2.34567}], 2) == [1.23, {"a": 2.35}]
    assert plain(F(1, 3), 2) == 1 / 3
    assert plain(float("nan"), 2) is None


@dataclass(frozen=True, slots=True)
class Case:
    case: Rests
    volts: Fraction


def test_a_case_within_a_witness_stands_under_its_own_keys() -> None:
    assert witness_json(Case(Rests(input_v=F(1), ratio=F(1, 4)), F(5, 2))) == {
        "input_v": 1, "ratio": "1/4", "ratio_float": 0.25, "volts": 2.5,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (F(1, 10**MOST_PLACES), f"0.{'0' * (MOST_PLACES - 1)}1"),
        (F(1, 10 ** (MOST_PLACES + 1)), "0"),
        (F(7, 2), "3.5"),
        (F(-7, 4), "-1.75"),
        (F(3, 5), "0.6"),
        (F(1, 6), "0.17"),
        (F(120), "120"),
    ],
)
def test_a_number_has_every_decimal_that_it_has_up_to_thirty(value: Fraction, told: str) -> None:
    assert as_stated(value, 2) == told
    assert MOST_PLACES == 30


@pytest.mark.parametrize("sign", "=+-@")
def test_no_cell_begins_a_formula(sign: str) -> None:
    assert safe(f"{sign}1") == f"'{sign}1"
    assert safe(f"1{sign}") == f"1{sign}"
    assert safe("") == ""


def test_marks_of_markdown_are_escaped_once() -> None:
    assert markdown_cell("a|b*c_d") == "a\\|b\\*c\\_d"
    assert markdown_cell("\\`[]<>#") == "\\\\\\`\\[\\]\\<\\>\\#"
    assert markdown_table(Cells(("a", "b"), (("1", "2"),))) == "| a | b |\n| --- | --- |\n| 1 | 2 |\n"
    assert html_table(Cells(("<a>",), (("&",),))) == (
        '<table><thead><tr><th scope="col">&lt;a&gt;</th></tr></thead><tbody><tr><td>&amp;</td></tr></tbody></table>'
    )


def test_the_heads_of_a_file_without_rows_are_those_of_one_with_rows() -> None:
    heads = flat_heads(Line)
    assert heads == list(flat(LINE))
    assert "note" not in heads
    assert "aloud" not in heads
    assert heads[2:4] == ["ratio", "ratio_float"]
    assert heads[6:8] == ["hold_low_v", "hold_high_v"]


@dataclass(frozen=True, slots=True)
class Headed:
    volts: Annotated[Fraction, number("usual", headed_by="own")]
    stated: Annotated[Fraction, number("stated", as_stated=True, digits=1)]
    unheaded: Annotated[int, number()]
    own: str = "own heading"


def test_a_column_headed_by_its_rows_has_the_heading_of_the_first() -> None:
    rows = [Headed(F(1), F(1, 8), 1), Headed(F(2), F(1, 3), 2, own="other")]
    assert [one.column.heading for one in shown_of(rows)] == ["own heading", "stated"]
    assert [one.column.heading for one in shown_of([], Headed)] == ["usual", "stated"]
    made = cells(rows)
    assert made.rows == (("1", "0.125"), ("2", "0.3"))
    assert cells([], kind=Headed) == Cells(("usual", "stated"), ())


def test_coils_have_a_column_each_only_where_relays_are_asked_for() -> None:
    assert cells([LINE], ("K2",)).rows[0][1] == "energised"
    assert cells([LINE]).rows[0][1] == "K1, K2"
    assert as_html([LINE], ("K1", "K3")).count("<th ") == as_html([LINE]).count("<th ") + 1
    assert as_markdown([], Line).count("\n") == 2
