"""Measured mains through the controller: what `replay` answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from math import ceil
from typing import Annotated, Any

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, measured, more, number, ratio, said, word, yes
from tapplan.control.table import ControlTable
from tapplan.logs.samples import BadRows
from tapplan.logs.sources import FileLog
from tapplan.replay.clock import DAY, HOUR, SECOND
from tapplan.replay.life import moves_of, worn
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun, Running, replayed
from tapplan.replay.spread import PERCENTS_TOLD, VoltSpread, mains_spread, output_spread
from tapplan.replay.tally import DayTally, Spells, Tally
from tapplan.replay.unseen import unseen
from tapplan.replay.volts import Grain
from tapplan.replay.zone import Zone

BIN_GRAINS = 100  # a column of the histogram: 1 V for the usual mains
WEEK_SHARE = Fraction(95, 100)  # of the ten-minute means of a week: EN 50160, from its published text
THURSDAY = 3  # 1970-01-01 was one


@dataclass(frozen=True, slots=True, kw_only=True)
class BandTime:
    """How long a band was in force, and how often it was entered after the first decision."""

    band: Annotated[str, word("band")]
    ratio: Annotated[Fraction | None, ratio()]
    seconds: Annotated[Fraction, number("seconds", on_screen=False)]
    share: Annotated[float, measured()]
    share_told: Annotated[str, said("of the time")]
    lasting: Annotated[str, said("in all")]
    entered: Annotated[int, number("entered", digits=0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeCount:
    """How often one band followed another; the least and the most volts of the line then, and the output's step."""

    start: Annotated[str, word("from", key="from")]
    end: Annotated[str, word("to", key="to")]
    count: Annotated[int, number("times", digits=0)]
    line_v: Annotated[tuple[float, float], ends("line", digits=1)]
    step_v: Annotated[tuple[float, float] | None, ends("output steps by", digits=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayWear:
    """A relay's coil changes, and the years that its endurance lasts at that rate; None where nothing tells."""

    relay: Annotated[str, word("relay")]
    moves: Annotated[int, number("moves", digits=0)]
    a_day: Annotated[float | None, measured("a day")]
    endurance: Annotated[Fraction | None, number("endurance", digits=0)]
    years: Annotated[float | None, measured("years", digits=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PercentileRow:
    """So many per cent of the time the voltage stood at or below these volts."""

    percent: Annotated[Fraction, number("% of the time", digits=0)]
    line_v: Annotated[float | None, measured("line at most", "V")]
    output_v: Annotated[float | None, measured("output at most", "V")]


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltsTime:
    """How long line and output stood from the first of these volts to just below the second."""

    from_v: Annotated[float, measured("from", "V", digits=0)]
    to_v: Annotated[float, measured("to", "V", digits=0)]
    line_s: Annotated[Fraction, number("line", "s", digits=0)]
    output_s: Annotated[Fraction, number("output", "s", digits=0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRow:
    """One day by the log's clock; `means` are its ten-minute means, `means_kept` those within 10 % at the inlet."""

    date: Annotated[str, word("day")]
    outside_s: Annotated[Fraction, number("outside", "s", digits=0)]
    away_s: Annotated[Fraction, number("away", "s", digits=0)]
    gap_s: Annotated[Fraction, number("gap", "s", digits=0)]
    changes: Annotated[int, number("changes", digits=0)]
    line_v: Annotated[tuple[float, float] | None, ends("line", digits=1)]
    means: Annotated[int, number("10-minute means", digits=0, on_screen=False)]
    means_kept: Annotated[int, number("line within 10 %", digits=0, on_screen=False)]
    means_kept_output: Annotated[int, number("output within 10 %", digits=0, on_screen=False)]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeansTold:
    """The ten-minute means that the log covers whole, and the shares within 10 % of nominal; a mean is a RMS value.

    `weeks` have such a mean; in `weeks_kept` of them 95 % of them lie within 10 % at the inlet.
    """

    count: Annotated[int, number()]
    kept: Annotated[int, number()]
    kept_output: Annotated[int, number()]
    share: Annotated[float | None, measured()]
    share_output: Annotated[float | None, measured()]
    weeks: Annotated[int, number()]
    weeks_kept: Annotated[int, number()]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnseenTold:
    """What the log cannot show, in bounds on the changes of the band."""

    shortest_s: Annotated[Fraction, number()]
    changes_at_least: Annotated[int, number()]
    changes_one_way: Annotated[int, number()]
    changes_ceiling: Annotated[int | None, number()]
    told: Annotated[str, word()]


@dataclass(frozen=True, slots=True, kw_only=True)
class BadTold:
    """A row that is no sample."""

    file: Annotated[str, word("file")]
    row: Annotated[int, number("row", digits=0)]
    fault: Annotated[str, word("why")]
    found: Annotated[str, word("found")]


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFigures:
    """What one log, or several together, made the controller do. Times are on the log's clock."""

    log: Annotated[str, word()]
    made: Annotated[str | None, word(optional=True)] = None
    partial: Annotated[bool, yes()]
    first: Annotated[str, word()]
    last: Annotated[str, word()]
    samples: Annotated[int, number()]
    bad: Annotated[int, number()]
    bad_by: Annotated[Mapping[str, int], more()]
    bad_rows: Annotated[tuple[BadTold, ...], more()]
    step_s: Annotated[Fraction | None, number()]
    max_gap_s: Annotated[Fraction | None, number()]
    gaps: Annotated[int, number()]
    longest_gap_s: Annotated[Fraction, number()]
    bands: Annotated[tuple[BandTime, ...], more()]
    changes: Annotated[tuple[ChangeCount, ...], more()]
    moves: Annotated[Mapping[str, int], more()]
    life: Annotated[tuple[RelayWear, ...], more()]
    seconds: Annotated[Mapping[str, Fraction], more()]
    observed_s: Annotated[Fraction, number()]
    outside_s: Annotated[Fraction, number()]
    outside_share: Annotated[float | None, measured(places=9)]
    transfers: Annotated[int, number()]
    longest_away_s: Annotated[Fraction, number()]
    deviation_v: Annotated[float | None, measured()]
    line_deviation_v: Annotated[float | None, measured()]
    percentiles: Annotated[tuple[PercentileRow, ...], more()]
    histogram: Annotated[tuple[VoltsTime, ...], more()]
    means: Annotated[MeansTold, more()]
    changes_an_hour: Annotated[float | None, measured()]
    busiest_hour: Annotated[int, number()]
    hours: Annotated[tuple[int, ...], more()]
    worst_day: Annotated[DayRow | None, more()]
    days: Annotated[tuple[DayRow, ...], more()]
    unseen: Annotated[UnseenTold, more()]

    @property
    def changed(self) -> int:
        """Changes of the band."""
        return sum(one.count for one in self.changes)

    @property
    def years(self) -> float | None:
        """The relay that wears out first; None where none is told."""
        return min((one.years for one in self.life if one.years is not None), default=None)


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


def figures_of(machine: Machine, run: LogRun, at: int) -> LogFigures:
    """The figures of one log with one of the machines it was run through."""
    tally, grain = run.tallies[at], machine.grain
    line, output = mains_spread(tally, grain), output_spread(tally, grain, machine.ratios)
    observed, days = int(tally.lasting.sum()), _days(tally, grain)
    changes = int(tally.changes.sum())
    return LogFigures(
        log=run.name,
        made=run.made,
        partial=run.partial,
        first=clock(machine, run.first),
        last=clock(machine, run.last),
        samples=tally.samples,
        bad=run.bad.count,
        bad_by={fault.value: count for fault, count in run.bad.counts.items()},
        bad_rows=tuple(
            BadTold(file=one.file, row=one.row, fault=one.fault.value, found=one.found) for one in run.bad.told
        ),
        step_s=_seconds(run.step) if run.step else None,
        max_gap_s=_seconds(run.max_gap) if run.max_gap else None,
        gaps=tally.gaps,
        longest_gap_s=_seconds(tally.longest_gap),
        bands=_bands(machine, tally, observed),
        changes=_changes(machine, tally),
        moves=moves_of(machine, tally),
        life=tuple(
            RelayWear(relay=one.relay, moves=one.moves, a_day=one.a_day, endurance=one.endurance, years=one.years)
            for one in worn(machine, tally)
        ),
        seconds={name: _seconds(int(us)) for name, us in zip(machine.names, tally.lasting.sum(axis=1), strict=True)}
        | {"gap": _seconds(tally.gap_us)},
        observed_s=_seconds(observed),
        outside_s=_seconds(tally.outside),
        outside_share=tally.outside / observed if observed else None,
        transfers=int(tally.changes[:-1, -1].sum()),
        longest_away_s=_seconds(tally.spells.most),
        deviation_v=output.off(float(machine.table.design.output.nominal_v)),
        line_deviation_v=line.off(float(machine.table.design.mains.nominal_v)),
        percentiles=_percentiles(line, output),
        histogram=_histogram(line, output, grain),
        means=_means(tally),
        changes_an_hour=changes * HOUR / observed if observed else None,
        busiest_hour=max(tally.hours.values(), default=0),
        hours=tuple(int(one) for one in tally.by_hour),
        worst_day=max(days, key=lambda day: (day.outside_s, day.changes), default=None),
        days=days,
        unseen=_unseen(machine, tally, run.step),
    )


def _seconds(us: int) -> Fraction:
    return Fraction(us, SECOND)


def clock(machine: Machine, us: int) -> str:
    """A time on the wall where the log was taken, or on the log's own clock where no zone is known."""
    import numpy as np

    local = int(machine.zone.local(np.array([us], np.int64))[0])
    return _moment(local).isoformat(timespec="milliseconds" if local % SECOND else "seconds")


def _moment(us: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC).replace(tzinfo=None) + timedelta(microseconds=us)


def _bands(machine: Machine, tally: Tally, observed: int) -> tuple[BandTime, ...]:
    spent, entered = tally.lasting.sum(axis=1), tally.changes.sum(axis=0)
    ratios = [row.ratio for row in machine.table.rows] + [None]
    return tuple(
        BandTime(
            band=name,
            ratio=ratios[at],
            seconds=_seconds(int(spent[at])),
            share=int(spent[at]) / observed if observed else 0.0,
            share_told=words.percent(int(spent[at]) / observed if observed else None),
            lasting=_length(_seconds(int(spent[at]))),
            entered=int(entered[at]),
        )
        for at, name in enumerate(machine.names)
    )


def _changes(machine: Machine, tally: Tally) -> tuple[ChangeCount, ...]:
    names, ratios, grain = machine.names, machine.ratios, machine.grain
    found = []
    for before in range(len(names)):
        for after in range(len(names)):
            count = int(tally.changes[before, after])
            if count:
                line = (
                    grain.told(int(tally.change_least[before, after])),
                    grain.told(int(tally.change_most[before, after])),
                )
                away = len(names) - 1 in (before, after)
                by = float(ratios[after] - ratios[before])
                step = None if away else (min(by * volts for volts in line), max(by * volts for volts in line))
                found.append(
                    ChangeCount(start=names[before], end=names[after], count=count, line_v=line, step_v=step)
                )
    return tuple(found)


def _percentiles(line: VoltSpread, output: VoltSpread) -> tuple[PercentileRow, ...]:
    return tuple(
        PercentileRow(percent=one, line_v=line.percentile(one), output_v=output.percentile(one))
        for one in PERCENTS_TOLD
    )


def _histogram(line: VoltSpread, output: VoltSpread, grain: Grain) -> tuple[VoltsTime, ...]:
    width = grain.told(BIN_GRAINS)
    into, out = line.bins(width), output.bins(width)
    return tuple(
        VoltsTime(
            from_v=at * width,
            to_v=(at + 1) * width,
            line_s=_seconds(into.get(at, 0)),
            output_s=_seconds(out.get(at, 0)),
        )
        for at in sorted(into.keys() | out.keys())
    )


def _days(tally: Tally, grain: Grain) -> tuple[DayRow, ...]:
    return tuple(_day(number, tally.days[number], grain) for number in sorted(tally.days))


def _day(number: int, day: DayTally, grain: Grain) -> DayRow:
    return DayRow(
        date=_moment(number * DAY).date().isoformat(),
        outside_s=_seconds(day.outside),
        away_s=_seconds(day.away),
        gap_s=_seconds(day.gap),
        changes=day.changes,
        line_v=None if day.most < 0 else (grain.told(day.least), grain.told(day.most)),
        means=day.intervals,
        means_kept=day.kept,
        means_kept_output=day.kept_out,
    )


def _means(tally: Tally) -> MeansTold:
    weeks: dict[int, DayTally] = {}
    for at, day in tally.days.items():
        if day.intervals:
            weeks.setdefault((at + THURSDAY) // 7, DayTally()).add(day)
    total = DayTally()
    for week in weeks.values():
        total.add(week)
    return MeansTold(
        count=total.intervals,
        kept=total.kept,
        kept_output=total.kept_out,
        share=total.kept / total.intervals if total.intervals else None,
        share_output=total.kept_out / total.intervals if total.intervals else None,
        weeks=len(weeks),
        weeks_kept=sum(week.kept >= WEEK_SHARE * week.intervals for week in weeks.values()),
    )


def _unseen(machine: Machine, tally: Tally, step: int) -> UnseenTold:
    found = unseen(machine, tally, step)
    ceiling = (
        "" if found.ceiling is None else f"; whatever the line did, relays moved at most {found.ceiling:,} times"
    )
    seen = f"What stands for less than {words.number(_seconds(step))} s is not seen. " if step else ""
    told = (
        f"{seen}If the line ran one way from each sample to the next, the band changed at least {found.least:,} and "
        f"at most {found.one_way:,} times{ceiling}."
    )
    return UnseenTold(
        shortest_s=_seconds(step),
        changes_at_least=found.least,
        changes_one_way=found.one_way,
        changes_ceiling=found.ceiling,
        told=told,
    )


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
        f"{figures.changed:,} changes of the band in {_length(figures.observed_s)}; the "
        f"output is outside its window for {outside} of the time, with {figures.transfers:,} transfers to backup"
    )
    return (
        *(
            ("Stopped before the end of the log: what follows is of the part that was read.",)
            if figures.partial
            else ()
        ),
        *(
            (f"The log is made up ({figures.made.partition(':')[0]}): nothing here was measured.",)
            if figures.made
            else ()
        ),
        f"{first}.",
    )


def _length(seconds: Fraction) -> str:
    """A time in the unit that suits it."""
    for unit, size in (("years", 365 * 86400), ("days", 86400), ("hours", 3600), ("minutes", 60)):
        if seconds >= 2 * size:
            return f"{words.number(seconds / size, 1)} {unit}"
    return f"{words.number(seconds, 1)} s"


def seconds_told(value: Any) -> str:
    """A time in the unit that suits it."""
    return _length(Fraction(value))


def spread_lines(answer: LogFigures) -> str:
    """How long the mains stood where, as lines of volts and seconds that `fit --weights` reads."""
    lines = [
        f"# {answer.log}: volts of the mains, to the middle of a bin, and seconds; {answer.first} to {answer.last}"
    ]
    lines += [f"# made up: {answer.made}"] if answer.made else []
    middles = [((one.from_v + one.to_v) / 2, one.line_s) for one in answer.histogram if one.line_s]
    lines += [f"{middle:g}, {float(lasting):g}" for middle, lasting in middles]
    return "\n".join(lines) + "\n"
