"""Documents of a table and a sheet: headings without rows, room to write."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from functools import cache

from tapplan.answers.sheet import BenchSheet, bench_sheet
from tapplan.answers.table import TruthTable, truth_table
from tapplan.answers.words import CAUTION
from tapplan.bench.meter import Meter
from tapplan.bench.sheet import SheetLine
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.documents import COLUMNS, sheet_csv, sheet_html, sheet_markdown, table_csv, table_markdown
from tapplan.version import __version__
from tests.answers.test_sheet import CLICK, OHMS, sheet_of, span
from tests.examples import ROOT

DESIGNS = ROOT / "designs"


def test_a_table_without_bands_keeps_its_headings() -> None:
    one = truth_table(review(load(DESIGNS / "ridge-dispensary.toml")))
    bare = replace(one, bands=())
    assert table_csv(bare).splitlines() == table_csv(one).splitlines()[:1]
    heads = [line for line in table_markdown(one).splitlines() if line.startswith("|")][:2]
    assert [line for line in table_markdown(bare).splitlines() if line.startswith("|")] == heads


def test_a_sheet_for_paper_ends_its_lines_with_room_to_write() -> None:
    sheet = bench_sheet(control_table(load(DESIGNS / "ridge-dispensary.toml")), Meter())
    first = sheet.sections[0].lines[0]
    lines = [line for line in sheet_markdown(sheet).splitlines() if line.startswith("| step")]
    assert {line.split(" | ")[-2:] == ["reading", "ok |"] for line in lines} == {True}
    (row,) = (line for line in sheet_markdown(sheet).splitlines() if line.startswith(f"| {first.step} "))
    assert row.endswith("|  |  |")


# --- of a sheet made by hand ---


@cache
def made() -> BenchSheet:
    lines = (SheetLine(1, OHMS, (span(0, 0.25),)), SheetLine(2, CLICK, (span(1, 1),), "a <click>"))
    return replace(sheet_of(*lines), title="=Mill")


def test_a_sheet_as_csv_names_the_design_and_has_a_line_a_measurement() -> None:
    head, columns, first, second = csv.reader(io.StringIO(sheet_csv(made())))
    assert head == ["fingerprint", made().fingerprint, "title", "'=Mill", "tapplan", __version__]
    assert tuple(columns) == COLUMNS
    assert first == ["1", "off coils KL", "ohms KL.com KL.no", "ohm", "0", "0.25", "up to 0.25 ohm", "", ""]
    assert second == ["2", "off coils KL", "click KL", "", "", "", "yes", "", "a <click>"]


def test_a_sheet_in_markdown_has_its_steps_numbered_and_a_table_a_part() -> None:
    text = sheet_markdown(made())
    lines = text.splitlines()
    assert lines[0] == "# Test sheet: =Mill"
    assert lines[2] == f"Design {made().fingerprint}, tapplan {__version__}. "
    assert f"**{CAUTION}**" in lines
    numbered = [line for line in lines if line[:1].isdigit()]
    assert numbered == [f"{place + 1}. {told}" for place, told in enumerate((*made().set_up, made().source_told))]
    assert numbered[0].startswith("1. ")
    assert [line for line in lines if line.startswith("## ")] == [
        "## Which coils in which band", "## 1. Off", "## 2. Low",
    ]  # fmt: skip
    assert made().origin_told in text
    assert "Plug out." in lines
    assert sum(line.startswith("| 1 | ") for line in lines) == sum(line.startswith("| 2 | ") for line in lines) == 1
    assert "bands chosen" not in sheet_markdown(replace(made(), origin_told=""))


def test_a_sheet_as_a_page_has_the_same_and_room_to_write() -> None:
    page = sheet_html(made())
    assert page.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert "<h1>Test sheet: =Mill</h1>" in page
    assert page.count("<li>") == len(made().set_up) + 1
    assert page.count('<div class="lines">') == len(made().sections) == 2
    assert page.count('<th scope="col">reading</th><th scope="col">ok</th>') == 2
    assert page.count("<td></td><td></td></tr>") == 2
    assert "a &lt;click&gt;" in page
    assert "<h2>1. Off</h2><p>Plug out.</p>" in page
    assert f"<p>{made().origin_told}</p>" in page
    assert "<p></p>" not in sheet_html(replace(made(), origin_told=""))
    assert f"Design {made().fingerprint}, tapplan {__version__}" in page


@cache
def table() -> TruthTable:
    return truth_table(review(load(DESIGNS / "ridge-dispensary.toml")))


def test_a_table_in_markdown_says_of_which_design_it_is_and_ends_with_the_caution() -> None:
    lines = table_markdown(table()).splitlines()
    assert lines[0] == "# Ridge dispensary, 230 V, 500 VA, feeder shared with a saw mill"
    assert lines[2] == f"Design {fingerprint(table().design)}, tapplan {__version__}."
    assert lines[-1] == f"*{CAUTION}*"
    assert sum(line.startswith("| ") for line in lines) == 1 + 1 + 4  # heads, the line under them, bands


def test_a_table_as_csv_has_a_column_of_nought_and_one_for_each_relay() -> None:
    rows = list(csv.DictReader(io.StringIO(table_csv(table()))))
    assert [(row["band"], row["KL"], row["KO"]) for row in rows] == [
        ("boost 2", "1", "1"), ("boost 1", "1", "0"), ("direct", "0", "1"), ("buck", "0", "0"),
    ]  # fmt: skip
