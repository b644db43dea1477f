"""The plan of the bench on one sheet of paper: a measurement stands beside all that failing it means."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from tapplan.answers.plan import BenchPlan, MeaningRow, RepairPlanRow
from tapplan.answers.words import CAUTION
from tapplan.pages.plan import plan_html


def meaning(number: int) -> MeaningRow:
    return MeaningRow(readings=f"<{number}", spans=(), means=(), what=f"it {number}", then=None, mend=(),
                      to_do=f"mend {number}")  # fmt: skip


def line(number: int, *means: MeaningRow) -> RepairPlanRow:
    return RepairPlanRow(line=number, condition="off", measure="ohms", asked=f"ask <{number}>", passes="< 1 ohm",
                         caught=0.5, means=means)  # fmt: skip


def plan(*lines: RepairPlanRow) -> BenchPlan:
    return BenchPlan(title="a < b", lines=lines, caught=0.5, source_told="Small source.")


def rows(page: str) -> list[list[str]]:
    """The rows of the body, cell by cell, with the cells' own marks."""
    return [re.findall(r"<td[^>]*>.*?</td>", one) for one in re.findall(r"<tr>(<td.*?)</tr>", page)]


def test_a_line_spans_the_rows_of_what_it_can_mean() -> None:
    page = plan_html(plan(line(1, meaning(1), meaning(2)), line(2, meaning(3))))
    first, second, third = rows(page)
    assert first[:2] == [
        '<td class="n" rowspan="2">1</td>',
        '<td class="m" rowspan="2"><b>ask &lt;1&gt;</b><br>passes: &lt; 1 ohm</td>',
    ]
    assert first[2:] == ["<td>&lt;1</td>", "<td>it 1</td>", "<td>mend 1</td>"]
    assert second == ["<td>&lt;2</td>", "<td>it 2</td>", "<td>mend 2</td>"]
    assert third[0] == '<td class="n" rowspan="1">2</td>'
    assert len(third) == 5
    assert page.count("<tbody>") == 2


def test_a_line_that_means_nothing_on_its_own_leads_to_isolate() -> None:
    (only,) = rows(plan_html(plan(line(1))))
    assert only[2:] == ["<td>anything else</td>", "<td></td>", "<td>isolate</td>"]


def test_the_page_says_what_it_is_how_it_is_used_and_the_caution() -> None:
    answer = plan(line(1, meaning(1)))
    page = plan_html(answer)
    assert "<h1>Plan for the bench: a &lt; b</h1>" in page
    for told in answer.told:
        assert told in page
    assert CAUTION.replace("'", "&#x27;") in page
    assert re.findall(r'<th class="(\w)">(.*?)</th>', page) == [
        ("n", ""), ("m", "measure"), ("r", "if it reads"), ("w", "it is"), ("s", "so"),
    ]  # fmt: skip
    empty: Any = plan_html(replace(answer, lines=()))
    assert "Nothing is left to plan" in empty
    assert "<tbody>" not in empty
