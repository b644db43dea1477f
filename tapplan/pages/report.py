"""The report: one page that needs nothing else, for reviewers, repairers and printers alike.

It reads the answers of the verbs, so that it says what they say, in their words and columns.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from tapplan.answers.cards import Card, CardSources, Tone, cards, examined
from tapplan.answers.compare import compared
from tapplan.answers.margins import margins
from tapplan.answers.rate import rated
from tapplan.answers.table import truth_table
from tapplan.answers.words import CAUTION
from tapplan.checks.flight import flights_of
from tapplan.checks.review import Review
from tapplan.design.fingerprint import fingerprint
from tapplan.pages import chapters
from tapplan.pages.live import live
from tapplan.pages.markup import figure, rows_table, shorter, static
from tapplan.pages.matrix import matrix_style
from tapplan.pages.story import Story, program, story_section
from tapplan.pictures.curve import curves
from tapplan.pictures.multiples import multiples
from tapplan.pictures.style import inside, rules
from tapplan.pictures.timeline import timelines
from tapplan.version import __version__

if TYPE_CHECKING:
    from tapplan.pages.measured import Measured

STEPS_SHOW = (
    "A row is the band left, a column the one finally entered; a cell tells the worst over and the worst under the "
    "curve. Bars: what the output can be, phase by phase, each at its latest; dashed: what the curve bears at that "
    "time. A cell, or a link in the table, plays its step on the schematic."
)
MOVES_SHOW = (
    "From the change of the coils: when contacts can open and close again, and when readings count once more."
)
TONES = {Tone.MIND: "to weigh", Tone.BAD: "broken"}
CONTENTS = {
    "promises": "Promises",
    "findings": "Findings",
    "live": "At any line voltage",
    "table": "Truth table",
    "ratings": "Ratings",
    "steps": "Sudden steps",
    "moves": "Moves",
    "faults": "Faults",
    "margins": "Margins",
    "traits": "Traits",
}


def report(review: Review, older: Review | None = None, measured: Measured | None = None) -> str:
    """The page for a design; with an older revision, the differences first; with logs, what they made of it.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    seen = examined(review)
    told = Story(review, truth_table(review), seen.verdict.findings, seen.steps, live(review))
    title = escape(review.design.title)
    parts = [
        _head(seen, measured is not None),
        "" if older is None else differences(older, review),
        chapters.promises_chapter(seen.verdict),
        chapters.findings_chapter(seen.verdict),
        _mains(measured),
        story_section(told),
        chapters.ratings_chapter(rated(review)),
        chapters.traits_chapter(seen.verdict),
        chapters.steps_chapter(seen.steps, _steps_picture(seen)),
        chapters.moves_chapter(seen.moves, _moves_picture(review)),
        chapters.faults_chapter(seen.faults),
        chapters.margins_chapter(margins(review)),
    ]
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{_style(review, measured)}</style></head><body><main>{shorter(''.join(parts))}</main>"
        f"{program(told)}</body></html>\n"
    )


def _mains(found: Measured | None) -> str:
    if found is None:
        return ""
    from tapplan.pages.measured import mains_section  # a page without logs needs none of it

    return mains_section(found)


def _style(review: Review, measured: Measured | None) -> str:
    more = ""
    if measured is not None:
        from tapplan.pages.measured import mains_style

        more = mains_style()
    foot = f"design {fingerprint(review.table.stated)}, tapplan {__version__}"
    return static("report.css") + static("print.css").replace("FOOT", foot) + rules(page=True) + matrix_style() + more


def _head(seen: CardSources, logged: bool) -> str:
    """What it is, the verdict that can be said aloud, cautions, contents, cards."""
    review, found = seen.review, seen.verdict
    kind = "broken" if found.wrong else "kept"
    sign = "\u2715" if found.wrong else "\u2713"
    links = {**({"mains": "Mains"} if logged else {}), **CONTENTS}
    nav = "".join(f'<a href="#{name}">{told}</a>' for name, told in links.items())
    return (
        f'<header id="verdict"><h1>{escape(review.design.title)}</h1>'
        f'<p class="faint">Design {fingerprint(review.table.stated)}, tapplan {__version__}</p>'
        f'<p class="said {kind}"><span aria-hidden="true">{sign}</span> {escape(found.told)}</p>'
        f'<p class="caution">{escape(CAUTION)}</p>'
        f'<ul class="verdict">{"".join(map(_card, cards(seen)))}</ul>'
        f'<nav aria-label="Contents">{nav}</nav>'
        '<p class="screen-only"><label><input type="checkbox" id="with-appendix"> Print everything, not only the '
        "four pages for a meeting</label></p></header>"
    )


def _steps_picture(seen: CardSources) -> str:
    drawing = multiples(seen.steps, [row.name for row in seen.review.table.rows])
    if drawing is None:
        return ""
    shows = "The worst sudden step from each band to each other against the curve, as in the table below"
    return figure(inside(drawing, shows, "steps-picture"), STEPS_SHOW)


def _moves_picture(review: Review) -> str:
    flights = flights_of(review)
    if not flights:
        return ""
    drawing = inside(timelines(flights), "Every move over time, as in the table below", "moves-picture")
    return figure(drawing, MOVES_SHOW)


def _card(one: Card) -> str:
    """A card that leads to what it sums up; its tone as a word for those who see no colour."""
    tone = "" if one.tone is Tone.GOOD else f'<span class="faint"> ({TONES[one.tone]})</span>'
    return (
        f'<li class="{one.tone.value}"><a href="#{one.anchor}">{escape(one.heading)}</a>{tone}'
        f"<strong>{escape(one.told)}</strong></li>"
    )


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
    drawn = curves(review.table, truth_table(review).gap_spans, older.table)
    drawing = inside(drawn, "Both revisions' curves", "curves")
    picture = figure(drawing, "Solid: this revision; dashed thin lines: the older one.")
    since = f"since {fingerprint(older.table.stated)}: {older.design.title}"
    return (
        f'<section id="differences"><h2>Differences {escape(since)}</h2><p><strong>{found.told}</strong></p>'
        f"{picture}{''.join(tables)}</section>"
    )
