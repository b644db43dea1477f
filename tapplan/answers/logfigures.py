"""The figures of one replayed log, or of several as one."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

from tapplan.answers import words
from tapplan.answers.logrows import (
    BadTold,
    BandTime,
    ChangeCount,
    DayRow,
    LogFigures,
    MeansTold,
    PercentileRow,
    RelayWear,
    UnseenTold,
    VoltsTime,
)
from tapplan.replay.clock import DAY, HOUR, SECOND
from tapplan.replay.life import moves_of, worn
from tapplan.replay.machine import Machine
from tapplan.replay.replayed import LogRun
from tapplan.replay.spread import PERCENTS_TOLD, VoltSpread, mains_spread, output_spread
from tapplan.replay.tally import DayTally, Tally
from tapplan.replay.unseen import unseen
from tapplan.replay.volts import Grain

BIN_GRAINS = 100  # a column of the histogram: 1 V for the usual mains
WEEK_SHARE = Fraction(95, 100)  # of the ten-minute means of a week: EN 50160:2010, clause 4, as others quote it
THURSDAY = 3  # 1970-01-01 was one


def figures_of(machine: Machine, run: LogRun, at: int) -> LogFigures:
    """The figures of one log with one of the machines it was run through."""
    tally, grain = run.tallies[at], machine.grain
    line, output = mains_spread(tally, grain), output_spread(tally, grain, machine.ratios)
    observed, changes, days = int(tally.lasting.sum()), int(tally.changes.sum()), _days(tally, grain)
    return LogFigures(
        log=run.name,
        made=run.made,
        partial=run.partial,
        first=clock(machine, run.first),
        last=clock(machine, run.last),
        samples=tally.samples,
        bad=run.bad.count,
        bad_by={fault.value: count for fault, count in run.bad.counts.items()},
        bad_rows=_bad_rows(run),
        step_s=_seconds(run.step) if run.step else None,
        max_gap_s=_seconds(run.max_gap) if run.max_gap else None,
        gaps=tally.gaps,
        longest_gap_s=_seconds(tally.longest_gap),
        bands=_bands(machine, tally, observed),
        changes=_changes(machine, tally),
        moves=moves_of(machine, tally),
        life=_wear(machine, tally),
        seconds=_lasting(machine, tally),
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
    """A time since 1970; the last reading stands for a step, which may end after the last day there is."""
    began = datetime(1970, 1, 1, tzinfo=UTC).replace(tzinfo=None)
    return began + min(timedelta(microseconds=us), datetime.max - began)


def _bad_rows(run: LogRun) -> tuple[BadTold, ...]:
    return tuple(BadTold(file=one.file, row=one.row, fault=one.fault.value, found=one.found) for one in run.bad.told)


def _wear(machine: Machine, tally: Tally) -> tuple[RelayWear, ...]:
    return tuple(
        RelayWear(relay=one.relay, moves=one.moves, a_day=one.a_day, endurance=one.endurance, years=one.years)
        for one in worn(machine, tally)
    )


def _lasting(machine: Machine, tally: Tally) -> dict[str, Fraction]:
    spent = zip(machine.names, tally.lasting.sum(axis=1), strict=True)
    return {name: _seconds(int(us)) for name, us in spent} | {"gap": _seconds(tally.gap_us)}


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
            lasting=length(_seconds(int(spent[at]))),
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
            line_mean_v=line.middle(at * width, (at + 1) * width),
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


def length(seconds: Fraction) -> str:
    """A time in the unit that suits it."""
    for unit, size in (("years", 365 * 86400), ("days", 86400), ("hours", 3600), ("minutes", 60)):
        if seconds >= 2 * size:
            return f"{words.number(seconds / size, 1)} {unit}"
    return f"{words.number(seconds, 1)} s"


def seconds_told(value: Any) -> str:
    """A time in the unit that suits it."""
    return length(Fraction(value))
