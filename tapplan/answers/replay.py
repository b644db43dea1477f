"""Measured mains through the controller: what `replay` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import measured, more, number, word
from tapplan.answers.logfigures import figures_of, length
from tapplan.answers.logrows import LogFigures
from tapplan.control.table import ControlTable
from tapplan.logs.head import MADE
from tapplan.logs.samples import BadRows
from tapplan.logs.sources import FileLog
from tapplan.replay.clock import SECOND
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun, Running, replayed
from tapplan.replay.tally import Spells, Tally
from tapplan.replay.zone import Zone


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideRow:
    """One of several designs on the same logs."""

    design: Annotated[str, word("design")]
    changes: Annotated[int, number("changes", digits=0)]
    moves: Annotated[int, number("moves", digits=0)]
    outside_s: Annotated[Fraction, number("outside", "s", digits=0)]
    outside_share: Annotated[float | None, measured(places=9)]
    transfers: Annotated[int, number("transfers", digits=0)]
    deviation_v: Annotated[float | None, measured("mean deviation", "V")]
    years: Annotated[float | None, measured("years", digits=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanOfSites:
    """One figure over all sites: the least, the tenth, half and nine tenths of them, the most, and where that is."""

    figure: Annotated[str, word("figure")]
    unit: Annotated[str, word("unit")]
    least: Annotated[float, measured("least")]
    tenth: Annotated[float, measured("10 % of sites")]
    median: Annotated[float, measured("half")]
    nine_tenths: Annotated[float, measured("90 %")]
    most: Annotated[float, measured("most")]
    at: Annotated[str, word("at")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay(LogFigures, Answer):
    """The logs together; with several, each of them and what differs between them; with other designs, those beside.

    `failed`: logs that could not be read, with why, where there were others.
    """

    heading = "Replay"

    title: str
    sites: Annotated[tuple[LogFigures, ...] | None, more(optional=True)] = None
    region: Annotated[tuple[SpanOfSites, ...] | None, more(optional=True)] = None
    beside: Annotated[tuple[BesideRow, ...] | None, more(optional=True)] = None
    failed: Annotated[tuple[str, ...] | None, more(optional=True)] = None
    told: tuple[str, ...] = ()

    @property
    def errors(self) -> tuple[str, ...]:
        """What could not be read."""
        return self.failed or ()

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The tables of rows, bands first."""
        return (
            "bands",
            "changes",
            "life",
            "percentiles",
            "histogram",
            "days",
            "bad_rows",
            "sites",
            "region",
            "beside",
        )


@dataclass(frozen=True)
class SideBySide:
    """The first design and those beside it, by the names of their files."""

    machines: tuple[Machine, ...]
    names: tuple[str, ...]


def replay(asked: SideBySide, runs: Sequence[LogRun], failed: Sequence[str] = (), *, stopped: bool = False) -> Replay:
    """The answer for logs that have been run through all machines asked about; at least one.

    `stopped`: there are logs that have not been run.
    """
    whole = runs[0] if len(runs) == 1 else together(runs)
    whole = replace(whole, partial=whole.partial or stopped)
    first = asked.machines[0]
    figures = figures_of(first, whole, 0)
    sites = tuple(figures_of(first, run, 0) for run in runs) if len(runs) > 1 else None
    return Replay(
        **{name: getattr(figures, name) for name in LogFigures.__dataclass_fields__},
        title=first.table.design.title,
        sites=sites,
        region=None if sites is None else _region(sites),
        beside=_beside(asked, whole) if len(asked.machines) > 1 else None,
        failed=tuple(failed) or None,
        told=(*_told(figures), *_odd(first, figures)),
    )


def replayed_here(table: ControlTable, logs: Sequence[FileLog], max_gap_s: Fraction | None) -> Replay:
    """Logs run one after the other in this process.

    Raises:
        LogError: one of them cannot be read.
    """
    asked = SideBySide((machine(table, Zone(logs[0].form.zone)),), (table.design.title,))
    how = Running(max_gap=None if max_gap_s is None else ceil(max_gap_s * SECOND))
    return replay(asked, [replayed(log, asked.machines, how) for log in logs])


def together(runs: Sequence[LogRun]) -> LogRun:
    """Several logs as one: sums, with nothing joined across them."""
    bad = BadRows()
    for run in runs:
        bad = bad.joined(run.bad)
    same = len({run.step for run in runs}) == 1, len({run.max_gap for run in runs}) == 1
    return LogRun(
        f"{len(runs)} logs",
        next((run.made for run in runs if run.made), None),
        min(run.first for run in runs),
        max(run.last for run in runs),
        runs[0].step if same[0] else 0,
        runs[0].max_gap if same[1] else 0,
        bad,
        tuple(_summed([run.tallies[at] for run in runs]) for at in range(len(runs[0].tallies))),
        any(run.partial for run in runs),
    )


