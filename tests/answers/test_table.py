"""The truth table where the controller does not read the line: whose volts each column is in, and every digit."""

from __future__ import annotations

import csv
import io
import re
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from tapplan.answers.forms import as_html, as_stated, cells
from tapplan.answers.table import BandReadElsewhere, BandRow, Coverage, GapRow, TruthTable, truth_table
from tapplan.checks.review import review
from tapplan.design.file import load, parse
from tapplan.exact import Span
from tapplan.pages.documents import table_csv, table_markdown
from tapplan.pages.screens import table as table_screen
from tests.examples import ROOT

F = Fraction
ORCHARD = (ROOT / "designs" / "orchard-cold-room.toml").read_text(encoding="utf-8")
READING_TURNS = 24
LINE_TURNS = {"boost 2": 362, "boost 1": 362 + 47, "buck 1": 362 + 47 + 17 + 34, "buck 2": 362 + 47 + 17 + 34 + 58}
LINE_HEADS = ("line, rising: in (V)", "line, rising: out (V)", "line, falling: in (V)", "line, falling: out (V)")


def orchard(text: str = ORCHARD) -> TruthTable:
    return truth_table(review(parse(text)))


def holds_written(text: str) -> list[str]:
    """The holds as the file writes them."""
    return [f"{low} - {high}" for low, high in re.findall(r"^hold_v = \[([\d.]+), ([\d.]+)\]", text, re.M)]


def screen(answer: TruthTable, width: int) -> str:
    console = Console(width=width, no_color=True)
    with console.capture() as captured:
        console.print(table_screen.screen(answer, width))
    return captured.get()


def markdown_rows(answer: TruthTable) -> list[dict[str, str]]:
    lines = [line.strip("| ").split(" | ") for line in table_markdown(answer).splitlines() if line.startswith("| ")]
    return [dict(zip(lines[0], line, strict=True)) for line in lines[2:]]


def test_a_hold_stands_with_the_places_it_is_read_at_and_the_thresholds_with_the_line() -> None:
    answer = orchard()
    rows = markdown_rows(answer)
    assert [row["hold, read at S2-S1 (V)"] for row in rows] == holds_written(ORCHARD)
    assert set(LINE_HEADS) < set(rows[0])
    for row, (name, turns) in zip(rows, LINE_TURNS.items(), strict=True):
        low, high = (F(end) * turns / READING_TURNS for end in row["hold, read at S2-S1 (V)"].split(" - "))
        assert row["band"] == name
        assert F(row["line, rising: out (V)"]) == pytest.approx(high, abs=0.0005)
        assert F(row["line, falling: out (V)"]) == pytest.approx(low, abs=0.0005)
    assert '<th scope="col">hold, read at S2-S1 (V)</th>' in as_html(answer.bands)


def test_a_hold_keeps_every_digit_of_the_file() -> None:
    fine = ORCHARD.replace("[11.15, 13.27]", "[11.15005, 13.2701875]").replace("[11.55, 13.5]", "[11.55, 13.50001]")
    answer = orchard(fine)
    assert [row["hold, read at S2-S1 (V)"] for row in markdown_rows(answer)] == holds_written(fine)
    shown = screen(answer, 80)
    assert all(told in shown for told in holds_written(fine))
    first, *_ = csv.DictReader(io.StringIO(table_csv(answer)))
    assert (first["hold_low_v"], first["hold_high_v"]) == ("11.15005", "13.2701875")


def test_thresholds_read_on_the_line_keep_every_digit_of_the_file() -> None:
    ridge = (ROOT / "designs" / "ridge-dispensary.toml").read_text(encoding="utf-8")
    assert "192]" in ridge
    answer = orchard(ridge.replace("192]", "192.00625]"))
    (row, *_) = markdown_rows(answer)
    assert row["line, rising: out (V)"] == row["hold, read at the input (V)"].split(" - ")[1] == "192.00625"
    assert "- > 192.00625" in screen(answer, 120)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_screen_marks_the_lines_volts_and_shows_the_holds_beside_what_is_read_of_a_volt(width: int) -> None:
    answer = orchard()
    shown = screen(answer, width)
    lines = shown.splitlines()
    assert all(len(line) <= width for line in lines)
    (above,) = (line for line in lines if "line, rising:" in line)
    assert "line, falling:" in above
    (head,) = (
        place for place, line in enumerate(lines) if line.startswith("band") and "hold, read at S2-S1 (V)" in line
    )
    for line, (name, turns), hold in zip(lines[head + 1 :], LINE_TURNS.items(), holds_written(ORCHARD), strict=False):
        share = F(READING_TURNS, turns)
        assert line.split("  ")[0] == name
        assert hold in line
        assert f"{share} = {float(share):.4f}" in line


