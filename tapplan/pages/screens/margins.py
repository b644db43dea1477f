"""The screen of `margins`: worst corners and overlaps with what eats them as bars, growth, budget, draws."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.margins import CornerRow, Counts, Draws, ErrorBudget, HandoverRow, Margins
from tapplan.pages.screens.bars import OVERDRAWN, Share, ShareBar, bar
from tapplan.pages.screens.findings import section
from tapplan.pages.screens.grid import grid, headline

LONGEST_BAR = 60
LONGEST_NAME = 28
LEAST = (
    "The least margin of each promise: output volts to the window (out-of-window), readings held beyond those of "
    "promised inputs (dead-zone, stranded), input volts of overlap beyond the noise (chatter):"
)


def screen(answer: Margins, width: int) -> Group:
    """All that was proven, and last what is broken."""
    parts: list[RenderableType] = [headline(answer), Text(LEAST), grid(answer.promises), Text("")]
    parts += _corners(answer.margins, width)
    if answer.handovers:
        parts += [Text(""), *_handovers(answer.handovers, width)]
    heading = "How far each may go, the thresholds staying, before the first promise breaks:"
    parts += [Text(""), Text(heading), grid(answer.growth)]
    if answer.budget is not None and answer.counts is not None:
        parts += _budget(answer.budget, answer.counts)
    if answer.samples is not None:
        parts += _draws(answer.samples)
    return Group(*parts, *([section(answer.findings, "\nPromises broken")] if answer.findings else []))


def _corners(rows: Sequence[CornerRow], width: int) -> list[RenderableType]:
    bars = [ShareBar(f"{one.band} {one.end}", _eaten(one)) for one in rows]
    return [
        Text("Worst corner of each band within the mains range, volts (low ends at full load, high ends without):"),
        grid(rows, unit_told="V"),
        Text("\nWhat eats the margin: noise N, error E, load L; left ."),
        _bars(bars, width),
    ]


def _eaten(one: CornerRow) -> tuple[Share, ...]:
    return (
        Share("N", one.noise_v),
        Share("E", one.error_v),
        Share("L", one.load_v),
        Share(".", one.margin_v),
    )


def _handovers(rows: Sequence[HandoverRow], width: int) -> list[RenderableType]:
    told = (
        "How the input volts that neighbours could share are used, in volts (beyond: overlap beyond the noise; at "
        "the source: the whole overlap in volts of the open source):"
    )
    bars = [ShareBar(f"{one.below} > {one.above}", _shared(one)) for one in rows]
    legend = Text("\nLoad L, error E, noise N, hysteresis beyond the noise H; spare .")
    return [Text(told), grid(rows, unit_told="V"), legend, _bars(bars, width)]


def _shared(one: HandoverRow) -> tuple[Share, ...]:
    eaten = (Share("L", one.load_v), Share("E", one.error_v), Share("N", one.noise_v), Share("H", one.beyond_v))
    return (*eaten, Share(".", one.spare_above_v), Share(".", one.spare_below_v))


def _bars(bars: Sequence[ShareBar], width: int) -> Text:
    """One bar a line, all to one scale."""
    wholes = [sum((abs(share.size) for share in one.shares), Fraction(0)) for one in bars]
    scale = max(wholes, default=Fraction(0))
    label = min(max([len(one.name) for one in bars], default=0), LONGEST_NAME)
    columns = min(max(width - label - 4, 10), LONGEST_BAR)
    lines = [f"{one.name[:label]:<{label}}  {bar(one.shares, scale, columns)}" for one in bars]
    if any(OVERDRAWN in line for line in lines):
        lines.append(f"{OVERDRAWN} overdrawn by so much: there a promise is broken")
    return Text("\n".join(lines))


def _budget(found: ErrorBudget, counts: Counts) -> list[RenderableType]:
    """The error budget line by line, and the thresholds in counts."""
    return [Text(""), grid(found.with_sum), Text(""), grid(counts.with_return), Text(counts.told)]


def _draws(drawn: Draws) -> list[RenderableType]:
    """The random draws beside the worst case."""
    return [Text(""), Text(drawn.drawn_told), grid(drawn.met), Text(drawn.told)]
