"""The screen of `replay`: the verdict, time in the bands, moves and life, where the volts stood, the worst days."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.logfigures import seconds_told
from tapplan.answers.logrows import LogFigures, VoltsTime
from tapplan.answers.replay import Replay
from tapplan.pages.screens.grid import grid, headline, lines

WORST_DAYS = 5
MOST_SITES = 12
HISTOGRAM_LINES = 24
BAR = 40


def screen(answer: Replay, width: int) -> Group:
    """All of it, the log as it was read last."""
    parts: list[RenderableType] = [headline(answer), *lines(answer.told)]
    if answer.beside is not None:
        parts += [Text("\nSide by side on the same logs:"), grid(answer.beside)]
    parts += [Text("\nTime in each band, and how often it was entered:"), grid(answer.bands), *_life(answer)]
    if answer.changes:
        parts += [
            Text("\nChanges of the band; the line's volts then, and what the output steps by:"),
            grid(answer.changes),
        ]
    parts += _volts(answer, width)
    parts += _hours(answer)
    parts += _days(answer)
    parts += _sites(answer)
    return Group(*parts, *_read(answer))


def _life(answer: LogFigures) -> list[RenderableType]:
    told = "\nEach relay's moves, and how long its contacts last at that rate (no years without `endurance`):"
    return [Text(told), grid(answer.life)]


def _volts(answer: LogFigures, width: int) -> list[RenderableType]:
    means = answer.means
    told = [
        f"\nMean distance from nominal: line {words.figure(answer.line_deviation_v)} V, output "
        f"{words.figure(answer.deviation_v)} V.",
    ]
    if means.count:
        told.append(
            f"Of {means.count:,} ten-minute means {words.percent(means.share)} of the line and "
            f"{words.percent(means.share_output)} of the output lie within 10 % of nominal; in {means.weeks_kept} of "
            f"{means.weeks} weeks 95 % of the line's do (as EN 50160 counts)."
        )
    heading = Text("\nSo much of the time at or below these volts (the output while not away, without load):")
    return [*lines(told), heading, grid(answer.percentiles), *_histogram(answer.histogram, width)]


def _histogram(rows: Sequence[VoltsTime], width: int) -> list[RenderableType]:
    """Where line and output stood, as bars of some bins together."""
    total = sum(float(one.line_s) for one in rows)
    if not total:
        return []
    low, high = rows[0].from_v, rows[-1].to_v
    size = next(size for size in (1, 2, 5, 10, 20, 50, 100, 1000, 10**9) if (high - low) / size <= HISTOGRAM_LINES)
    bins: dict[int, list[float]] = {}
    for one in rows:
        both = bins.setdefault(int(one.from_v // size), [0.0, 0.0])
        both[0] += float(one.line_s)
        both[1] += float(one.output_s)
    most, longest = max(max(both) for both in bins.values()), min(BAR, (width - 11) // 2)
    told = [
        f"{at * size:>7g}  {_bar(both[0] / most, '-', longest):<{longest}}  {_bar(both[1] / most, '#', longest)}"
        for at, both in sorted(bins.items())
    ]
    legend = f"\nHow long line (-) and output (#) stood from these volts up, {size} V a line:"
    return [Text(legend), Text("\n".join(told))]


def _bar(share: float, sign: str, longest: int = BAR) -> str:
    return sign * (max(1, round(share * longest)) if share > 0 else 0)


def _hours(answer: LogFigures) -> list[RenderableType]:
    if not any(answer.hours):
        return []
    most = max(answer.hours)
    told = [
        f"{hour:02d}  {_bar(count / most, '#') + ' ' if count else ''}{count:,}"
        for hour, count in enumerate(answer.hours)
    ]
    heading = (
        f"\nChanges of the band by the hour of the day; {words.figure(answer.changes_an_hour)} an hour, "
        f"{answer.busiest_hour:,} in the busiest:"
    )
    return [Text(heading), Text("\n".join(told))]


def _days(answer: LogFigures) -> list[RenderableType]:
    worst = sorted(answer.days, key=lambda day: (-day.outside_s, -day.changes, day.date))[:WORST_DAYS]
    if len(answer.days) < 2:
        return []
    return [Text(f"\nThe worst of {len(answer.days)} days:"), grid(worst)]


def _sites(answer: Replay) -> list[RenderableType]:
    if answer.sites is None or answer.region is None:
        return []
    parts: list[RenderableType] = [Text(f"\nOver {len(answer.sites)} logs:"), grid(answer.region)]
    worst = sorted(answer.sites, key=lambda one: -(one.outside_share or 0))[:MOST_SITES]
    told = [
        f"{one.log}: outside {words.percent(one.outside_share)}, {one.changed:,} changes, {one.transfers:,} transfers"
        for one in worst
    ]
    heading = "\nThe logs with the most time outside:" if len(worst) < len(answer.sites) else "\nEach log:"
    return [*parts, Text(heading), *lines(told)]


def _read(answer: LogFigures) -> list[RenderableType]:
    """What was read, what was not, and what no such log shows."""
    step = "" if answer.step_s is None else f", one each {words.number(answer.step_s)} s as a rule"
    told = [
        f"\n{answer.log}: {answer.samples:,} samples{step}, {answer.first} to {answer.last}.",
        f"{answer.gaps:,} gaps, {seconds_told(answer.seconds['gap'])} in all, the longest "
        f"{seconds_told(answer.longest_gap_s)}; the band is kept over a gap."
        if answer.gaps
        else "No gaps.",
        f"{answer.bad:,} rows left out: "
        + ", ".join(f"{count:,} {why}" for why, count in answer.bad_by.items())
        + "."
        if answer.bad
        else "No bad rows.",
    ]
    parts: list[RenderableType] = [*lines(told)]
    if answer.bad_rows:
        parts += [grid(answer.bad_rows)]
    made = [Text(f"{answer.made}.")] if answer.made else []
    return [*parts, Text(answer.unseen.told), *made]
