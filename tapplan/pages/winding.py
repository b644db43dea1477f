"""The winding sheet for the bench of a winder: Markdown, CSV, and a page to print."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from tapplan.answers.forms import Cells, cells, html_table, markdown_cell, markdown_table, safe
from tapplan.answers.winding import WindingSheet
from tapplan.answers.words import CAUTION
from tapplan.pages.documents import STYLE
from tapplan.version import __version__


@dataclass(frozen=True, slots=True)
class _Part:
    """A table of the sheet, with what is said before it and the columns to fill in by hand."""

    heading: str
    before: str
    rows: Sequence[Any]
    blanks: tuple[str, ...] = ()

    @property
    def cells(self) -> Cells:
        """Its headings and texts, the blanks at the end."""
        made = cells(self.rows)
        return Cells((*made.heads, *self.blanks), tuple((*row, *("" for _ in self.blanks)) for row in made.rows))


def _parts(sheet: WindingSheet) -> tuple[_Part, ...]:
    return (
        _Part("Sections, in the order in which they are wound", sheet.build.told, sheet.sections, ("done",)),
        _Part(
            "Leads, in the order in which they are met",
            "Counter: turns since the last section that began a new layer. Flange: the nearer one. Leads of one name "
            "are joined.",
            sheet.leads,
            ("colour",),
        ),
        _Part(
            "Layers, from the limb outward",
            "Insulation under it: what is laid before the layer; over the last one goes as much as over any other. "
            "To the layer below: at most so many volts stand between the two; between windings that no turn joins, "
            "by the standard that applies.",
            sheet.layers,
            ("done",),
        ),
        _Part("Wire to have", "Over all strands; leads and scrap are not counted.", sheet.wires),
        _Part(
            "Proof",
            f"Ratio test: {sheet.ratio_told} Resistance cold, leads not counted; from flat layers to layers that "
            "bulge, the wire within 3 % (common practice, no source).",
            sheet.proofs,
            ("volts", "ohm"),
        ),
    )


def winding_csv(sheet: WindingSheet) -> str:
    """Each table under a line with its name; the first line names the design."""
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow(["fingerprint", sheet.fingerprint, "title", safe(sheet.title), "tapplan", __version__])
    for part in _parts(sheet):
        writer.writerow([])
        writer.writerow([part.heading])
        writer.writerow(part.cells.heads)
        writer.writerows(["" if cell == "-" else safe(cell) for cell in row] for row in part.cells.rows)
    return made.getvalue()


def winding_markdown(sheet: WindingSheet) -> str:
    """The sheet for a wiki or a printer."""
    lines = [f"# {markdown_cell(sheet.headline)}", "", f"Design {sheet.fingerprint}, tapplan {__version__}.", ""]
    lines += ["Date: ____________  Coil: ____________  Name: ____________", "", f"**{CAUTION}**", ""]
    lines += [f"- Core: {markdown_cell(sheet.core_told)}", f"- Former: {markdown_cell(sheet.former_told)}"]
    lines += [f"- Not on this core: {', '.join(map(markdown_cell, sheet.elsewhere))}."] if sheet.elsewhere else []
    lines += ["", "## Before winding", "", *_numbered(sheet.before), ""]
    for part in _parts(sheet):
        lines += [f"## {part.heading}", "", markdown_cell(part.before), "", markdown_table(part.cells)]
    return "\n".join([*lines, "## After winding", "", *_numbered(sheet.after), ""])


def _numbered(texts: Sequence[str]) -> list[str]:
    return [f"{number}. {text}" for number, text in enumerate(texts, 1)]


PRINT = """
figure { margin: 1em 0; break-inside: avoid } figure svg { height: 95mm; max-width: 100% }
h2 + p { break-after: avoid }
td:first-child { white-space: nowrap } td { font-variant-numeric: tabular-nums }
.blank td:last-child { min-width: 5em }
h2 { break-after: avoid } ol, p { break-inside: avoid }
"""


def winding_html(sheet: WindingSheet) -> str:
    """One page that needs nothing else, laid out for paper, with the coil cut across."""
    from tapplan.pictures.coil import coil_picture
    from tapplan.pictures.style import inside, rules

    title = escape(sheet.headline)
    picture = inside(coil_picture(sheet.coil), "The coil in its window, cut across", "coil")
    elsewhere = f"<p>Not on this core: {escape(', '.join(sheet.elsewhere))}.</p>" if sheet.elsewhere else ""
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{STYLE}{PRINT}{rules(page=False)}</style></head><body>"
        f"<h1>{title}</h1><p>Design {sheet.fingerprint}, tapplan {__version__}</p>"
        '<p class="fill"><span>Date</span><span>Coil</span><span>Name</span></p>'
        f'<p class="caution">{escape(CAUTION)}</p>'
        f"<p><b>Core:</b> {escape(sheet.core_told)}<br><b>Former:</b> {escape(sheet.former_told)}</p>{elsewhere}"
        f"<figure>{picture}</figure>"
        f"<h2>Before winding</h2>{_list(sheet.before)}{''.join(map(_part, _parts(sheet)))}"
        f"<h2>After winding</h2>{_list(sheet.after)}</body></html>\n"
    )


def _list(texts: Sequence[str]) -> str:
    return "<ol>" + "".join(f"<li>{escape(text)}</li>" for text in texts) + "</ol>"


def _part(part: _Part) -> str:
    heading = f"<h2>{escape(part.heading)}</h2><p>{escape(part.before)}</p>"
    return f'{heading}<div class="{"blank" if part.blanks else "plain"}">{html_table(part.cells)}</div>'
