"""The screen of `standards`."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from tapplan.answers.standards import CurveRow, Standards, SupplyRow
from tapplan.pages.screens.grid import grid


def screen(answer: Standards, _: int) -> Group:
    """The published supplies and tolerance curves with their sources."""
    return Group(
        Text('Supply ranges, for [mains] standard = "KEY"', style="bold"),
        grid(answer.supplies),
        *_sources(answer.supplies),
        Text("\nTolerance curves (percent of nominal, from the time given)", style="bold"),
        grid(answer.curves),
        *_sources(answer.curves),
        Text('"memory" and "quoted": the text of the standard was not at hand; confirm before relying on it.'),
    )


def _sources(rows: Sequence[SupplyRow | CurveRow]) -> list[RenderableType]:
    """Each source once, with the keys that it stands for."""
    keys: dict[str, list[str]] = {}
    for row in rows:
        keys.setdefault(row.source, []).append(row.key)
    told = (Padding(Text(f"{', '.join(some)}: {source}"), (0, 0, 0, 2)) for source, some in keys.items())
    return [Text(""), *told]
