"""The screen of `table`: the truth table, the band map under it, the gaps in words."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.table import TruthTable
from tapplan.pages.screens.bandmap import LEGEND, band_map
from tapplan.pages.screens.grid import Spread, grid, headline

WIDEST_MAP = 110
BESIDE_RELAYS = 51  # characters that the columns beside band and relays take
THROWS = "NO: coil energised, COM joined to NO; NC: coil at rest, COM joined to NC"


def screen(answer: TruthTable, width: int) -> Group:
    """All of it; a column for each relay where there is room."""
    spread = _spread(answer, width)
    parts: list[RenderableType] = [headline(answer), grid(answer.bands, spread=spread)]
    if spread is not None and spread.write is words.throw:
        parts.append(Text(THROWS, style="dim"))
    parts.append(Text(""))
    if answer.bands:
        drawn = "\n".join(band_map(answer, min(width, WIDEST_MAP)))
        parts += [Text(drawn), Text(LEGEND, style="dim"), Text("")]
    parts.append(Text(answer.coverage.told))
    return Group(*parts, *([Text(answer.origin_told)] if answer.origin_told else []))


def _spread(answer: TruthTable, width: int) -> Spread | None:
    """A word a relay where there is room, else the closed throw, else none: one list for all."""
    spare = width - BESIDE_RELAYS - max([len(row.band) for row in answer.bands], default=4)
    for widest, write in ((9, words.position), (2, words.throw)):
        if sum(max(len(relay), widest) + 2 for relay in answer.relays) <= spare:
            return Spread(answer.relays, write)
    return None
