"""Sudden steps as a grid: the worst step of each pair in its cell, at its percent and ms, its verdict in words."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from math import log10
from typing import Any

import pytest

from tapplan.answers.steps import StepRow, Steps, steps
from tapplan.checks.aftermath import named
from tapplan.checks.recovery import StepVerdict, curve_of, verdicts
from tapplan.checks.review import Review, review
from tapplan.design.standards import CURVES
from tapplan.pictures.multiples import WIDTH, multiples
from tapplan.pictures.style import svg
from tests.bench.stages import table
from tests.examples import SHIPPED, narrow_chain
from tests.pictures.texts import Page, measured

F = Fraction
SVG = "{http://www.w3.org/2000/svg}"
LONG_NAME = "as long a name of a band as nobody ever gave one"
WIDE, LONG = "thirteen bands", "long names"
NAMES = (*(path.stem for path in SHIPPED), "narrow chain", WIDE, LONG)


@cache
def reviewed(name: str) -> Review:
    if name == "narrow chain":
        return review(narrow_chain())
    return review(table(next(path for path in SHIPPED if path.stem == name)).design)


@dataclass(frozen=True)
class Shown:
    """What `steps` answers, and the bands in their order."""

    stepped: Steps
    bands: tuple[str, ...]

    @property
    def drawn(self) -> Any:
        return multiples(self.stepped, self.bands)


@cache
def shown(name: str) -> Shown:
    if name in (WIDE, LONG):
        return everywhere(tuple(f"buck {n}" if name == WIDE else f"{LONG_NAME}, {n}" for n in range(1, 14)))
    one = reviewed(name)
    return Shown(steps(one), tuple(row.name for row in one.table.rows))


def everywhere(bands: tuple[str, ...]) -> Shown:
    """Thirteen bands, and the steps of a shipped design once between any two of them and the backup."""
    found = shown("ridge-dispensary").stepped
    names = [*bands, "backup"]
    pairs = [(start, end) for start in names for end in names if start != end]
    rows = tuple(
        replace(found.steps[number % len(found.steps)], start=start, entered=(end,))
        for number, (start, end) in enumerate(pairs)
    )
    return Shown(replace(found, steps=rows), bands)


@cache
def text_of(name: str) -> str:
    return svg(shown(name).drawn, "steps")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Page]:
    return dict(
        zip(NAMES, measured([text_of(name) for name in NAMES], tmp_path_factory.mktemp("steps")), strict=True)
    )


def cells(name: str) -> dict[int, ElementTree.Element]:
    """The cells, by the place of their step in the answer."""
    root = ElementTree.fromstring(text_of(name))  # noqa: S314 - our own text
    found = [one for one in root.iter(f"{SVG}g") if str(one.get("id")).startswith("step-cell-")]
    return {int(str(one.get("id")).removeprefix("step-cell-")): one for one in found}


@dataclass(frozen=True)
class Rectangle:
    x: float
    y: float
    wide: float
    high: float


def rectangles(group: ElementTree.Element, kind: str) -> list[Rectangle]:
    found = [one for one in group.iter(f"{SVG}rect") if one.get("class") == kind]
    return [Rectangle(*(float(str(one.get(key))) for key in ("x", "y", "width", "height"))) for one in found]


def numbers(path: ElementTree.Element) -> list[float]:
    return [float(part) for part in str(path.get("d")).replace("M", "").replace("L", " ").replace(",", " ").split()]


@pytest.mark.parametrize("name", NAMES)
def test_no_text_lies_on_another_or_outside(name: str, pages: dict[str, Page]) -> None:
    assert pages[name].overlapping == []
    assert pages[name].outside == []
    assert pages[name].width == WIDTH


@pytest.mark.parametrize("name", NAMES)
def test_the_words_of_a_cell_lie_in_it(name: str, pages: dict[str, Page]) -> None:
    """And those of another one do not: cells share no room."""
    edges = [one for group in cells(name).values() for one in rectangles(group, "edge")]
    inside = [
        one for one in pages[name].texts if any(one.text.startswith(word) for word in ("kept", "over", "under"))
    ]
    assert len(inside) == len(edges)
    for one in inside:
        holding = [
            edge
            for edge in edges
            if edge.x <= one.left
            and one.right <= edge.x + edge.wide
            and edge.y <= one.top
            and one.bottom <= edge.y + edge.high
        ]
        assert len(holding) == 1
    for place, one in enumerate(edges):
        for other in edges[place + 1 :]:
            assert abs(one.x - other.x) >= one.wide or abs(one.y - other.y) >= one.high


def worst(name: str) -> dict[tuple[str, str], StepVerdict]:
    """The most harmful verdict of each pair, from the proof itself."""
    one = reviewed(name)
    found: dict[tuple[str, str], StepVerdict] = {}
    for verdict in verdicts(one, curve_of(one)):
        key = (named(one, verdict.response.start), named(one, verdict.response.entered[-1]))
        if key not in found or verdict.harm > found[key].harm:
            found[key] = verdict
    return found


@pytest.mark.parametrize("name", [path.stem for path in SHIPPED])
def test_each_pair_has_one_cell_with_its_worst_step(name: str) -> None:
    rows, proven = shown(name).stepped.steps, worst(name)
    drawn = {(rows[number].start, rows[number].entered[-1]): rows[number] for number in cells(name)}
    assert len(cells(name)) == len(drawn)
    assert drawn.keys() == proven.keys()
    for key, row in drawn.items():
        assert (row.kept, row.side, row.output_v) == (proven[key].kept, proven[key].side, proven[key].output_v)
        assert row.lasts_ms == proven[key].lasts_ms


@pytest.mark.parametrize("name", NAMES)
def test_the_mark_of_a_cell_is_the_level_judged_and_how_long_it_lasts(name: str) -> None:
    """Read back from the cell: its bars begin at 1 ms and 0 %; the first bar tells how much a percent is."""
    rows = shown(name).stepped.steps
    nominal = next(100 * float(one.output_v) / one.percent for one in rows if one.percent)
    for number, group in cells(name).items():
        row, (edge,) = rows[number], rectangles(group, "edge")
        left, wide = edge.x + 4, edge.wide - 8
        x = left + wide * min(log10(max(float(row.lasts_ms), 1)) / 4, 1)
        crosses = [numbers(one) for one in group.iter(f"{SVG}path") if one.get("class") == "cross"]
        dots = list(group.iter(f"{SVG}circle"))
        assert (len(crosses), len(dots)) == ((0, 1) if row.kept else (2, 0))
        if row.kept:
            at = float(str(dots[0].get("cx"))), float(str(dots[0].get("cy")))
        else:
            at = (crosses[0][0] + crosses[0][2]) / 2, (crosses[0][1] + crosses[0][3]) / 2
        assert at[0] == pytest.approx(x, abs=0.05)
        bars = rectangles(group, "bar")
        assert len(bars) == len(row.course)
        for bar, phase in zip(bars, row.course, strict=True):
            begin, end = (min(log10(max(float(ms), 1)) / 4, 1) for ms in (phase.from_ms, phase.until_ms))
            assert (bar.x, bar.x + bar.wide) == (
                pytest.approx(left + wide * begin, abs=0.05),
                pytest.approx(left + wide * end, abs=0.05),
            )
        places = [
            (100 * float(phase.output_v.high) / nominal, bar.y) for bar, phase in zip(bars, row.course, strict=True)
        ]
        zero = [y for percent, y in places if percent == 0]
        high = [(percent, y) for percent, y in places if percent > 0]
        if zero and high:
            percent, y = high[0]
            assert at[1] == pytest.approx(zero[0] - (zero[0] - y) * row.percent / percent, abs=0.05)


@pytest.mark.parametrize("name", NAMES)
def test_a_cell_tells_its_verdict_in_words(name: str) -> None:
    rows = shown(name).stepped.steps
    for number, group in cells(name).items():
        row = rows[number]
        told = " ".join(str(one.text) for one in group.iter(f"{SVG}text"))
        assert told == f"{'kept' if row.kept else row.side} {row.percent:.0f} %"
        (title,) = (str(one.text) for one in group.iter(f"{SVG}title"))
        assert title.startswith(" > ".join((row.start, *row.entered)))
        assert title.endswith(row.verdict)
        assert str(group.get("class")) == f"cell {'kept' if row.kept else 'left'}"


@pytest.mark.parametrize("name", NAMES)
def test_rows_are_bands_left_and_columns_bands_entered_in_the_order_of_the_table(name: str) -> None:
    one = shown(name)
    order = [*one.bands, *(row for row in ("all at rest", "backup") if row not in one.bands)]
    edges = {number: rectangles(group, "edge")[0] for number, group in cells(name).items()}
    rows = one.stepped.steps
    for first, edge in edges.items():
        for second, other in edges.items():
            starts = [order.index(rows[number].start) for number in (first, second)]
            ends = [order.index(rows[number].entered[-1]) for number in (first, second)]
            assert (starts[0] < starts[1]) == (edge.y < other.y)
            assert (ends[0] < ends[1]) == (edge.x < other.x)


def dashes(name: str) -> list[list[float]]:
    """The limits in the first cell."""
    group = next(iter(cells(name).values()))
    return [numbers(one) for one in group.iter(f"{SVG}path") if one.get("class") == "limit"]


def test_the_dashes_are_the_corners_that_the_curve_is_published_with() -> None:
    """iti-2000: above 120 % until 0.5 s, then 110 %; below, nothing until 20 ms, 70 % until 0.5 s, 80 % to 10 s."""
    group = next(iter(cells("ridge-dispensary").values()))
    (edge,) = rectangles(group, "edge")
    over, under = dashes("ridge-dispensary")
    left, wide = edge.x + 4, edge.wide - 8

    def ms(x: float) -> float:
        return float(10 ** (4 * (x - left) / wide))

    base = max(under[1::2])  # nothing at all
    per_cent = (base - over[-1]) / 110
    levels = [round((base - y) / per_cent) for y in under[1::2]]
    assert sorted(set(levels)) == [0, 70, 80]
    ends = {level: ms(max(x for x, one in zip(under[::2], levels, strict=True) if one == level)) for level in (0, 70)}
    assert ends[0] == pytest.approx(20, rel=0.06)
    assert ends[70] == pytest.approx(500, rel=0.06)
    upper = [round((base - y) / per_cent) for y in over[1::2]]
    assert {120, 110} <= set(upper)
    until = ms(max(x for x, one in zip(over[::2], upper, strict=True) if one == 120))
    assert until == pytest.approx(500, rel=0.06)


@pytest.mark.parametrize("key", [one.key for one in CURVES])
def test_every_curve_is_drawn(key: str) -> None:
    found = steps(reviewed("ridge-dispensary"), key)
    drawn = multiples(found, shown("ridge-dispensary").bands)
    assert (drawn is None) == (not found.steps)


def test_where_no_step_moves_relays_there_is_no_picture() -> None:
    one = shown("signal-box")
    assert multiples(replace(one.stepped, steps=(), drawing=None), one.bands) is None


def tied() -> tuple[StepRow, ...]:
    """One pair with a step kept far inside, one kept nearly, one left by little, one left by much."""
    row = shown("signal-box").stepped.steps[0]
    made = [(True, 80.0, 70.0), (True, 71.0, 70.0), (False, 69.0, 70.0), (False, 30.0, 70.0)]
    return tuple(
        replace(row, kept=kept, side="under", percent=percent, allowed_percent=allowed)
        for kept, percent, allowed in made
    )


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_of_a_pair_the_one_that_leaves_most_or_comes_nearest_is_shown(count: int) -> None:
    one = shown("signal-box")
    drawn = multiples(replace(one.stepped, steps=tied()[:count]), one.bands)
    root = ElementTree.fromstring(svg(drawn, "steps"))  # noqa: S314 - our own text
    assert f"step-cell-{count - 1}" in {str(group.get("id")) for group in root.iter(f"{SVG}g")}
