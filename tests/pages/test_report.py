"""The page: every answer under its heading, row by row; what is not there is said; cards marked only where wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from html import unescape
from html.parser import HTMLParser

import pytest

from tapplan.answers.compare import compared
from tapplan.answers.faults import faults
from tapplan.answers.margins import margins
from tapplan.answers.moves import moves
from tapplan.answers.rate import rated
from tapplan.answers.steps import steps
from tapplan.answers.verdict import verdict
from tapplan.checks.review import Review, review
from tapplan.design.file import load, parse
from tapplan.pages.report import fault_marks, report
from tests.examples import ROOT

DESIGNS = ROOT / "designs"


@dataclass
class Part:
    """What stands under one heading: captions with the rows of their tables (heads first), and its other text."""

    tables: list[list[list[str]]] = field(default_factory=list)
    captions: list[str] = field(default_factory=list)
    text: str = ""


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.parts: dict[str, Part] = {"": Part()}
        self.here, self.inside, self.cards = "", "", []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        part = self.parts[self.here]
        if tag in ("h2", "style", "script", "svg"):
            self.inside, self.word = tag, ""
        elif tag == "table":
            part.tables.append([])
        elif tag == "tr":
            part.tables[-1].append([])
        elif tag in ("td", "th"):
            part.tables[-1][-1].append("")
            self.inside = "cell"
        elif tag == "caption":
            part.captions.append("")
            self.inside = "caption"
        elif tag == "li":
            self.cards.append([dict(attrs).get("class"), ""])
            self.inside = "card"

    def handle_endtag(self, tag: str) -> None:
        if tag == "h2":
            self.here = self.word
            self.parts[self.here] = Part()
        if tag in ("h2", "td", "th", "caption", "li", "style", "script", "svg"):
            self.inside = ""

    def handle_data(self, data: str) -> None:
        part = self.parts[self.here]
        match self.inside:
            case "h2":
                self.word += data
            case "cell":
                part.tables[-1][-1][-1] += data
            case "caption":
                part.captions[-1] += data
            case "card":
                self.cards[-1][1] += data
            case "":
                part.text += data


@cache
def reviewed(name: str) -> Review:
    return review(load(DESIGNS / f"{name}.toml"))


@cache
def page(name: str) -> Page:
    return Page(report(reviewed(name)))


def column(part: Part, head: str, table: int = 0) -> list[str]:
    heads, *rows = part.tables[table]
    return [row[heads.index(head)] for row in rows]


@pytest.mark.parametrize("name", ["ridge-dispensary", "hostel-review", "shepherds-hut", "signal-box"])
def test_every_answer_stands_under_its_heading(name: str) -> None:
    parts, one = page(name).parts, reviewed(name)
    found = verdict(one)
    assert column(parts["Truth table"], "band") == [row.name for row in one.table.rows]
    assert column(parts["Findings"], "code") == [row.code for row in found.findings]
    assert column(parts["Findings"], "what") == [row.message for row in found.findings]
    assert len(column(parts["What every such stage has"], "trait")) == len(found.traits)
    assert len(parts["Promises"].tables[0]) == 1 + len(found.promises)
    assert len(parts["Moves of the relays"].tables[0]) == 1 + len(moves(one).moves)
    assert len(parts["Single faults, the most harmful first"].tables[0]) == 1 + len(faults(one).faults)
    proof, stepped, carried = margins(one), steps(one), rated(one)
    at_worst = parts["Margins at the worst corner"]
    assert column(at_worst, "band") == [row.band for row in proof.margins]
    assert at_worst.captions == ["How neighbours share what they could"]
    assert len(at_worst.tables[1]) == 1 + len(proof.handovers)
    (against,) = (heading for heading in parts if heading.startswith("Sudden steps against"))
    assert against == f"Sudden steps against {stepped.curve}"
    assert len(parts[against].tables[0]) == 1 + len(stepped.steps)
    rating = parts["Ratings"]
    assert rating.captions[0] == "Windings, each at its worst"
    assert column(rating, "winding") == [row.name for row in carried.sections]
    assert ("Error budget of the reading" in parts) is (proof.budget is not None)
    if proof.budget is not None:
        budget = parts["Error budget of the reading"]
        assert len(budget.tables[0]) == 1 + len(proof.budget.with_sum)
        assert budget.captions == ["Thresholds in counts"]


def test_the_cards_are_marked_only_where_something_is_wrong() -> None:
    for name, faulty in (("ridge-dispensary", False), ("hostel-review", True)):
        promised, told, counted = page(name).cards
        assert promised[0] is None
        assert [told[0], counted[0]] == [("bad" if faulty else None)] * 2
        assert verdict(reviewed(name)).told in unescape(told[1])
        assert counted[1].startswith("Findings3 faults" if faulty else "Findings2 warnings")


def test_what_is_not_there_is_said() -> None:
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    found = verdict(reviewed("ridge-dispensary"))
    accepts = "".join(
        f'\n[[accept]]\ncode = "{code}"\nreason = "seen"\n' for code in sorted({one.code for one in found.findings})
    )
    accepting = Page(report(review(parse(text + accepts))))
    assert accepting.parts["Findings"].captions == ["Accepted in the file, with reasons"]
    assert accepting.parts["Findings"].text == "None."
    assert accepting.cards[2][1] == "Findingsnone"
    plain = page("ridge-dispensary").parts
    assert "Accepted in the file, with reasons" not in plain["Findings"].captions
    assert "None." not in "".join(part.text for part in plain.values())


def test_differences_come_first_and_only_those_there_are() -> None:
    older, newer = reviewed("hostel-review"), reviewed("ridge-dispensary")
    made, found = Page(report(newer, older)), compared(older, newer)
    heading = next(heading for heading in made.parts if heading.startswith("Differences since"))
    assert list(made.parts)[:2] == ["", heading]
    part = made.parts[heading]
    assert found.told in part.text
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
    assert part.captions == [caption for caption, rows in wanted.items() if rows]
    for caption, table in zip(part.captions, part.tables, strict=True):
        assert len(table) == 1 + len(wanted[caption])


def test_only_faults_with_an_input_and_an_output_are_marked_on_the_curve() -> None:
    found = verdict(reviewed("hostel-review")).findings
    marks = fault_marks(found)
    assert [one.code for one in marks] == ["out-of-window"]
    assert (round(float(marks[0].input_v), 3), round(float(marks[0].output_v), 3)) == (266.667, 266.667)
    assert fault_marks(verdict(reviewed("ridge-dispensary")).findings) == []
