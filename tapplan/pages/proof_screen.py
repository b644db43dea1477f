"""The screens of the verbs that prove: margins, steps, moves, compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.text import Text

from tapplan.checks.aftermath import named
from tapplan.checks.recovery import drawn_at_worst, highest_jump_v, worst_of
from tapplan.checks.review import Review
from tapplan.checks.sentences.mends import cured
from tapplan.control.standing import Standing
from tapplan.control.table import Row
from tapplan.pages import words
from tapplan.pages.bars import OVERDRAWN, Share, bar
from tapplan.pages.envelope import LEGEND, envelope
from tapplan.pages.proofs import Counted
from tapplan.pages.screen import findings, headline, plain_table

if TYPE_CHECKING:
    from tapplan.checks.budget import Budget
    from tapplan.checks.comparison import BandChange, Comparison
    from tapplan.checks.flight import Flight
    from tapplan.checks.growths import Growth
    from tapplan.checks.margins import Margin, Sharing
    from tapplan.checks.mends import Cure
    from tapplan.checks.recovery import Verdict
    from tapplan.checks.samples import Samples
    from tapplan.control.response import Side

_LONGEST_BAR = 60

Reckoned = tuple[Sequence["Margin"], Sequence["Sharing"], Sequence["Growth"]]


def margins(reviewed: Review, found: Reckoned, width: int) -> Group:
    """The worst corners, what eats them, how the overlaps are used, and how far each tolerance may grow."""
    corners, shared, grown = found
    parts: list[RenderableType] = [headline(reviewed.design.title, "Margins"), *_corners(corners, width)]
    if shared:
        parts += [Text(""), *_handovers(shared, width)]
    return Group(*parts, Text(""), *_growth(grown))


def _corners(found: Sequence[Margin], width: int) -> list[RenderableType]:
    table = plain_table("band", "end", "line", "read as", "output", "window", "left", "noise", "error", "load")
    bars: list[tuple[str, Sequence[Share]]] = []
    for one in found:
        volts = [one.input_v, one.reading_v, one.output_v, one.limit_v, one.margin_v]
        volts += [one.noise_v, one.error_v, one.load_v]
        table.add_row(escape(one.row.name), one.end, *(words.number(volt, 2) for volt in volts))
        shares = [("N", one.noise_v), ("E", one.error_v), ("L", one.load_v), (".", one.margin_v)]
        bars.append((f"{one.row.name} {one.end}", shares))
    return [
        Text("Worst corner of each band within the mains range, volts (low ends at full load, high ends without):"),
        table,
        Text("\nWhat eats the margin: noise N, error E, load L; left ."),
        _bars(bars, width),
    ]


def _handovers(shared: Sequence[Sharing], width: int) -> list[RenderableType]:
    columns = ("from", "to", "whole", "load", "error", "noise", "beyond", "spare", "at the source")
    table = plain_table(*columns)
    bars: list[tuple[str, Sequence[Share]]] = []
    for one in shared:
        spare = one.spare_above_v + one.spare_below_v
        volts = (one.whole_v, one.load_v, one.error_v, one.noise_v, one.hysteresis_v, spare, one.open_overlap_v)
        names = (escape(one.below.name), escape(one.above.name))
        table.add_row(*names, *(words.number(volt, 2) for volt in volts))
        shares = [("L", one.load_v), ("E", one.error_v), ("N", one.noise_v), ("H", one.hysteresis_v)]
        shares += [(".", one.spare_above_v), (".", one.spare_below_v)]
        bars.append((f"{one.below.name} > {one.above.name}", shares))
    return [
        Text(
            "How the input volts that neighbours could share are used (beyond: overlap beyond the noise; at the "
            "source: the whole overlap in volts of the open source):"
        ),
        table,
        Text("\nLoad L, error E, noise N, hysteresis beyond the noise H; spare ."),
        _bars(bars, width),
    ]


def _bars(bars: Sequence[tuple[str, Sequence[Share]]], width: int) -> Text:
    """One bar a line, all to one scale."""
    scale = max([sum(abs(size) for _, size in shares) for _, shares in bars], default=Fraction(0)) or Fraction(1)
    label = min(max([len(name) for name, _ in bars], default=0), 28)
    columns = min(max(width - label - 4, 10), _LONGEST_BAR)
    lines = [f"{name[:label]:<{label}}  {bar(shares, scale, columns)}" for name, shares in bars]
    if any(OVERDRAWN in line for line in lines):
        lines.append(f"{OVERDRAWN} overdrawn by so much: there a promise is broken")
    return Text("\n".join(lines))


def _growth(grown: Sequence[Growth]) -> list[RenderableType]:
    table = plain_table("quantity", "now", "may go to", "then")
    for one in grown:
        most = "anything" if one.most is None else words.number(one.most, 3) if one.most >= 0 else "nothing helps"
        then = f"{one.code}, {one.where}" if one.most is not None else "-"
        then += " (broken already)" if one.broken else ""
        table.add_row(escape(one.quantity), words.number(one.now, 3), most, escape(then))
    return [Text("How far each may go, the thresholds staying, before the first promise breaks:"), table]


def budget(found: Budget, numbers: Counted) -> Group:
    """The error budget line by line, and the thresholds in counts."""
    reading, holds, left, back = numbers
    lines = plain_table("error of the reading", "worst (%)", "root of squares (%)", "how")
    for one in found.lines:
        lines.add_row(one.name, f"{float(100 * one.worst):.3f}", f"{100 * one.likely:.3f}", one.formula)
    lines.add_row("all, compounded", f"{float(100 * found.worst):.3f}", f"{100 * found.likely:.3f}", "")
    counted = plain_table("band", "hold (counts)", "counts of hysteresis to the next")
    for place, hold in enumerate(holds):
        shown = words.number(left[place], 2) if place < len(left) else "-"
        counted.add_row(escape(hold.row.name), f"{hold.low} - {hold.high}", shown)
    if back is not None:
        counted.add_row("return from backup", f"{back[0]} - {back[1]}", "-")
    step, highest = words.number(reading.step_v, 4), words.number(reading.highest_v, 1)
    return Group(
        Text(""), lines, Text(""), counted, Text(f"One count is {step} V; the converter is full at {highest} V.")
    )


def samples(drawn: Samples) -> Group:
    """The random draws beside the worst case."""
    table = plain_table("band", "samples", "1 %", "half", "99 %", "lowest - highest output (V)", "outside the window")
    for one in drawn.bands:
        if one.count:
            levels = one.volts
            cells = ["-", "-", "-", "no output"] if levels is None else [f"{level:.1f}" for level in levels[1:4]]
            cells += [] if levels is None else [f"{levels[0]:.1f} - {levels[4]:.1f}"]
            cells.append(f"{one.outside_window} ({one.outside_window / one.count:.2%})")
            table.add_row(escape(one.row.name), f"{one.count}", *cells)
    beyond = sum(one.outside_worst for one in drawn.bands)
    closing = (
        f"{beyond} of {drawn.count} samples lie outside the exact worst case; {drawn.unheld} readings no band holds."
    )
    drawn_how = f"Drawn at random, seed {drawn.seed}: line, error and load, each evenly:"
    return Group(Text(""), Text(drawn_how), table, Text(closing))


def steps(reviewed: Review, found: Sequence[Verdict], cures: Mapping[Side, Cure | None], width: int) -> Group:
    """The worst sudden step from each row on each side of the curve, and a picture of the worst of all."""
    worst = _worst(found)
    table = plain_table(
        "from", "line to (V)", "through", "output (V)", "% of nominal", "lasts (ms)", "allowed (ms)", "verdict"
    )
    for one in worst:
        names = " > ".join(named(reviewed, row) for row in one.response.entered)
        allowed = "for ever" if one.allowed_ms is None else f"{float(one.allowed_ms):.3g}"
        verdict = "kept" if one.kept else f"{one.side} the curve"
        cells = [
            named(reviewed, one.response.start),
            words.number(one.line_v, 1),
            names,
            words.number(one.output_v, 1),
        ]
        cells += [f"{float(one.percent):.0f}", f"{float(one.lasts_ms):.0f}", allowed, verdict]
        table.add_row(*(escape(cell) for cell in cells))
    parts: list[RenderableType] = [headline(reviewed.design.title, "Sudden steps"), table]
    parts += _verdict_lines(reviewed, found, cures)
    parts += _picture(reviewed, found, width)
    return Group(*parts)


def unfollowed(shown: Group) -> Group:
    """The same, with a word on inputs that no band holds."""
    return Group(shown, Text("Steps to inputs that no band holds are not followed; `tapplan table` lists those."))


def _worst(found: Sequence[Verdict]) -> list[Verdict]:
    """For each row and side, the verdict that leaves the curve farthest, or comes nearest to it."""
    by_start: dict[tuple[Standing, Side], Verdict] = {}
    for one in found:
        known = by_start.setdefault((one.response.start, one.side), one)
        if one.harm > known.harm:
            by_start[one.response.start, one.side] = one
    return list(by_start.values())


def _verdict_lines(
    reviewed: Review, found: Sequence[Verdict], cures: Mapping[Side, Cure | None]
) -> list[RenderableType]:
    if not found:
        return [Text("No sudden step leaves the curve's steady levels.")]
    left = [one for one in found if not one.kept]
    lines = [f"{len(left)} of {len(found)} leave {found[0].curve.key} (shown: the worst from each band)."]
    for side, cure in cures.items():
        here = [one for one in left if one.side == side]
        if here:
            one = max(here, key=lambda verdict: verdict.harm)
            jump = highest_jump_v(reviewed, one)
            farther = f"; a jump to at most {words.number(jump, 1)} V keeps to it" if jump is not None else ""
            start = named(reviewed, one.response.start)
            lines.append(f'The worst {side}, from "{start}": {cured(cure)}{farther}.')
    return [Text(line) for line in lines]


def _picture(reviewed: Review, found: Sequence[Verdict], width: int) -> list[RenderableType]:
    if not found:
        return []
    one = worst_of(found)
    drawn, settled = drawn_at_worst(reviewed, one)
    lines = envelope(drawn, settled, one.curve, (reviewed.design.output.nominal_v, min(width, 100)))
    start = named(reviewed, one.response.start)
    heading = f'\nFrom "{start}", the line to {words.number(one.line_v, 1)} V at once, against {one.curve.key}:'
    judged = "A level is judged by how long it, or a worse one, lasts without a break, wherever that lies in time."
    return [Text(heading), Text("\n".join(lines)), Text(f"{LEGEND}\n{judged}", style="dim")]


def moves(reviewed: Review, found: Sequence[Flight]) -> Group:
    """Every move as it is commanded, with what its relays can pass through, and the safest order with its price."""
    table = plain_table(
        "move",
        "relays",
        "at (V)",
        "can pass through",
        "on nothing (ms)",
        "takes (ms)",
        "safest order",
        "which passes",
        "takes (ms)",
    )
    for one in found:
        best, given, gap = one.best, one.flown.given, one.gap_ms
        relays = ", then ".join(given.order) if given.ordered else ", ".join(one.move.movers)
        order = "-" if best is None else ", then ".join(best.relays)
        passes = "-" if best is None else "a short" if best.shorts else _ratios(best.ratios)
        cells = [one.move.name, relays, words.span(one.move.inputs), _met(one), f"{float(gap):g}" if gap else "-"]
        cells += [f"{float(one.takes_ms):g}", order, passes]
        cells.append("-" if one.best_ms is None else f"{float(one.best_ms):g}")
        table.add_row(*(escape(cell) for cell in cells))
    return Group(headline(reviewed.design.title, "Moves"), table, Text(_MOVES_TOLD))


_MOVES_TOLD = (
    "relays: as [sequence] commands them; together where no order stands, and then nothing is promised about who "
    "comes first. An order means: the next after the last has settled. Every time is the most that is allowed."
)


def _met(one: Flight) -> str:
    shorts = f"{one.shorts} shorts" if one.shorts else ""
    ratios = f"ratios {_ratios(one.met)}" if one.met else ""
    nothing = "nothing" if one.without_ratio > one.shorts else ""
    return ", ".join(part for part in (shorts, ratios, nothing) if part) or "-"


def _ratios(ratios: Sequence[Fraction]) -> str:
    return ", ".join(f"{float(ratio):.4g}" for ratio in sorted(set(ratios))) or "none"


def compared(found: Comparison, files: tuple[str, str]) -> Group:
    """Two revisions, difference by difference, in the words of the other screens."""
    parts: list[RenderableType] = [Text(f"Changes from {files[0]} to {files[1]}", style="bold")]
    for promise in found.promises:
        verdict = "less is promised" if promise.worse else "no less is promised"
        parts.append(
            Text(f"{promise.key}: {words.span(promise.old)} V becomes {words.span(promise.new)} V; {verdict}")
        )
    if found.bands:
        parts += [Text("\nBands", style="bold"), _band_changes(found.bands)]
    if found.margins:
        parts += [Text("\nMargins (V)", style="bold"), _margin_changes(found)]
    if found.stated:
        parts += [Text("\nWhat the file states", style="bold"), _stated_changes(found)]
    for heading, some in (("Findings gained", found.gained), ("Findings lost", found.lost)):
        if some:
            parts += [Text(""), findings(some, heading=heading)]
    if found.grown:
        parts += [Text("\nFindings changed", style="bold"), _grown(found)]
    if found.traits:
        parts += [Text("\nWhat every such stage has", style="bold"), _trait_changes(found)]
    if len(parts) == 1:
        parts.append(Text("No difference in what the files state, in bands, margins or findings."))
    closing = "Something got worse." if found.worse else "Nothing got worse."
    return Group(*parts, Text(f"\n{closing}", style="bold"))


def _trait_changes(found: Comparison) -> RenderableType:
    table = plain_table("trait", "was", "is", "")
    for one in found.traits:
        name = f"{one.new.code}, {one.new.side}" if one.new.side else one.new.code
        cells = [f"{float(two.value):.4g} {two.unit}{_for(two.lasts_ms)}" for two in (one.old, one.new)]
        table.add_row(name, *cells, "worse" if one.worse else "")
    return table


def _for(lasts_ms: Fraction | None) -> str:
    return "" if lasts_ms is None else f" for {float(lasts_ms):.3g} ms"


def _stated_changes(found: Comparison) -> RenderableType:
    table = plain_table("key", "was", "is")
    for one in found.stated:
        table.add_row(*(escape(cell) for cell in (one.key, _told(one.old), _told(one.new))))
    return table


def _told(value: object) -> str:
    """A value of the file in words."""
    if isinstance(value, Fraction):
        return words.number(value, 6)
    if isinstance(value, tuple):
        return "[" + ", ".join(_told(one) for one in value) + "]"
    return "-" if value is None else str(value)


def _grown(found: Comparison) -> RenderableType:
    lines = []
    for one in found.grown:
        grown = "worse" if one.worse else "no worse"
        lines.append(f"{one.new.severity.value}  {one.new.code}, {one.new.where}: {grown}\n    was: {one.old.told}")
        lines.append(f"    is:  {one.new.told}")
    return Text("\n".join(lines))


def _band_changes(changes: Sequence[BandChange]) -> RenderableType:
    table = plain_table("band", "change", "was", "is")
    for one in changes:
        table.add_row(escape(one.name), one.change, escape(_band(one.old)), escape(_band(one.new)))
    return table


def _band(row: Row | None) -> str:
    if row is None:
        return "-"
    return f"{words.span(row.kept, 3)} V, {words.relays(row.energised)}, {words.ratio(row.ratio)}"


def _margin_changes(found: Comparison) -> RenderableType:
    table = plain_table("what", "was", "is", "won")
    for one in (*found.margins, *found.smallest):
        won = f"{float(one.won_v):+.2f}" + ("  lost" if one.won_v < 0 else "")
        table.add_row(escape(one.what), words.number(one.old_v, 2), words.number(one.new_v, 2), won)
    return table
