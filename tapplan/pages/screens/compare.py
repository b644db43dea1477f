"""The screen of `compare`: two revisions, difference by difference, in the words of the other screens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.compare import Compared
from tapplan.pages.screens.findings import section
from tapplan.pages.screens.grid import grid, lines


def screen(answer: Compared, _: int) -> Group:
    """What differs, and whether anything got worse."""
    parts: list[RenderableType] = [Text(answer.headline, style="bold")]
    parts += lines([one.told for one in answer.promises])
    parts += _section("Bands", answer.bands)
    parts += (
        [Text("\nMargins (V)", style="bold"), grid(answer.margins, unit_told="V")] if answer.margins_differ else []
    )
    parts += _section("What the file states", answer.stated)
    for heading, some in (("Findings gained", answer.gained), ("Findings lost", answer.lost)):
        parts += [Text(""), section(some, heading)] if some else []
    parts += _section("Accepted since, with reasons", answer.accepted)
    if answer.changed:
        parts += [Text("\nFindings changed", style="bold"), Text("\n".join(one.told for one in answer.changed))]
    parts += _section("What every such stage has", answer.traits)
    if answer.same:
        parts.append(Text("No difference in what the files state, in bands, margins or findings."))
    return Group(*parts, Text(f"\n{answer.told}", style="bold"))


def _section(heading: str, rows: Sequence[Any]) -> list[RenderableType]:
    return [Text(f"\n{heading}", style="bold"), grid(rows)] if rows else []
