"""The truth table for other programs and for documents: CSV and Markdown."""

from __future__ import annotations

import csv
import io

from tapplan.control.table import ControlTable, Row
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.sheets import markdown_cell, safe
from tapplan.pages.words import CAUTION, number, span
from tapplan.version import __version__

COLUMNS = (
    "band",
    "energised",
    "ratio",
    "hold_low_v",
    "hold_high_v",
    "output_low_v",
    "output_high_v",
    "worst_low_v",
    "worst_high_v",
)


def as_csv(table: ControlTable) -> str:
    """One line a band in order of rising input; volts as in the file, the ratio exact."""
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow([*COLUMNS, *(safe(relay) for relay in table.circuit.relays)])
    for row in table.rows:
        outputs = [table.output_nominal(row), table.output_worst(row)]
        ends = [end for one in (row.hold, *outputs) for end in ((one.low, one.high) if one else (None, None))]
        coils = [int(relay in row.energised) for relay in table.circuit.relays]
        driven = safe("+".join(row.energised))
        told = ["" if end is None else number(end, 4) for end in ends]
        writer.writerow([safe(row.name), driven, "" if row.ratio is None else str(row.ratio), *told, *coils])
    return made.getvalue()


def as_markdown(table: ControlTable) -> str:
    """The same as a table for a document, with where it comes from."""
    design = table.design
    heads = ["band", "input (V)", *map(markdown_cell, table.circuit.relays), "ratio", "output (V)", "worst (V)"]
    lines = [f"# {markdown_cell(design.title)}", "", f"Design {fingerprint(design)}, tapplan {__version__}.", ""]
    lines += [f"| {' | '.join(heads)} |", "|" + " --- |" * len(heads)]
    lines += [f"| {' | '.join(_cells(table, row))} |" for row in table.rows]
    return "\n".join([*lines, "", f"*{CAUTION}*"]) + "\n"


def _cells(table: ControlTable, row: Row) -> list[str]:
    coils = ["driven" if relay in row.energised else "rest" for relay in table.circuit.relays]
    ratio = "" if row.ratio is None else f"{row.ratio} = {float(row.ratio):.4f}"
    outputs = [span(table.output_nominal(row)), span(table.output_worst(row))]
    return [markdown_cell(row.name), span(row.input_hold), *coils, ratio, *outputs]
