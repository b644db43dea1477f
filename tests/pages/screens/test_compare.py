"""Two revisions on a screen: each difference under its heading, and only those that there are."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.comparison import FindingChange, MarginChange, PromiseChange, StatedChange, TraitChange
from tapplan.checks.judgement import Accepted
from tapplan.checks.traits import Trait
from tapplan.exact import Span
from tapplan.pages.screens import compare
from tests.answers.test_compare import idle, told
from tests.pages.screens.test_verdict import lines

F = Fraction
SAME = "No difference in what the files state, in bands, margins or findings."


def shown(**parts: Any) -> list[str]:
    return lines(compare.screen(told(**parts), 0))


def test_two_alike_revisions_have_no_difference() -> None:
    assert shown() == ["Changes from the older to the newer", SAME, "", "Nothing got worse."]


@pytest.mark.parametrize(
    ("parts", "heading", "line"),
    [
        ({"promises": (PromiseChange("k", Span(F(1), F(2)), Span(F(1), F(3)), False),)}, None,
         "k: 1 - 2 V becomes 1 - 3 V; no less is promised"),
        ({"margins": (MarginChange("m", F(3), F(4)),)}, "Margins (V)", "m     3    4   +1.00"),
        ({"stated": (StatedChange("a.b", 1, 2),)}, "What the file states", "a.b  1    2"),
        ({"gained": (idle("K"),)}, "Findings gained", "warning  idle-relay"),
        ({"lost": (idle("K"),)}, "Findings lost", "warning  idle-relay"),
        ({"accepted": (Accepted(idle("K"), "a spare"),)}, "Accepted since, with reasons", None),
        ({"grown": (FindingChange(idle("A"), idle("B")),)}, "Findings changed",
         "warning  idle-relay, relay B: no worse"),
        ({"traits": (TraitChange(None, Trait("move-gap", F(15), "ms", "x", "moves", 1)),)},
         "What every such stage has", "move-gap  -    15 ms  worse"),
    ],
)  # fmt: skip
def test_each_kind_of_difference_stands_under_its_heading(
    parts: dict[str, Any], heading: str | None, line: str | None
) -> None:
    text = shown(**parts)
    headings = {"Bands", "Margins (V)", "What the file states", "Findings gained", "Findings lost",
                "Accepted since, with reasons", "Findings changed", "What every such stage has"}  # fmt: skip
    assert [one for one in text if one in headings] == ([heading] if heading else [])
    assert line is None or line in text
    assert SAME not in text
    worse = told(**parts).worse
    assert text[-1] == ("Something got worse." if worse else "Nothing got worse.")


def test_the_smallest_margins_are_shown_only_where_some_margin_differs() -> None:
    smallest = (MarginChange("smallest", F(3), F(3)),)
    assert not any("smallest" in line for line in shown(smallest=smallest))
    assert any("smallest" in line for line in shown(smallest=smallest, margins=(MarginChange("m", F(3), F(4)),)))
    assert replace(told(), margins_differ=False).same
