"""The screen of `bench`: the test sheet in tables."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.sheet import BenchSheet
from tapplan.pages.screens.grid import grid, headline, lines


def screen(answer: BenchSheet, _: int) -> Group:
    """Set-up, coils by band, and every step with what passes."""
    parts: list[RenderableType] = [headline(answer), Text(f"Design {answer.fingerprint}\n")]
    parts += lines([f"{count}. {text}" for count, text in enumerate((*answer.set_up, answer.source_told), 1)])
    parts.append(grid(answer.coils, heading="\nWhich coils in which band"))
    parts += lines([answer.origin_told] if answer.origin_told else [])
    for part in answer.sections:
        parts += [Text(f"\n{part.heading}", style="bold"), Text(part.before), grid(part.lines)]
    return Group(*parts, Text("\n-o SHEET.csv, .md or .html writes it with blank columns for the readings."))
