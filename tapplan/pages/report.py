"""The report: one page that needs nothing else, for reviewers, repairers and printers alike.

It reads the answers of the verbs, so that it says what they say, in their words and columns.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from html import escape
from string import Template
from typing import TYPE_CHECKING, Any

from tapplan.answers.compare import compared
from tapplan.answers.faults import faults
from tapplan.answers.findings import FindingRow, any_fault, counts_told
from tapplan.answers.margins import Margins, margins
from tapplan.answers.moves import moves
from tapplan.answers.rate import rated
from tapplan.answers.steps import Drawing, steps
from tapplan.answers.table import TruthTable, truth_table
from tapplan.answers.verdict import Verdict, verdict
from tapplan.answers.words import CAUTION, span
from tapplan.checks.finding import Severity
from tapplan.checks.marks import mark_of
from tapplan.checks.review import Review
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.live import live
from tapplan.pages.markup import figure, rows_table, section, static
from tapplan.pictures.curve import Mark, bandbars, curve
from tapplan.pictures.envelope import envelope
from tapplan.pictures.schematic import schematic
from tapplan.pictures.style import inside, rules
from tapplan.version import __version__

if TYPE_CHECKING:
    from tapplan.pages.measured import Measured

ENVELOPE = (
    "The worst step. Bars: what the output can be, phase by phase, each at its latest; dashed: what the curve "
    "tolerates at that time. 100 % is nominal."
)


def report(review: Review, older: Review | None = None, measured: Measured | None = None) -> str:
    """The page for a design; with an older revision, the differences first; with logs, what they made of it.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    title, found, table = escape(review.design.title), verdict(review), truth_table(review)
    mains = more = ""
    if measured is not None:
        from tapplan.pages.measured import mains_section, mains_style  # a page without logs needs none of it

        mains, more = mains_section(measured), mains_style()
    parts = [
        f"<h1>{title}</h1><p class='faint'>Design {fingerprint(review.table.stated)}, tapplan {__version__}</p>",
        f"<p class='caution'>{escape(CAUTION)}</p>",
        "" if older is None else differences(older, review),
        _cards(review, found),
        mains,
        _pictures(review, table, found),
        f'<div class="paths">{section("Truth table", table.bands, table.relays)}</div>',
        section("Promises", found.promises),
        section("Findings", found.findings),
        rows_table(found.accepted, "Accepted in the file, with reasons"),
        section("What every such stage has", found.traits),
        *_figures(review),
    ]
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{static('report.css')}{rules(page=True)}{more}</style></head><body><main>{''.join(parts)}</main>"
        f'<script type="application/json" id="table-data">{_data(review)}</script>'
        f"<script>{static('report.js')}</script></body></html>\n"
    )


def _data(review: Review) -> str:
    """The page's own data: nothing in it can end the element it stands in."""
    return json.dumps(live(review)).replace("<", "\\u003c").replace("&", "\\u0026")


def _figures(review: Review) -> list[str]:
    """What proves the verdict: margins, moves, steps, ratings, the error budget, single faults."""
    proof, stepped, carried = margins(review), steps(review), rated(review)
    against = stepped.curve
    return [
        section("Margins at the worst corner", proof.margins),
        rows_table(proof.handovers, "How neighbours share what they could"),
        section("Moves of the relays", moves(review).moves),
        f"<h2>Sudden steps against {escape(against)}</h2>{_worst_step(stepped.drawing)}{rows_table(stepped.steps)}",
        "<h2>Ratings</h2>" + rows_table(carried.sections, "Windings, each at its worst"),
        rows_table(carried.contacts, "Contacts, each at its worst"),
        _budget(proof),
        section("Single faults, the most harmful first", faults(review).faults),
    ]


def differences(older: Review, review: Review) -> str:
    """What changed since an older revision: the curves one over the other, then difference by difference."""
    found = compared(older, review)
    tables = [
        rows_table(found.promises, "Promises"),
        rows_table(found.bands, "Bands"),
        rows_table(found.margins, "Margins (V)"),
        rows_table(found.gained, "Findings gained"),
        rows_table(found.lost, "Findings lost"),
        rows_table(found.accepted, "Accepted since, with reasons"),
        rows_table(found.changed, "Findings changed"),
        rows_table(found.traits, "What every such stage has"),
        rows_table(found.stated, "What the file states"),
    ]
    drawn = curve(review.table, truth_table(review).gap_spans, older.table)
    drawing = inside(drawn, "Both revisions' curves", "curves")
    picture = figure(drawing, "Solid: this revision; dashed thin lines: the older one.")
    since = f"since {fingerprint(older.table.stated)}: {older.design.title}"
    return f"<h2>Differences {escape(since)}</h2><p><strong>{found.told}</strong></p>{picture}{''.join(tables)}"


def _cards(review: Review, found: Verdict) -> str:
    """What is promised, whether it holds, what there is to mend."""
    promised = f"{span(review.window)} V out for {span(review.mains)} V in"
    bad, mend = (" class=bad" if wrong else "" for wrong in (found.wrong, any_fault(found.findings)))
    return (
        f'<ul class="verdict"><li>Promised<strong>{escape(promised)}</strong></li>'
        f"<li{bad}>Verdict<strong>{escape(found.told)}</strong></li>"
        f"<li{mend}>Findings<strong>{counts_told(found.findings) or 'none'}</strong></li></ul>"
    )


def fault_marks(found: Sequence[FindingRow]) -> list[Mark]:
    """Where on the curve faults stand: those whose witness has an input and an output."""
    faulty = [(mark_of(one.witness), one.code) for one in found if one.severity is Severity.FAULT]
    return [Mark(mark.input_v, mark.output_v, code) for mark, code in faulty if mark is not None]


def _pictures(review: Review, truth: TruthTable, found: Verdict) -> str:
    """The schematic with the slider, the curve and the bands; without a script the same, all coils off."""
    circuit, gaps, data = review.circuit, truth.gap_spans, live(review)
    count = f"{len(circuit.sections)} windings, {len(circuit.relays)} relays, {len(circuit.contacts)} contacts"
    drawn = schematic(circuit, circuit.state(()))
    return Template(static("live.html")).substitute(
        least=data["from"],
        most=data["to"],
        at=data["at"],
        schematic=inside(drawn, f"Schematic: {count}; its paths stand in the truth table", "schematic"),
        curve=inside(
            curve(review.table, gaps, marks=fault_marks(found.findings)),
            "Output against input; its values stand in the truth table, its faults among the findings",
            "curve",
        ),
        bands=inside(bandbars(review.table, gaps), "The inputs that keep each band, as in the truth table", "bands"),
    )


def _worst_step(drawing: Drawing | None) -> str:
    if drawing is None:
        return ""
    told = "The worst sudden step against the curve; its figures stand in the table below"
    return figure(inside(step_picture(drawing), told, "envelope"), ENVELOPE)


def step_picture(drawing: Drawing) -> Any:
    """The picture of the worst sudden step against its curve."""
    return envelope(drawing.response, drawing.settled, drawing.curve, drawing.nominal_v)


def _budget(proof: Margins) -> str:
    """What the reading can err by, part by part, where the file describes the controller."""
    if proof.budget is None or proof.counts is None:
        return ""
    return section("Error budget of the reading", proof.budget.with_sum) + rows_table(
        proof.counts.with_return, "Thresholds in counts"
    )
