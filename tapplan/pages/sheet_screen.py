"""The screen of the verb `bench`: the test sheet in tables."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.bench.sheet import Sheet
from tapplan.bench.words import asked, readings_told
from tapplan.design.fingerprint import fingerprint
from tapplan.pages import words
from tapplan.pages.screen import headline, plain_table
from tapplan.pages.sheets import SET_UP


def sheet(made: Sheet) -> Group:
    """Set-up, coils by band, and every step with what passes."""
    design = made.table.design
    parts: list[RenderableType] = [headline(design.title, "Test sheet"), Text(f"Design {fingerprint(design)}\n")]
    parts += [Text(f"{count}. {text}") for count, text in enumerate(SET_UP, 1)]
    parts.append(
        Text(
            f"The small source is {float(made.source_v):g} V AC: fed as below, up to {float(made.most_v):.0f} V can "
            "stand somewhere on the winding, whatever single fault it has."
        )
    )
    coils = plain_table("band", "line volts", "coils driven", "output volts", heading="\nWhich coils in which band")
    for one in made.coils:
        coils.add_row(one.name, words.span(one.inputs), words.relays(one.energised), words.span(one.output))
    parts.append(coils)
    for part in made.parts:
        table = plain_table("step", "measure", "passes")
        for line in part.lines:
            watch = f" ({line.watch})" if line.watch else ""
            table.add_row(f"{line.step}", asked(line.measure) + watch, readings_told(line.measure, line.passes))
        parts += [Text(f"\n{part.heading}", style="bold"), Text(part.before), table]
    return Group(*parts, Text("\n-o SHEET.csv, .md or .html writes it with blank columns for the readings."))
