"""The test sheet as Markdown, as a page to print, as CSV to fill in, and as JSON."""

from __future__ import annotations

import csv
import io
from html import escape

from tapplan.bench.measures import YES_NO
from tapplan.bench.sheet import Coils, Sheet, SheetLine
from tapplan.bench.words import asked, condition_told, measure_told, readings_told
from tapplan.design.fingerprint import fingerprint
from tapplan.pages import isolations
from tapplan.pages.answers import Json, number
from tapplan.pages.words import CAUTION, relays
from tapplan.pages.words import span as span_told
from tapplan.version import __version__

# What is done before any measurement; common practice, no source. Local codes and licensed practice come first.
SET_UP = (
    "Only for people qualified for such circuits; local codes and the maker's instructions come before this sheet.",
    "Unplug, take the battery out or off, lock out. Discharge large capacitors through a resistor, prove below 50 V.",
    "Power-off and small-source tests first; the line last, and only when they have passed.",
    "On the line: isolation transformer, then variable supply, then a series incandescent lamp. A variable "
    "autotransformer does not isolate, nor does the stage itself.",
    "One hand, insulated tools, a meter of the right category; an oscilloscope only on the isolated side.",
    "A small lamp of 25 to 60 W at the output, so that an open path reads nothing and not a ghost.",
    "After a repair: earth continuity and insulation, then this sheet once more from the top.",
)
COLUMNS = ("step", "condition", "measure", "unit", "pass_low", "pass_high", "passes", "reading", "watch")


def as_json(sheet: Sheet) -> Json:
    """The sheet's lines with their limits."""
    return {
        "fingerprint": fingerprint(sheet.table.design),
        "source_v": number(sheet.source_v),
        "most_v": number(sheet.most_v),
        "set_up": list(SET_UP),
        "coils": [
            {
                "band": one.name,
                "energised": list(one.energised),
                "input_v": None if one.inputs is None else [float(one.inputs.low), float(one.inputs.high)],
                "output_v": None if one.output is None else [float(one.output.low), float(one.output.high)],
            }
            for one in sheet.coils
        ],
        "parts": [
            {"heading": part.heading, "before": part.before, "lines": [_line(line) for line in part.lines]}
            for part in sheet.parts
        ],
    }


def _line(line: SheetLine) -> Json:
    return {
        "step": line.step,
        **isolations.measure(line.measure),
        "unit": line.measure.unit,
        "passes": readings_told(line.measure, line.passes),
        "spans": [[float(one.low), float(one.high)] for one in line.passes],
        "watch": line.watch,
    }


def as_csv(sheet: Sheet) -> str:
    """One line a measurement; the column `reading` is for the bench. The first line names the design."""
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    design = sheet.table.design
    writer.writerow(["fingerprint", fingerprint(design), "title", safe(design.title), "tapplan", __version__])
    writer.writerow(COLUMNS)
    for part in sheet.parts:
        for line in part.lines:
            low, high = _limits(line)
            cells = [condition_told(line.measure.condition), measure_told(line.measure), line.measure.unit]
            told = readings_told(line.measure, line.passes)
            writer.writerow([line.step, *map(safe, cells), low, high, safe(told), "", safe(line.watch)])
    return made.getvalue()


def _limits(line: SheetLine) -> tuple[str, str]:
    if line.measure.what in YES_NO or len(line.passes) != 1 or line.passes[0].high > 10**6:
        return "", ""
    return f"{float(line.passes[0].low):.4g}", f"{float(line.passes[0].high):.4g}"


def safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@") else cell


