"""The faults as a table of the page: read as a browser reads it, against the answer and the page's own data."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from tapplan.answers.faults import FaultEffect, Faults, faults
from tapplan.checks.review import review
from tapplan.design.file import load
from tapplan.pages.live import live
from tapplan.pages.matrix import MEANINGS, SYMBOLS, matrix_html, matrix_style
from tests.examples import ROOT, SHIPPED


@dataclass
class Element:
    """An element with its attributes, and all the text in it."""

    tag: str
    attributes: dict[str, str | None]
    text: str = ""


@dataclass
class Reader(HTMLParser):
    """Every element of a page, in the order in which they open; an element left open is an error."""

    elements: list[Element] = field(default_factory=list)
    opened: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[Any]) -> None:
        made = Element(tag, dict(attrs))
        self.elements.append(made)
        if tag != "br":
            self.opened.append(made)

    def handle_endtag(self, tag: str) -> None:
        assert self.opened.pop().tag == tag

    def handle_data(self, data: str) -> None:
        for one in self.opened:
            one.text += data

    def of(self, tag: str) -> list[Element]:
        return [one for one in self.elements if one.tag == tag]


def read(answer: Faults) -> Reader:
    reader = Reader()
    reader.feed(matrix_html(answer))
    reader.close()
    assert not reader.opened
    return reader


def of_design(name: str) -> Faults:
    return faults(review(load(ROOT / "designs" / f"{name}.toml")))


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_a_button_picks_the_fault_that_the_pages_data_has_under_its_number(file: Path) -> None:
    one = review(load(file))
    data: Any = live(one)
    known = [told["name"].replace(": ", " ", 1) for told in data["faults"]]
    buttons = read(faults(one)).of("button")
    assert len(buttons) == len(known)
    for button in buttons:
        assert button.attributes["type"] == "button"
        assert known[int(button.attributes["data-fault"] or -1)] == button.text


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_every_cell_is_headed_named_and_told_without_colour(file: Path) -> None:
    answer = faults(review(load(file)))
    page, matrix = read(answer), answer.matrix
    scopes = [one.attributes["scope"] for one in page.of("th")]
    assert scopes == ["col"] * (1 + len(matrix.bands)) + ["row"] * len(matrix.rows)
    assert [one.text for one in page.of("th")[1 : 1 + len(matrix.bands)]] == list(matrix.bands)
    cells = [(row.place, number, cell) for row in matrix.rows for number, cell in enumerate(row.cells)]
    assert len(page.of("td")) == len(cells) == len({one.attributes["id"] for one in page.of("td")})
    for shown, (place, number, cell) in zip(page.of("td"), cells, strict=True):
        assert shown.attributes == {"id": f"fault-{place}-{number}", "class": cell.effect.value}
        assert shown.text == f"{cell.word}{cell.meter}"
        assert f'td.{cell.effect.value}::before{{content:"{SYMBOLS[cell.effect]} "/""}}' in matrix_style()


def test_symbols_tell_effects_apart_and_each_that_occurs_is_explained() -> None:
    assert len(set(SYMBOLS.values())) == len(SYMBOLS) == len(MEANINGS) == len(FaultEffect)
    legend = read(of_design("spring-pump")).of("p")[0].text
    for effect in FaultEffect:
        occurs = effect is not FaultEffect.AWAY  # a stage without a backup
        assert (SYMBOLS[effect] in legend) is occurs
        assert (MEANINGS[effect] in legend) is occurs
    assert SYMBOLS[FaultEffect.AWAY] in read(of_design("ridge-dispensary")).of("p")[0].text


def test_names_of_a_file_are_text_and_nothing_else() -> None:
    (first, *others) = of_design("spring-pump").faults
    wicked = replace(first, part="<b>&K", band="boost")
    told = matrix_html(replace(of_design("spring-pump"), faults=(wicked, *others)))
    assert "<b>&" not in told
    assert "&lt;b&gt;&amp;K bridged" in told


def test_without_bands_there_is_no_table() -> None:
    assert matrix_html(replace(of_design("spring-pump"), faults=(), bands=())) == ""
