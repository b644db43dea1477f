"""Thresholds refined on logs, before and after, on the part they were chosen on and the part held out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import SharedCell, ends, measured, more, number, volts, word, yes
from tapplan.answers.logfigures import figures_of, seconds_told
from tapplan.answers.logrows import LogFigures
from tapplan.answers.replay import together
from tapplan.answers.weighed import REST_TOLD
from tapplan.control.thresholds import Handover
from tapplan.exact import Span
from tapplan.replay.machine import machine
from tapplan.study.handovers import HandoverRoom
from tapplan.study.refined import LogPart, Refinement, Refining

CHOSEN, HELD_OUT = "chosen on", "held out"
UP, DOWN = SharedCell("upward above (V)", " -> "), SharedCell("downward below (V)", " -> ")
OVERLAP = SharedCell("overlap (V)", " -> ")


@dataclass(frozen=True, slots=True, kw_only=True)
class ThresholdRow:
    """The thresholds between two neighbours, before and as found, in the units sensed; overlaps in input volts.

    `most_overlap_v` is the widest that the window leaves, whatever else is promised.
    """

    below: Annotated[str, word("below")]
    above: Annotated[str, word("above")]
    up_before_v: Annotated[Fraction, volts("upward above, before", pair=UP)]
    up_v: Annotated[Fraction, volts("upward above", pair=UP)]
    down_before_v: Annotated[Fraction, volts("downward below, before", pair=DOWN)]
    down_v: Annotated[Fraction, volts("downward below", pair=DOWN)]
    overlap_before_v: Annotated[Fraction, volts("overlap, before", digits=2, pair=OVERLAP)]
    overlap_v: Annotated[Fraction, volts("overlap", digits=2, pair=OVERLAP)]
    most_overlap_v: Annotated[Fraction, volts("at most", digits=2)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartTrial:
    """What one part of the logs makes of the thresholds before, or of those found; `part` as in `trials`."""

    part: Annotated[str, word("part of the log")]
    thresholds: Annotated[str, word("thresholds")]
    observed_s: Annotated[Fraction, number("seconds", digits=0, on_screen=False)]
    changes: Annotated[int, number("changes", digits=0)]
    moves: Annotated[int, number("moves", digits=0)]
    outside_s: Annotated[Fraction, number("outside", "s", digits=2)]
    deviation_v: Annotated[float | None, measured("mean deviation", "V")]
    years: Annotated[float | None, measured("years", digits=1, optional=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSpan:
    """From when to when a part of a log goes, on the log's clock; `log` where there are several."""

    log: Annotated[str | None, word("log", optional=True)]
    part: Annotated[str, word("part")]
    first: Annotated[str, word("from")]
    last: Annotated[str, word("to")]
    samples: Annotated[int, number("samples", digits=0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedBand:
    """A band with the hold that is to be used."""

    name: Annotated[str, word("band")]
    hold_v: Annotated[Span, ends("hold (readings, V)", unit="", digits=3)]


@dataclass(frozen=True, slots=True, kw_only=True)
class RefinedFigures:
    """What refining the thresholds on logs came to; `kept`: those found are used, else those before stay.

    `proven`: no pair of thresholds up to `near_v` away at one handover makes fewer changes on the part chosen on;
    `every_pair`: nor does any other in steps of the grid. `margin_v` is the least margin of any promise.
    """

    log: Annotated[str, word()]
    made: Annotated[str | None, word(optional=True)] = None
    cut: Annotated[bool, yes()]
    kept: Annotated[bool, yes()]
    outcome: Annotated[str, word()]
    thresholds: Annotated[tuple[ThresholdRow, ...], more()]
    trials: Annotated[tuple[PartTrial, ...], more()]
    spans: Annotated[tuple[PartSpan, ...], more()]
    bands: Annotated[tuple[UsedBand, ...], more()]
    proven: Annotated[bool, yes()]
    every_pair: Annotated[bool, yes()]
    near_v: Annotated[Fraction | None, number()]
    partial: Annotated[bool, yes()]
    margin_before_v: Annotated[Fraction | None, number()]
    margin_v: Annotated[Fraction | None, number()]
    told: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Refined(RefinedFigures, Answer):
    """The thresholds of a complete design, refined on logs."""

    heading = "Thresholds on logs"

    title: str
    written: Annotated[str | None, word(optional=True)] = None

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The tables of rows, the thresholds first."""
        return ("thresholds", "trials", "spans", "bands")


def refined_answer(found: Refinement) -> Refined:
    """The answer for a design."""
    figures = refined_figures(found)
    return Refined(
        **{name: getattr(figures, name) for name in RefinedFigures.__dataclass_fields__},
        title=found.table.design.title,
    )


def refined_figures(found: Refinement) -> RefinedFigures:
    """The same as a part of another answer."""
    sites = [site for part in found.parts for site in part.sites]
    each = [_Judged(part, *(_figures(found, part, at) for at in (0, 1))) for part in found.parts]
    steps = [room.step for room in found.before.rooms]
    names = list(dict.fromkeys(site.name for site in sites))
    return RefinedFigures(
        log=names[0] if len(names) == 1 else f"{len(names)} logs",
        made=next((site.made for site in sites if site.made), None),
        cut=any(site.cut for site in sites),
        kept=found.kept,
        outcome=found.outcome.value,
        thresholds=tuple(
            _threshold(found, room, one) for room, one in zip(found.before.rooms, found.found, strict=True)
        ),
        trials=tuple(row for one in each for row in _trials(one)),
        spans=tuple(_span(found, part, at) for part in found.parts for at in range(len(part.sites))),
        bands=tuple(UsedBand(name=row.name, hold_v=row.hold) for row in found.table.rows),
        proven=found.proven,
        every_pair=found.every_pair,
        near_v=min(steps) * found.near_steps if steps else None,
        partial=found.partial,
        margin_before_v=found.margin_before,
        margin_v=found.margin,
        told=tuple(_told(found, each)),
    )


@dataclass(frozen=True)
class _Judged:
    """A part, and its figures with the thresholds before and with those found."""

    part: LogPart
    before: LogFigures
    after: LogFigures


def _figures(found: Refinement, part: LogPart, at: int) -> LogFigures:
    table = found.before.table if at == 0 else found.before.moved(found.found)
    whole = part.runs[0] if len(part.runs) == 1 else together(part.runs)
    return figures_of(machine(table, found.zone), whole, at)


def _named(part: LogPart) -> str:
    return HELD_OUT if part.held_out else CHOSEN


def _threshold(found: Refinement, room: HandoverRoom, one: Handover) -> ThresholdRow:
    below, above = found.table.rows[room.number : room.number + 2]
    return ThresholdRow(
        below=below.name,
        above=above.name,
        up_before_v=room.now.upper_end,
        up_v=one.upper_end,
        down_before_v=room.now.lower_end,
        down_v=one.lower_end,
        overlap_before_v=room.overlap(room.now),
        overlap_v=room.overlap(one),
        most_overlap_v=room.overlap(Handover(room.most_upper, room.least_lower)),
    )


def _trials(one: _Judged) -> Iterator[PartTrial]:
    for name, figures in (("before", one.before), ("found", one.after)):
        yield PartTrial(
            part=_named(one.part),
            thresholds=name,
            observed_s=figures.observed_s,
            changes=figures.changed,
            moves=sum(figures.moves.values()),
            outside_s=figures.outside_s,
            deviation_v=figures.deviation_v,
            years=figures.years,
        )


def _span(found: Refinement, part: LogPart, at: int) -> PartSpan:
    run, site = part.runs[at], part.sites[at]
    figures = figures_of(machine(found.before.table, found.zone), run, 0)
    several = any(len(one.sites) > 1 for one in found.parts)
    name = site.name if several else None
    return PartSpan(log=name, part=_named(part), first=figures.first, last=figures.last, samples=site.samples)


def _told(found: Refinement, each: Sequence[_Judged]) -> Iterator[str]:
    """The answer in sentences, the verdict first."""
    if found.partial:
        yield "Stopped before the search was over: what follows is the best so far."
    made = next((site.made for part in found.parts for site in part.sites if site.made), None)
    if made:
        yield words.made_up(made)
    yield _verdict(found, each)
    if found.outcome is not Refining.NO_ROOM:
        yield _kept_told(found)
        yield _exact_told(found)
    if any(site.cut for part in found.parts for site in part.sites):
        samples = sum(site.samples for part in found.parts for site in part.sites)
        yield f"Only the first {samples:,} samples were used; {REST_TOLD}."


def _verdict(found: Refinement, each: Sequence[_Judged]) -> str:
    stays = "Not refined, the thresholds stay"
    if found.outcome is Refining.NO_ROOM:
        return f"{stays}: between no two bands do the promises leave room for others."
    chosen, rest = each[0], each[-1]
    on_chosen = f"On the part that thresholds were chosen on {_fewer(chosen)}."
    match found.outcome:
        case Refining.KEPT:
            return f"Refined: on the part held out {_fewer(rest)}, and {_no_longer(rest)}. {on_chosen}"
        case Refining.NOT_FEWER:
            return f"{stays}: on the part held out {_fewer(rest)}, which is no fewer. {on_chosen}"
        case Refining.LONGER_OUTSIDE:
            times = f"{seconds_told(rest.after.outside_s)} in place of {seconds_told(rest.before.outside_s)}"
            return f"{stays}: on the part held out the output is outside its window for longer, {times}. {on_chosen}"
        case Refining.TOO_SHORT:
            short = "the log is too short for a day of it to be held out"
            return (
                f"{stays}: {short}. On all of it {_fewer(chosen)}; whether that lasts, a log of three days can tell."
            )
        case _:
            return f"{stays}: within the room none make fewer changes than the {chosen.before.changed:,} there are."


def _no_longer(one: _Judged) -> str:
    if one.after.outside_s <= one.before.outside_s:
        return "the output is outside its window for no longer"
    return "the time with the output outside its window grows by less than a step of the log"


def _fewer(one: _Judged) -> str:
    before, after = one.before.changed, one.after.changed
    share = f" ({words.percent(1 - after / before)} fewer)" if 0 < after < before else ""
    return f"the band changes {after:,} times in place of {before:,}{share}"


def _kept_told(found: Refinement) -> str:
    if found.margin is None or found.margin_before is None:
        return "Reviewed with the thresholds found: no promise is broken that was held."
    margins = f"{words.number(found.margin)} V, before {words.number(found.margin_before)} V"
    return f"Reviewed with the thresholds found: no promise is broken that was held; the least margin is {margins}."


def _exact_told(found: Refinement) -> str:
    steps = sorted({room.step for room in found.before.rooms})
    grid = " or ".join(words.number(step) for step in steps)
    if found.every_pair:
        return f"Exact on the part chosen on: of all thresholds of one handover in steps of {grid} V none do better."
    if found.proven:
        near = " or ".join(words.number(step * found.near_steps) for step in steps)
        return (
            f"Exact on the part chosen on: of all thresholds of one handover up to {near} V away, in steps "
            f"of {grid} V, none do better."
        )
    return "Not proven: other thresholds near these may do better."