def as_markdown(sheet: Sheet) -> str:
    """The sheet with blank columns, for a wiki or a printer."""
    design = sheet.table.design
    lines = [
        f"# Test sheet: {markdown_cell(design.title)}",
        "",
        f"Design {fingerprint(design)}, tapplan {__version__}. ",
    ]
    lines += ["Date: ____________  Unit: ____________  Name: ____________", "", f"**{CAUTION}**", ""]
    lines += [f"{count}. {text}" for count, text in enumerate((*SET_UP, _source(sheet)), 1)]
    lines += ["", "## Which coils in which band", "", "| band | line volts | coils driven | output volts |"]
    lines += ["| --- | --- | --- | --- |"]
    lines += [f"| {' | '.join(map(markdown_cell, _coils(one)))} |" for one in sheet.coils]
    for part in sheet.parts:
        lines += ["", f"## {markdown_cell(part.heading)}", "", part.before, ""]
        lines += ["| step | measure | passes | reading | ok |", "| --- | --- | --- | --- | --- |"]
        for line in part.lines:
            told = markdown_cell(asked(line.measure)) + (f" ({markdown_cell(line.watch)})" if line.watch else "")
            lines.append(f"| {line.step} | {told} | {markdown_cell(readings_told(line.measure, line.passes))} | | |")
    return "\n".join(lines) + "\n"


def _source(sheet: Sheet) -> str:
    return (
        f"The small source is {float(sheet.source_v):g} V AC. Fed as said here, up to {float(sheet.most_v):.0f} V "
        "can stand somewhere on the winding, whatever single fault it has; fed elsewhere, far more."
    )


def _coils(one: Coils) -> tuple[str, str, str, str]:
    return one.name, span_told(one.inputs), relays(one.energised), span_told(one.output)


def markdown_cell(text: str) -> str:
    """Text that stays text in a cell of a table."""
    for mark in "\\`*_[]<>|#":
        text = text.replace(mark, "\\" + mark)
    return text


STYLE = """
body { font: 11pt/1.35 sans-serif; margin: 1.5em auto; max-width: 50em; padding: 0 1em; color: #111 }
h1 { font-size: 1.4em } h2 { font-size: 1.1em; margin: 1.6em 0 .3em }
table { border-collapse: collapse; width: 100% }
th, td { border: 1px solid #777; padding: .2em .4em; text-align: left; vertical-align: top }
thead { display: table-header-group } tr { break-inside: avoid }
th { background: #eee } .caution { border: 2px solid #111; padding: .5em .8em; font-weight: bold }
td.reading { min-width: 7em } td.ok { min-width: 2em } td.step { text-align: right }
.fill { display: flex; flex-wrap: wrap; gap: 1.5em } .fill span { border-bottom: 1px solid #111; min-width: 12em }
@media print { body { font-size: 9pt; margin: 0; max-width: none } h2 { break-after: avoid } }
@page { margin: 15mm }
"""


def as_html(sheet: Sheet) -> str:
    """One page that needs nothing else, laid out for paper."""
    design = sheet.table.design
    title = escape(design.title)
    steps = "".join(f"<li>{escape(text)}</li>" for text in (*SET_UP, _source(sheet)))
    coils = "".join(_row(_coils(one)) for one in sheet.coils)
    parts = "".join(
        f"<h2>{escape(part.heading)}</h2><p>{escape(part.before)}</p>"
        + _table(("step", "measure", "passes", "reading", "ok"), "".join(map(_html_line, part.lines)))
        for part in sheet.parts
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>Test sheet: {title}</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{STYLE}</style></head><body>'
        f"<h1>Test sheet: {title}</h1><p>Design {fingerprint(design)}, tapplan {__version__}</p>"
        '<p class="fill"><span>Date</span><span>Unit</span><span>Name</span></p>'
        f'<p class="caution">{escape(CAUTION)}</p><h2>Before anything else</h2><ol>{steps}</ol>'
        "<h2>Which coils in which band</h2>"
        + _table(("band", "line volts", "coils driven", "output volts"), coils)
        + parts
        + "</body></html>\n"
    )


def _table(heads: tuple[str, ...], rows: str) -> str:
    told = "".join(f'<th scope="col">{head}</th>' for head in heads)
    return f"<table><thead><tr>{told}</tr></thead><tbody>{rows}</tbody></table>"


def _row(cells: tuple[str, ...]) -> str:
    return "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def _html_line(line: SheetLine) -> str:
    told = escape(asked(line.measure)) + (f"<br>{escape(line.watch)}" if line.watch else "")
    passes = escape(readings_told(line.measure, line.passes))
    return (
        f'<tr><td class="step">{line.step}</td><td>{told}</td><td>{passes}</td>'
        '<td class="reading"></td><td class="ok"></td></tr>'
    )