def _summed(tallies: Sequence[Tally]) -> Tally:
    total = Tally(tallies[0].standings, tallies[0].window)
    for one in tallies:
        total.join(one)
    total.spells = Spells(longest=max(one.spells.most for one in tallies), seen=True)
    return total.trimmed()


def _beside(asked: SideBySide, run: LogRun) -> tuple[BesideRow, ...]:
    return tuple(
        _beside_row(name, figures_of(one, run, at))
        for at, (name, one) in enumerate(zip(asked.names, asked.machines, strict=True))
    )


def _beside_row(name: str, figures: LogFigures) -> BesideRow:
    return BesideRow(
        design=name,
        changes=figures.changed,
        moves=sum(figures.moves.values()),
        outside_s=figures.outside_s,
        outside_share=figures.outside_share,
        transfers=figures.transfers,
        deviation_v=figures.deviation_v,
        years=figures.years,
    )


def _region(sites: Sequence[LogFigures]) -> tuple[SpanOfSites, ...]:
    """The figures of the sites in order; a site without one is left out there."""
    percents = [one.percent for one in sites[0].percentiles]
    told: list[tuple[str, str, list[float | None]]] = [
        (f"line, {words.number(percent)} % of the time at most", "V", [one.percentiles[at].line_v for one in sites])
        for at, percent in enumerate(percents)
    ]
    told += [
        (
            f"output, {words.number(percent)} % of the time at most",
            "V",
            [one.percentiles[at].output_v for one in sites],
        )
        for at, percent in enumerate(percents)
    ]
    told += [
        ("outside the window", "% of the time", [_percent(one.outside_share) for one in sites]),
        ("changes an hour", "", [one.changes_an_hour for one in sites]),
        ("transfers", "", [float(one.transfers) for one in sites]),
        ("contacts last", "years", [one.years for one in sites]),
    ]
    names = [one.log for one in sites]
    return tuple(row for figure, unit, values in told if (row := _span(figure, unit, values, names)) is not None)


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _span(figure: str, unit: str, values: Sequence[float | None], names: Sequence[str]) -> SpanOfSites | None:
    known = sorted((value, name) for value, name in zip(values, names, strict=True) if value is not None)
    if not known:
        return None

    def at(tenths: int) -> float:
        return known[(len(known) - 1) * tenths // 10][0]

    return SpanOfSites(
        figure=figure,
        unit=unit,
        least=at(0),
        tenth=at(1),
        median=at(5),
        nine_tenths=at(9),
        most=at(10),
        at=known[-1][1],
    )


def _odd(machine: Machine, figures: LogFigures) -> tuple[str, ...]:
    """A log whose middle lies outside the mains range is hardly of these mains, or not in volts."""
    middle, mains = figures.percentiles[len(figures.percentiles) // 2].line_v, machine.table.design.mains
    if middle is None or mains.range_v[0] <= middle <= mains.range_v[1]:
        return ()
    return (
        f"Half of the time the log stands at or below {words.number(middle, 1)} V, outside the mains range of the "
        f"design ({words.span(mains.span)} V): is it of other mains, or in another unit (--unit, --scale)?",
    )


def _told(figures: LogFigures) -> tuple[str, ...]:
    """The answer in sentences, the verdict first."""
    outside = "-" if figures.outside_share is None else f"{100 * figures.outside_share:.3g} %"
    first = (
        f"{figures.changed:,} changes of the band in {length(figures.observed_s)}; the "
        f"output is outside its window for {outside} of the time, with {figures.transfers:,} transfers to backup"
    )
    return (
        *(
            ("Stopped before the end of the log: what follows is of the part that was read.",)
            if figures.partial
            else ()
        ),
        *((words.made_up(figures.made),) if figures.made else ()),
        f"{first}.",
    )


def spread_lines(answer: LogFigures) -> str:
    """How long the mains stood where, as lines of volts and seconds that `fit --weights` reads."""
    lines = [
        f"# {answer.log}: volts of the mains, the mean of each bin, and seconds; {answer.first} to {answer.last}"
    ]
    lines += [f"# {MADE} {answer.made}"] if answer.made else []
    means = [(one.line_mean_v, one.line_s) for one in answer.histogram if one.line_mean_v is not None]
    lines += [f"{mean:.4f}, {float(lasting):.6f}" for mean, lasting in means]
    return "\n".join(lines) + "\n"
