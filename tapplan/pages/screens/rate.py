"""The screen of `rate`: every rating, the worst named, and at the end what the file leaves out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.rate import Rated
from tapplan.answers.raterows import FeedRow, PermittedRow
from tapplan.pages.screens.findings import section
from tapplan.pages.screens.grid import grid, headline, lines

LONGEST_BAR = 40
BESIDE_BAR = 36  # characters before the bar, and after it what limits the load


def screen(answer: Rated, width: int) -> Group:
    """All of it, and last the limits broken."""
    parts: list[RenderableType] = [headline(answer)]
    parts += _under("Bands, over what they really hold of the mains range:", answer.bands)
    parts += _under("\nIron and losses at worst (core loss and rise are estimates, not a type test):", answer.heat)
    parts += _under("\nWindings, each at its worst:", answer.sections)
    parts += [] if answer.core is None else [Text(f"\n{answer.core.told}")]
    parts += _layers(answer)
    parts += _under("\nContacts, each at its worst, beside its rating:", answer.contacts)
    parts += lines([one.told for one in answer.bridges if one.told])
    parts += _permitted([one for one in answer.permitted if one.va is not None], width)
    for feed in answer.feeds:
        parts += _feed(feed)
    parts += _under("\nBattery winding:", answer.charging) if answer.charging_told else []
    parts += lines([answer.charging_told] if answer.charging_told else [])
    parts += (
        _under("\nCoil supply at the lowest input of each band:", answer.coil_supply) if answer.coil_supply else []
    )
    parts += [] if answer.cost is None else [Text(f"\n{answer.cost.told}")]
    parts += _needs(answer.needs)
    return Group(*parts, *([section(answer.findings, "Limits")] if answer.findings else []))


def _layers(answer: Rated) -> list[RenderableType]:
    """How the coil lies on its former, where that is known."""
    if answer.build is None:
        return []
    return [*_under("\nLayers, in the order in which sections are wound:", answer.layers), Text(answer.build.told)]


def _under(heading: str, rows: Sequence[Any]) -> list[RenderableType]:
    return [Text(heading), grid(rows)]


def _permitted(rows: Sequence[PermittedRow], width: int) -> list[RenderableType]:
    """The largest load along the inputs, as numbers and as a curve; derated where less than the most."""
    if not rows:
        return []
    most = max(*(one.va or 0 for one in rows), 1)
    told = max(len(one.limit_told) for one in rows)
    bar = min(max(width - BESIDE_BAR - told, 8), LONGEST_BAR)
    heading = "\nPermitted load along the line, one input a line (the bar: share of the most):"
    return [Text(heading), Text("\n".join(_permitted_line(one, _bar(one, most, bar)) for one in rows))]


def _permitted_line(one: PermittedRow, bar: str) -> str:
    start = f"{words.figure(one.input_v, 1):>6} V  {one.band:<12.12} {one.va or 0:>7.0f} VA"
    return f"{start} {bar} {one.limit_told}"


def _bar(one: PermittedRow, most: float, longest: int) -> str:
    return f"{'=' * max(round((one.va or 0) / most * longest), 1):<{longest}}"


def _feed(one: FeedRow) -> list[RenderableType]:
    return [Text(f'\nFeed "{one.name}":'), grid(one.states), *lines(one.told)]


def _needs(needs: Sequence[str]) -> list[RenderableType]:
    if not needs:
        return []
    listed = "\n".join(f"  needs {text}" for text in needs)
    return [Text(f"\nNot worked out, for the file leaves out:\n{listed}")]
