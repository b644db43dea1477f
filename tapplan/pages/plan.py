"""The plan for the bench as a page to print: one table, each line with the outcomes that fail it beside it."""

from __future__ import annotations

from html import escape

from tapplan.answers.plan import BenchPlan, RepairPlanRow
from tapplan.answers.words import CAUTION
from tapplan.pages.documents import STYLE
from tapplan.version import __version__

OWN = """
@media print { body { font: 6.4pt/1.15 sans-serif } }
@page { size: A4; margin: 7mm }
table { table-layout: fixed } td, th { padding: .05em .3em; overflow-wrap: anywhere }
.n { text-align: right; width: 2.2em } .m { width: 21% } .r { width: 17% } .w { width: 20% }
.caution { padding: .2em .5em }
tbody { break-inside: avoid; border-top: 2px solid #111 } h1 { margin: 0 } p { margin: .3em 0 }
"""


def plan_html(answer: BenchPlan) -> str:
    """One page that needs nothing else, laid out for paper."""
    title = escape(answer.headline)
    named = {"n": "", "m": "measure", "r": "if it reads", "w": "it is", "s": "so"}
    heads = "".join(f'<th class="{kind}">{one}</th>' for kind, one in named.items())
    body = "".join(map(_line, answer.lines))
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{STYLE}{OWN}</style></head><body>"
        f"<h1>{title}</h1><p>tapplan {__version__}. {' '.join(map(escape, answer.told))}</p>"
        f'<p class="caution">{escape(CAUTION)}</p>'
        f"<table><thead><tr>{heads}</tr></thead>{body}</table></body></html>\n"
    )


def _line(line: RepairPlanRow) -> str:
    """A line and what failing it means; the measurement stands beside all of it."""
    rows = [(one.readings, one.what, one.to_do) for one in line.means] or [("anything else", "", "isolate")]
    span = f' rowspan="{len(rows)}"'
    told = f"<b>{escape(line.asked)}</b><br>passes: {escape(line.passes)}"
    lead = f'<td class="n"{span}>{line.line}</td><td class="m"{span}>{told}</td>'
    cells = ["".join(f"<td>{escape(cell)}</td>" for cell in row) for row in rows]
    first, *others = cells
    return f"<tbody><tr>{lead}{first}</tr>{''.join(f'<tr>{one}</tr>' for one in others)}</tbody>"
