"""The page: every answer in its chapter, row by row; what is not there is said; cards marked where there is more."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any
from xml.etree.ElementTree import Element

import html5lib
import pytest

from tapplan.answers.cards import Card, CardSources, Tone, cards, examined
from tapplan.answers.compare import compared
from tapplan.answers.margins import margins
from tapplan.answers.rate import rated
from tapplan.answers.table import truth_table
from tapplan.answers.verdict import verdict
from tapplan.checks.faulted import fault_table, never_survived
from tapplan.checks.finding import Severity
from tapplan.checks.marks import mark_of
from tapplan.checks.review import Review, review
from tapplan.design.file import load, parse
from tapplan.pages import report as parts
from tapplan.pages.measured import mains_style
from tapplan.pages.report import CONTENTS, report
from tapplan.pages.story import _outside
from tapplan.pictures.faultmarks import fault_marks
from tests.examples import ROOT

DESIGNS = ROOT / "designs"
EACH = pytest.mark.parametrize("name", ["ridge-dispensary", "hostel-review", "shepherds-hut", "signal-box"])


class Page:
    """A page as a tree; chapters by their anchors."""

    def __init__(self, text: str) -> None:
        self.tree: Element = html5lib.parse(text, namespaceHTMLElements=False)

    def part(self, anchor: str) -> Element:
        (found,) = (one for one in self.tree.iter() if one.get("id") == anchor)
        return found

    @property
    def anchors(self) -> list[str]:
        return [one.get("id", "") for one in self.tree.iter() if one.get("id")]


def told(one: Element) -> str:
    return " ".join("".join(one.itertext()).split())


def tables(part: Element) -> list[list[list[str]]]:
    return [
        [[told(cell) for cell in row if cell.tag in ("td", "th")] for row in table.iter("tr")]
        for table in part.iter("table")
    ]


def captions(part: Element) -> list[str]:
    return [told(one) for one in part.iter("caption")]


def column(part: Element, head: str, table: int = 0) -> list[str]:
    heads, *rows = tables(part)[table]
    return [row[heads.index(head)] for row in rows]


def items(part: Element, kind: str) -> list[Element]:
    (found,) = (one for one in part.iter("ul") if one.get("class") == kind)
    return list(found)


@cache
def reviewed(name: str) -> Review:
    return review(load(DESIGNS / f"{name}.toml"))


@cache
def page(name: str) -> Page:
    return Page(report(reviewed(name)))


@EACH
def test_every_answer_stands_in_its_chapter(name: str) -> None:
    made, one, seen = page(name), reviewed(name), examined(reviewed(name))
    found = seen.verdict
    assert column(made.part("table"), "band") == [row.name for row in one.table.rows]
    ways = items(made.part("table"), "ways")
    assert [told(way) for way in ways] == [
        f"{band.band}: {' '.join(band.path or ()) or 'none'}" for band in truth_table(one).bands
    ]
    assert column(made.part("findings"), "code") == [row.code for row in found.findings]
    assert column(made.part("findings"), "what") == [" ".join(row.message.split()) for row in found.findings]
    assert len(column(made.part("traits"), "trait")) == len(found.traits)
    promises = items(made.part("promises"), "promises")
    assert [told(one).split()[1] for one in promises] == [row.promise for row in found.promises]
    assert [one.get("class") == "kept" for one in promises] == [row.held for row in found.promises]
    assert len(tables(made.part("moves"))[0]) == 1 + len(seen.moves.moves)
    (matrix,) = tables(made.part("faults"))
    assert (len(matrix) - 1) * len(one.table.rows) == len(seen.faults.faults)
    proof, carried = margins(one), rated(one)
    at_worst = made.part("margins")
    assert column(at_worst, "band") == [row.band for row in proof.margins]
    assert len(tables(at_worst)[1]) == 1 + len(proof.handovers)
    steps = made.part("steps")
    assert told(steps).startswith(f"Sudden steps against {seen.steps.curve}")
    assert len(tables(steps)[0]) == 1 + len(seen.steps.steps)
    rating = made.part("ratings")
    assert captions(rating)[0] == "Windings, each at its worst"
    assert column(rating, "winding") == [row.name for row in carried.sections]
    assert ("Sections as they are wound" in captions(rating)) is bool(carried.layers)
    assert ("Error budget of the reading" in captions(at_worst)) is (proof.budget is not None)
    if proof.budget is not None:
        assert len(tables(at_worst)[2]) == 1 + len(proof.budget.with_sum)
        assert captions(at_worst)[-1] == "Thresholds in counts"


@EACH
def test_what_single_faults_come_to_is_told_over_their_matrix(name: str) -> None:
    rows = fault_table(reviewed(name))
    harmless = sum(row.harmless for row in rows)
    part = told(page(name).part("faults"))
    assert f"In {harmless} of {len(rows)} cases, each a fault in a band," in part
    for never in never_survived(rows):
        assert f"{never.part} {never.fault}" in part.partition("In every band the output leaves the window with: ")[2]


def test_where_the_load_leaves_and_comes_back_is_told_with_the_points_read() -> None:
    beside = {
        "ridge-dispensary": "beyond 164 V and 281 V, the outermost ends of the table, and comes back only between "
        "165.8 V and 277.5 V.",
        "hostel-review": "",
    }
    for name, expected in beside.items():
        shown = told(page(name).part("table"))
        assert (expected in shown) if expected else ("leaves the mains" not in shown)
    ridge = reviewed("ridge-dispensary").design
    for at, words in (("output", ", read at the output."), (("P", "Q"), ", read at P-Q.")):
        moved = replace(ridge, sensing=replace(ridge.sensing, at=at))
        assert _outside(replace(reviewed("ridge-dispensary").table, design=moved)).endswith(f"277.5 V{words}</p>")


@EACH
def test_contents_and_cards_lead_to_what_is_there(name: str) -> None:
    made = page(name)
    anchors = made.anchors
    assert len(anchors) == len(set(anchors))
    links = [one.get("href", "") for one in made.tree.iter("a")]
    assert {f"#{anchor}" for anchor in CONTENTS} <= set(links)
    assert {link[1:] for link in links} <= set(anchors)


@EACH
def test_the_cards_say_what_the_answers_come_to(name: str) -> None:
    """Also what a sound stage has to weigh: that many steps leave the curve is told at the head."""
    expected = cards(examined(reviewed(name)))
    shown = items(page(name).part("verdict"), "verdict")
    assert [one.get("class") for one in shown] == [one.tone.value for one in expected]
    for card, one in zip(expected, shown, strict=True):
        assert told(one).startswith(card.heading)
        assert told(one).endswith(" ".join(card.told.split()))
        assert ("(to weigh)" in told(one), "(broken)" in told(one)) == (card.tone == "mind", card.tone == "bad")
    assert any(one.tone == "bad" for one in expected) is (name == "hostel-review")


@EACH
def test_findings_lead_to_their_place_on_the_curve(name: str) -> None:
    rows, part = verdict(reviewed(name)).findings, page(name).part("findings")
    links = [row.find(".//a") for row in next(part.iter("tbody"))]
    faults = 0
    for row, link in zip(rows, links, strict=True):
        mark = mark_of(row.witness)
        assert (link is None) == (mark is None)
        if link is None or mark is None:
            continue
        assert float(link.get("data-at", "")) == pytest.approx(float(mark.input_v), abs=0.051)
        fault = row.severity is Severity.FAULT
        assert link.get("data-mark") == (f"mark-{faults}" if fault else None)
        faults += fault
    assert faults == len(fault_marks(rows))


def test_what_is_not_there_is_said() -> None:
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    found = verdict(reviewed("ridge-dispensary"))
    accepts = "".join(
        f'\n[[accept]]\ncode = "{code}"\nreason = "seen"\n' for code in sorted({one.code for one in found.findings})
    )
    part = Page(report(review(parse(text + accepts)))).part("findings")
    assert captions(part) == ["Accepted in the file, with reasons"]
    assert told(part).startswith("FindingsNone.")
    assert "None." not in told(page("ridge-dispensary").tree)


def test_differences_come_first_and_only_those_there_are() -> None:
    older, newer = reviewed("hostel-review"), reviewed("ridge-dispensary")
    made, found = Page(report(newer, older)), compared(older, newer)
    sections = [one.get("id") for one in made.tree.iter("section")]
    assert sections[0] == "differences"
    part = made.part("differences")
    assert found.told in told(part)
    wanted = {
        "Promises": found.promises,
        "Bands": found.bands,
        "Margins (V)": found.margins,
        "Findings gained": found.gained,
        "Findings lost": found.lost,
        "Accepted since, with reasons": found.accepted,
        "Findings changed": found.changed,
        "What every such stage has": found.traits,
        "What the file states": found.stated,
    }
    assert captions(part) == [caption for caption, rows in wanted.items() if rows]
    for caption, table in zip(captions(part), tables(part), strict=True):
        assert len(table) == 1 + len(wanted[caption])


def test_only_faults_with_an_input_and_an_output_are_marked_on_the_curve() -> None:
    found = verdict(reviewed("hostel-review")).findings
    marks = fault_marks(found)
    assert [one.code for one in marks] == ["out-of-window"]
    assert (round(float(marks[0].input_v), 3), round(float(marks[0].output_v), 3)) == (266.667, 266.667)
    assert fault_marks(verdict(reviewed("ridge-dispensary")).findings) == []


# --- parts of the page ---


@cache
def sources(name: str = "ridge-dispensary") -> CardSources:
    return examined(reviewed(name))


@pytest.mark.parametrize(("tone", "word"), [(Tone.GOOD, ""), (Tone.MIND, "to weigh"), (Tone.BAD, "broken")])
def test_a_card_leads_to_its_section_and_says_its_tone(tone: Tone, word: str) -> None:
    mark = f'<span class="faint"> ({word})</span>' if word else ""
    assert parts._card(Card("a < b", "c & d", tone, "here")) == (
        f'<li class="{tone.value}"><a href="#here">a &lt; b</a>{mark}<strong>c &amp; d</strong></li>'
    )


@pytest.mark.parametrize(("name", "kind", "sign"), [("ridge-dispensary", "kept", "\u2713"),
                                                    ("hostel-review", "broken", "\u2715")])  # fmt: skip
def test_the_head_says_the_verdict_with_its_sign(name: str, kind: str, sign: str) -> None:
    head = parts._head(sources(name), False)
    assert f'<p class="said {kind}"><span aria-hidden="true">{sign}</span> ' in head
    assert 'href="#mains"' not in head
    assert '<nav aria-label="Contents"><a href="#mains">Mains</a><a href="#promises">' in (
        parts._head(sources(name), True)
    )


def test_steps_and_moves_are_drawn_where_there_are_some() -> None:
    """Without a step there is nothing to draw."""
    drawn = parts._steps_picture(sources())
    assert drawn.startswith("<figure>")
    assert 'id="steps-picture"' in drawn
    seen = sources()
    assert parts._steps_picture(replace(seen, steps=replace(seen.steps, drawing=None))) == ""
    assert 'id="moves-picture"' in parts._moves_picture(reviewed("ridge-dispensary"))


def test_a_page_without_logs_and_without_an_older_revision_has_neither_part() -> None:
    text = report(reviewed("ridge-dispensary"))
    assert 'id="mains"' not in text
    assert 'id="differences"' not in text
    assert parts._mains(None) == ""
    assert 'id="differences"' in report(reviewed("ridge-dispensary"), reviewed("hostel-review"))


def test_the_rules_for_logs_are_on_the_page_just_where_logs_are() -> None:
    measured: Any = SimpleNamespace()
    without, logged = (parts._style(reviewed("ridge-dispensary"), one) for one in (None, measured))
    assert mains_style() not in without
    assert logged == without + mains_style()