def test_where_the_line_is_read_the_screen_shows_no_hold_apart() -> None:
    answer = truth_table(review(load(ROOT / "designs" / "ridge-dispensary.toml")))
    assert answer.as_read == ()
    shown = screen(answer, 120)
    assert "read at" not in shown
    assert "line," not in shown


def test_read_at_the_output_the_holds_are_the_outputs_volts() -> None:
    answer = truth_table(review(load(ROOT / "designs" / "spring-pump.toml")))
    rows = markdown_rows(answer)
    boost = rows[0]["hold, read at the output (V)"].split(" - ")
    assert F(boost[1]) / F(598, 520) == pytest.approx(F(rows[0]["line, rising: out (V)"]), abs=0.0005)
    assert [one.reading_per_line for one in answer.as_read] == [F(598, 520), F(1)]


@pytest.mark.parametrize(
    ("name", "place"), [("orchard-cold-room", "S2-S1"), ("spring-pump", "output"), ("ridge-dispensary", "input")]
)
def test_scripts_are_told_where_each_hold_is_read(name: str, place: str) -> None:
    answer = truth_table(review(load(ROOT / "designs" / f"{name}.toml")))
    told: Any = answer.as_json()["bands"]
    for one, row in zip(told, csv.DictReader(io.StringIO(table_csv(answer))), strict=True):
        assert one["read_at"] == row["read_at"] == place
        share = F(one["reading_per_line"])
        assert float(row["reading_per_line_float"]) == one["reading_per_line_float"] == pytest.approx(float(share))
        assert one["hold_v"][1] == pytest.approx(float(share) * one["leave_rising_v"]) or name == ("ridge-dispensary")
        assert "hold" not in {key for key in one if key != "hold_v"}


def test_the_kind_of_row_follows_from_where_is_read() -> None:
    assert orchard().band_kind is BandReadElsewhere
    assert truth_table(review(load(ROOT / "designs" / "ridge-dispensary.toml"))).band_kind is BandRow
    assert cells([], kind=BandReadElsewhere).heads == (
        "band", "energised", "ratio", "hold, as read (V)", *LINE_HEADS, "output (V)", "output at worst (V)", "path",
    )  # fmt: skip


@given(st.integers(-(10**12), 10**12), st.integers(0, 12))
def test_a_number_that_ends_is_written_whole(digits: int, places: int) -> None:
    written = Decimal(digits).scaleb(-places)
    told = as_stated(F(written), 0)
    assert F(told) == F(written)
    assert "e" not in told.lower()
    assert not (told.endswith(("0", ".")) and "." in told)


@pytest.mark.parametrize(("value", "told"), [(F(1, 3), "0.333"), (F(2, 7), "0.286"), (F(1, 2**31), "0"), (F(5), "5")])
def test_a_number_without_an_end_is_rounded(value: F, told: str) -> None:
    assert as_stated(value, 3) == told


def test_a_table_without_a_gap_tells_the_range_to_a_tenth_of_a_volt() -> None:
    told = Coverage(Span(F("168.25"), F("274.5")), ()).told
    assert told == "Coverage: no gap from 168.2 to 274.5 V, whatever the reading's error."
    one = GapRow("dead-zone", F(200), F(203), 'bands "a" and "b"', "nobody holds it")
    assert Coverage(Span(F(168), F(274)), (one,)).told.splitlines() == [
        "Coverage: 1 gap",
        '  dead-zone (bands "a" and "b"): nobody holds it',
    ]
    assert Coverage(Span(F(168), F(274)), (one, one)).told.startswith("Coverage: 2 gaps\n")
