"""The chapters of the report behind its live part: one question each, the long table folded under its picture."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from tapplan.answers.faults import Faults
from tapplan.answers.findings import FindingRow, folded
from tapplan.answers.margins import Margins
from tapplan.answers.moves import Moves
from tapplan.answers.rate import Rated
from tapplan.answers.steps import Steps
from tapplan.answers.verdict import PromiseRow, Verdict
from tapplan.answers.words import number
from tapplan.checks.finding import Severity
from tapplan.checks.marks import mark_of
from tapplan.checks.rules import CODES
from tapplan.pages.markup import chapter, filled_table, filtered, linked_table, rows_table
from tapplan.pages.markup import folded as fold
from tapplan.pages.matrix import matrix_html

FEW = 6  # findings that are told at once; more are one click away
SIGNS = {Severity.FAULT: "\u2715", Severity.WARNING: "!", Severity.NOTE: "i"}


def promises_chapter(found: Verdict) -> str:
    """Every promise with its mark and its least margin."""
    items = "".join(map(_promise, found.promises))
    means = "".join(f"<li><strong>{one.promise}</strong>: {escape(CODES[one.promise])}" for one in found.promises)
    folded_words = f'<div class="screen-only">{fold("What each broken one would mean", f"<ul>{means}</ul>")}</div>'
    return chapter("promises", "Promises", f'<ul class="promises">{items}</ul>{folded_words}')


def _promise(one: PromiseRow) -> str:
    sign, kind, kept = ("\u2713", "kept", "held") if one.held else ("\u2715", "broken", "BROKEN")
    margin = "" if one.margin is None else f" by {number(one.margin, 2)} {one.unit}"
    where = "" if one.where is None else f'<span class="faint"> {escape(one.where)}</span>'
    return (
        f'<li class="{kind}"><span aria-hidden="true">{sign}</span> <strong>{escape(one.promise)}</strong> '
        f"{kept}{margin}{where}</li>"
    )


def findings_chapter(found: Verdict) -> str:
    """What there is to mend, the most weighty first, each with its place in the pictures; all of it folded below."""
    if not found.findings and not found.accepted:
        return chapter("findings", "Findings", "<p>None.</p>")
    rows = found.findings
    told = "".join(
        f'<li class="{one.severity.value}"><span aria-hidden="true">{SIGNS[one.severity]}</span> '
        f"<strong>{escape(one.severity.value)} {escape(one.code)}</strong> {escape(one.told)}</li>"
        for one in folded(rows)[:FEW]
    )
    whole = linked_table(rows, _places(rows), "findings-table")
    parts = [
        f'<ul class="findings">{told}</ul>' if told else "<p>None.</p>",
        f'<div class="appendix">{fold(f"All {len(rows)} findings, with their places", whole)}</div>' if rows else "",
        rows_table(found.accepted, "Accepted in the file, with reasons"),
    ]
    return chapter("findings", "Findings", "".join(parts))


def _places(rows: Sequence[FindingRow]) -> list[str]:
    """For each finding a link to where it stands on the curve; nothing for those that stand nowhere."""
    marks = [mark_of(one.witness) for one in rows]
    faults = [one.severity is Severity.FAULT and mark is not None for one, mark in zip(rows, marks, strict=True)]
    return [
        ""
        if mark is None
        else f'<a href="#live" data-at="{float(mark.input_v):.1f}"'
        + (f' data-mark="mark-{sum(faults[:place])}"' if faults[place] else "")
        + ">show</a>"
        for place, mark in enumerate(marks)
    ]


def traits_chapter(found: Verdict) -> str:
    """Figures that every such stage has."""
    return chapter("traits", "What every such stage has", rows_table(found.traits), "appendix")


def margins_chapter(proof: Margins) -> str:
    """What eats each promise, and the parts of the reading's error."""
    parts = [
        rows_table(proof.margins, "Margins at the worst corner"),
        rows_table(proof.handovers, "How neighbours share what they could"),
    ]
    if proof.budget is not None and proof.counts is not None:
        parts += [
            rows_table(proof.budget.with_sum, "Error budget of the reading"),
            rows_table(proof.counts.with_return, "Thresholds in counts"),
        ]
    return chapter(
        "margins", "Margins at the worst corner", fold("What eats each margin", "".join(parts)), "appendix"
    )


def moves_chapter(found: Moves, picture: str) -> str:
    """How relays move, over time; each move folded below."""
    whole = fold(
        f"All {len(found.moves)} moves", filtered(_named(rows_table(found.moves), "moves-table"), "moves-table")
    )
    return chapter("moves", "Moves of the relays", picture + whole, "appendix")


def steps_chapter(found: Steps, picture: str) -> str:
    """Sudden steps as small pictures; each step folded below, with a link that plays it."""
    told = "".join(f"<p>{escape(line)}</p>" for line in found.told)
    links = [f'<a href="#live" data-step="{number}">play {number + 1}</a>' for number in range(len(found.steps))]
    whole = linked_table(found.steps, links, "steps-table")
    inside_it = told + picture + fold(f"All {len(found.steps)} steps", whole)
    return chapter("steps", f"Sudden steps against {found.curve}", inside_it, "appendix")


def faults_chapter(found: Faults) -> str:
    """Single faults by band as a matrix."""
    matrix = filtered(_named(matrix_html(found), "faults-table"), "faults-table")
    harmless = len(found.faults) - len(found.harmful)
    never = ", ".join(f"{one.part} {one.fault}" for one in found.never_survived)
    cases = f"In {harmless} of {len(found.faults)} cases, each a fault in a band,"
    told = f"{cases} the load stays in the window or goes to the backup."
    survived = f"In every band the output leaves the window with: {never}." if never else ""
    return chapter("faults", "Single faults by band", f"<p>{told} {escape(survived)}</p>{matrix}", "appendix")


def ratings_chapter(found: Rated) -> str:
    """What windings, contacts and core carry, and how the coil is wound where its layers are known."""
    sentences = [one.told for one in (found.core, found.build) if one is not None]
    parts = [
        filled_table(found.sections, "Windings, each at its worst"),
        filled_table(found.contacts, "Contacts, each at its worst"),
        filled_table(found.layers, "Sections as they are wound"),
        f'<p class="faint">For more the file would have to state: {escape("; ".join(found.needs))}.</p>'
        if found.needs
        else "",
        *(f"<p>{escape(told)}</p>" for told in sentences),
    ]
    return chapter("ratings", "Ratings and winding", "".join(parts), "sheet")


def _named(table_text: str, name: str) -> str:
    return f'<div id="{name}">{table_text}</div>' if table_text else ""
