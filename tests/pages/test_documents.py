"""Documents of a table and a sheet: headings without rows, room to write."""

from __future__ import annotations

from dataclasses import replace

from tapplan.answers.sheet import bench_sheet
from tapplan.answers.table import truth_table
from tapplan.bench.meter import Meter
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.pages.documents import sheet_markdown, table_csv, table_markdown
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
