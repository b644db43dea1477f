"""The screen of `table`: the truth table, the holds where other volts than the line's are read, band map, gaps."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.table import TruthTable
from tapplan.pages.screens.bandmap import LEGEND, band_map
from tapplan.pages.screens.grid import BETWEEN, Spread, grid, headline, width_of

WIDEST_MAP = 110
THROWS = "NO: coil energised, COM joined to NO; NC: coil at rest, COM joined to NC"


def screen(answer: TruthTable, width: int) -> Group:
    """All of it; a column for each relay where there is room."""
    parts: list[RenderableType] = [headline(answer), *_truth(answer, width)]
    if answer.as_read:
        parts += [Text(""), grid(answer.as_read)]
    parts.append(Text(""))
    if answer.bands:
        drawn = "\n".join(band_map(answer, min(width, WIDEST_MAP)))
        parts += [Text(drawn), Text(LEGEND, style="dim"), Text("")]
    parts.append(Text(answer.coverage.told))
    return Group(*parts, *([Text(answer.origin_told)] if answer.origin_told else []))


def _truth(answer: TruthTable, width: int) -> list[RenderableType]:
    """The table: a word a relay where there is room, else the closed throw, else one list for all."""
    words_each = grid(answer.bands, spread=Spread(answer.relays, words.position))
    if width_of(words_each) <= width + BETWEEN:
        return [words_each]
    throws = grid(answer.bands, spread=Spread(answer.relays, words.throw))
    if width_of(throws) <= width + BETWEEN:
        return [throws, Text(THROWS, style="dim")]
    return [grid(answer.bands)]
