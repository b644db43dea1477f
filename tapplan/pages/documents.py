"""The truth table and the test sheet for documents: Markdown, CSV, and a page to print."""

from __future__ import annotations

import csv
import io
from html import escape
from typing import Any

from tapplan.answers.forms import (
    Cells,
    as_csv,
    as_html,
    as_markdown,
    cells,
    html_table,
    markdown_cell,
    markdown_table,
    safe,
)
from tapplan.answers.sheet import BenchSheet, CoilsRow
from tapplan.answers.table import TruthTable
from tapplan.answers.words import CAUTION
from tapplan.design.fingerprint import fingerprint
from tapplan.version import __version__

COLUMNS = ("step", "condition", "measure", "unit", "pass_low", "pass_high", "passes", "reading", "watch")
BLANK = ("reading", "ok")  # columns to fill in by hand


def table_csv(answer: TruthTable) -> str:
    """One line a band in order of rising input; volts and ratios exact, a column of 0 and 1 for each relay."""
    return as_csv(answer.bands, answer.band_kind, answer.relays)


def table_markdown(answer: TruthTable) -> str:
    """The same as a table for a document, with where it comes from."""
    head = f"# {markdown_cell(answer.title)}\n\nDesign {fingerprint(answer.design)}, tapplan {__version__}.\n\n"
    return f"{head}{as_markdown(answer.bands, answer.band_kind, answer.relays)}\n*{CAUTION}*\n"


def sheet_csv(answer: BenchSheet) -> str:
    """One line a measurement; the column `reading` is for the bench. The first line names the design."""
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow(["fingerprint", answer.fingerprint, "title", safe(answer.title), "tapplan", __version__])
    writer.writerow(COLUMNS)
    for line in answer.lines:
        told = map(safe, (line.condition, line.measure, line.unit))
        writer.writerow([line.step, *told, *line.limits, safe(line.passes), "", safe(line.watch)])
    return made.getvalue()


def sheet_markdown(answer: BenchSheet) -> str:
    """The sheet with blank columns, for a wiki or a printer."""
    lines = [f"# {markdown_cell(answer.headline)}", ""]
    lines += [f"Design {answer.fingerprint}, tapplan {__version__}. "]
    lines += ["Date: ____________  Unit: ____________  Name: ____________", "", f"**{CAUTION}**", ""]
    lines += [f"{count}. {text}" for count, text in enumerate((*answer.set_up, answer.source_told), 1)]
    lines += ["", "## Which coils in which band", "", as_markdown(answer.coils, CoilsRow)]
    lines += [f"{answer.origin_told}\n"] if answer.origin_told else []
    for part in answer.sections:
        lines += [
            f"## {markdown_cell(part.heading)}",
            "",
            part.before,
            "",
            markdown_table(_with_blanks(cells(part.lines))),
        ]
    return "\n".join(lines)


def _with_blanks(made: Cells) -> Cells:
    return Cells((*made.heads, *BLANK), tuple((*row, *("" for _ in BLANK)) for row in made.rows))


STYLE = """
body { font: 11pt/1.35 sans-serif; margin: 1.5em auto; max-width: 50em; padding: 0 1em; color: #111 }
h1 { font-size: 1.4em } h2 { font-size: 1.1em; margin: 1.6em 0 .3em }
table { border-collapse: collapse; width: 100% }
th, td { border: 1px solid #777; padding: .2em .4em; text-align: left; vertical-align: top }
thead { display: table-header-group } tr { break-inside: avoid }
th { background: #eee } .caution { border: 2px solid #111; padding: .5em .8em; font-weight: bold }
.lines td:nth-last-child(2) { min-width: 7em } .lines td:last-child { min-width: 2em }
.lines td:first-child { text-align: right }
.fill { display: flex; flex-wrap: wrap; gap: 1.5em } .fill span { border-bottom: 1px solid #111; min-width: 12em }
@media print { body { font-size: 9pt; margin: 0; max-width: none } h2 { break-after: avoid } }
@page { margin: 15mm }
"""


def sheet_html(answer: BenchSheet) -> str:
    """One page that needs nothing else, laid out for paper."""
    title = escape(answer.headline)
    steps = "".join(f"<li>{escape(text)}</li>" for text in (*answer.set_up, answer.source_told))
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{STYLE}</style></head><body>'
        f"<h1>{title}</h1><p>Design {answer.fingerprint}, tapplan {__version__}</p>"
        '<p class="fill"><span>Date</span><span>Unit</span><span>Name</span></p>'
        f'<p class="caution">{escape(CAUTION)}</p><h2>Before anything else</h2><ol>{steps}</ol>'
        f"<h2>Which coils in which band</h2>{as_html(answer.coils)}"
        f"{_origin(answer)}{''.join(map(_part, answer.sections))}"
        "</body></html>\n"
    )


def _origin(answer: BenchSheet) -> str:
    return f"<p>{escape(answer.origin_told)}</p>" if answer.origin_told else ""


def _part(part: Any) -> str:
    heading = f"<h2>{escape(part.heading)}</h2><p>{escape(part.before)}</p>"
    return f'{heading}<div class="lines">{html_table(_with_blanks(cells(part.lines)))}</div>'
