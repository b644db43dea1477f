"""The part of the report that logs add: the verdict on them, four pictures, the tables behind them.

Each picture answers one question. What was made up says so at its head and in each picture.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from html import escape
from typing import Any

from tapplan.answers import words
from tapplan.answers.forms import Cells, html_table
from tapplan.answers.logfigures import seconds_told
from tapplan.answers.logrows import DayRow, LogFigures
from tapplan.answers.replay import Replay
from tapplan.pages.markup import folded, framed, rows_table, static
from tapplan.pictures.days import Badness, badness, calendars
from tapplan.pictures.hours import hours_picture
from tapplan.pictures.standing import standing_picture
from tapplan.pictures.strips import strips
from tapplan.pictures.stripsheet import NARROW, WIDE, StripForm
from tapplan.pictures.style import LOG_RULES, inside, mark_made, rules
from tapplan.replay.clock import SECOND
from tapplan.replay.machine import Machine
from tapplan.replay.view import LogView

TOGETHER = 3  # columns of the view that are one on a phone
WORST_DAYS, MOST_DAYS = 7, 100
MOST_CHANGES = 8  # kinds of change that need no folding
MOST_SITES = 12
LIFE = "Moves of each relay, and how long its contacts last at that rate (no years without an endurance)"
COUNTED = "The log has no times of its own: all days and hours here are counted from 1970-01-01 00:00."
PERCENTILES = "The output while a band is in force, without load"


@dataclass(frozen=True)
class Measured:
    """Logs that have been run through a design: the answer, and a view of the log called `shown`.

    `counted`: the logs have no times, which are counted from the beginning of 1970.
    """

    answer: Replay
    machine: Machine
    view: LogView
    shown: str
    counted: bool = False


def mains_style() -> str:
    """The rules of this part."""
    return static("measured.css") + rules(page=True, text=LOG_RULES)


def mains_section(found: Measured) -> str:
    """All of this part."""
    answer = found.answer
    heading = "Measured mains" if answer.made is None else "Made-up mains"
    parts = [
        f'<h2><a href="#mains">{heading}</a></h2>',
        "" if answer.made is None else f'<p class="made">{_made(answer)}</p>',
        *(f'<p class="made">Not read: {escape(why)}</p>' for why in answer.errors),
        *(f"<p>{escape(told)}</p>" for told in answer.told),
        f"<p>{COUNTED}</p>" if found.counted else "",
        _cards(answer),
        _over_time(found),
        f'<div class="pair">{_standing(found)}{_hours(found)}</div>',
        *_calendars(found),
        f'<div class="figures">{"".join((*_tables(answer), *_sites(answer), *_read(answer)))}</div>',
    ]
    return f'<section id="mains">{"".join(parts)}</section>'


def _made(answer: Replay) -> str:
    """What of the logs was made up: all, or some."""
    made = [one.made is not None for one in answer.sites or (answer,)]
    some = f"{sum(made)} of the {len(made)} logs are made up, not measured, and with them all sums."
    return "Made up, not measured." if all(made) else some


# --- the answer at a glance ---


@dataclass(frozen=True, slots=True)
class _Card:
    """A figure, what it is, and what makes it plain."""

    head: str
    figure: str
    more: str
    wrong: bool = False


def _cards(answer: Replay) -> str:
    means, years = answer.means, answer.years
    cards = [
        _Card(
            "Outside the window",
            "-" if answer.outside_share is None else f"{100 * answer.outside_share:.3g} %",
            f"{seconds_told(answer.outside_s)} of {seconds_told(answer.observed_s)}",
            wrong=answer.outside_s > 0,
        ),
        _Card("Changes of the band", f"{answer.changed:,}", f"{words.figure(answer.changes_an_hour)} an hour"),
        _Card("Contacts last", "-" if years is None else f"{years:,.3g} years", _worn_first(answer)),
    ]
    if means.count:
        near = f"{words.percent(means.share)} \u2192 {words.percent(means.share_output)}"
        cards.append(_Card("10-minute means within 10 %", near, "line \u2192 output without load"))
    return f'<ul class="verdict">{"".join(map(_card, cards))}</ul>'


def _card(one: _Card) -> str:
    bad = " class=bad" if one.wrong else ""
    return f"<li{bad}>{escape(one.head)}<strong>{escape(one.figure)}</strong>{escape(one.more)}</li>"


def _worn_first(answer: Replay) -> str:
    """The relay whose contacts are the first to go, or why nothing is told of it."""
    known = [one for one in answer.life if one.years is not None]
    if known:
        return f"then {min(known, key=lambda one: one.years or 0).relay} is the first to go"
    return "no relay has an endurance" if answer.changed else "no relay moved"


# --- the pictures ---


@dataclass(frozen=True, slots=True)
class _Told:
    """A picture's name on the page, what it is, what it shows in words, and how its log was made up, if it was."""

    name: str
    title: str
    shows: str
    made: str | None


def _picture(drawing: Any, told: _Told) -> str:
    if told.made is not None:
        mark_made(drawing)
    return inside(drawing, told.title, told.name, told.shows)


def _figure(drawing: Any, told: _Told, caption: str) -> str:
    return f"<figure>{_picture(drawing, told)}<figcaption>{escape(caption)}</figcaption></figure>"


def _over_time(found: Measured) -> str:
    """The strips, drawn twice: across a screen or a sheet, and for a phone."""
    if not found.view.columns:
        return "<p>The log lasts for no time.</p>"
    forms = (_Form("wide", WIDE, found.view), _Form("narrow", NARROW, found.view.coarser(TOGETHER)))
    return "".join(_strips_figure(found, one) for one in forms)


@dataclass(frozen=True)
class _Form:
    """For whom strips are drawn, how wide, and from which columns."""

    name: str
    form: StripForm
    view: LogView


def _strips_figure(found: Measured, one: _Form) -> str:
    title = "Line and output over time, and the band in force"
    told = _Told(f"mains-{one.name}", title, _strips_told(found, one.view), _shown(found).made)
    drawn = _picture(strips(one.view, found.machine, one.form), told)
    caption = escape(_strips_caption(found, one.view))
    return f'<figure class="for-{one.name}">{drawn}<figcaption>{caption}</figcaption></figure>'


def _shown(found: Measured) -> LogFigures:
    """The log that the strips show."""
    return next((one for one in found.answer.sites or () if one.log == found.shown), found.answer)


def _strips_told(found: Measured, view: LogView) -> str:
    """What the strips show, in words."""
    one = _shown(found)
    lowest, highest = one.percentiles[0], one.percentiles[-1]
    line = f"{words.figure(lowest.line_v, 1)} to {words.figure(highest.line_v, 1)} V"
    output = f"{words.figure(lowest.output_v, 1)} to {words.figure(highest.output_v, 1)} V"
    bands = ", ".join(f"{band.band} {band.share_told}" for band in one.bands)
    outside, gaps = int((view.outside > 0).sum()), int((view.gaps > 0).sum())
    return (
        f"From {one.first} to {one.last}. Line from {line}, output from {output}. In force: {bands}. "
        f"Outside the window in {outside} of {view.columns} columns, a gap in {gaps}."
    )


def _strips_caption(found: Measured, view: LogView) -> str:
    zone = found.machine.zone.name
    each = seconds_told(Fraction(int(view.edges[-1] - view.edges[0]), SECOND * view.columns))
    of = "" if found.answer.sites is None else f" Shown is {found.shown}, the log with the most time outside."
    gaps = " Grey or hatched: no sample." if view.gaps.any() else ""
    clock = f"the clock of {zone}" if zone else "the log's own clock"
    return (
        f"Does the output keep its window?{of} Each column is {each}, drawn from the least to the most volts in it. "
        "Pairs of thin lines: where a falling and a rising line change the band; dashed: where it leaves all of "
        f"them. Red marks beside the output: outside its window in a band.{gaps} Times by {clock}."
    )


def _standing(found: Measured) -> str:
    answer = found.answer
    if not answer.observed_s:
        return ""
    middle = answer.percentiles[len(answer.percentiles) // 2]
    off = (words.figure(volts, 1) for volts in (answer.line_deviation_v, answer.deviation_v))
    shows = (
        f"Half of the time the line stands at or below {words.figure(middle.line_v, 1)} V and the output at or below "
        f"{words.figure(middle.output_v, 1)} V; their mean distance from nominal is {' and '.join(off)} V."
    )
    told = _Told("mains-standing", "How long line and output stood at which volts", shows, answer.made)
    caption = f"How long at which volts? {shows} The output is counted while a band is in force.{_together(answer)}"
    return _figure(standing_picture(answer.histogram, found.machine.table.design), told, caption)


def _hours(found: Measured) -> str:
    answer = found.answer
    if not answer.changed:
        return ""
    most = max(range(24), key=lambda hour: answer.hours[hour])
    shows = (
        f"Most often between {most:02d}:00 and {most + 1:02d}:00, {answer.hours[most]:,} times; "
        f"{answer.busiest_hour:,} in the busiest single hour."
    )
    told = _Told("mains-hours", "Changes of the band by the hour of the day", shows, answer.made)
    return _figure(hours_picture(answer.hours), told, f"When do the relays work? {shows}{_together(answer)}")


def _together(answer: Replay) -> str:
    return "" if answer.sites is None else f" All {len(answer.sites)} logs together."


def _calendars(found: Measured) -> list[str]:
    answer = found.answer
    if not answer.days:
        return []
    counts = Counter(badness(day) for day in answer.days)
    shows = f"Days by their time outside, {'; '.join(f'{kind.told}: {counts[kind]:,}' for kind in Badness)}."
    drawn = calendars(answer.days)
    caption = f"On which days? {shows}{_together(answer)} Point at a day for its figures."
    return [
        _figure(
            drawing,
            _Told(f"mains-days-{place}", "Calendar of the time outside the window", shows, answer.made),
            caption if place == len(drawn) - 1 else "Goes on below.",
        )
        for place, drawing in enumerate(drawn)
    ]


# --- the tables ---


def _tables(answer: Replay) -> list[str]:
    """Those that the pictures cannot replace; what is long is folded."""
    changes = rows_table(answer.changes, "Changes of the band: the line's volts then, what the output steps by")
    return [
        rows_table(answer.beside or (), "Side by side on the same logs"),
        rows_table(answer.bands, "Time in each band, and how often it was entered"),
        rows_table(answer.life, LIFE),
        *_days(answer.days),
        folded("So much of the time at or below these volts", rows_table(answer.percentiles, PERCENTILES)),
        changes
        if len(answer.changes) <= MOST_CHANGES
        else folded(f"Changes of the band, {len(answer.changes)} kinds", changes),
    ]


def _days(days: Sequence[DayRow]) -> list[str]:
    """The worst at once, more of them folded."""
    if len(days) < 2:
        return []
    worst = sorted(days, key=lambda day: (-day.outside_s, -day.changes, day.date))
    some, many = worst[:WORST_DAYS], worst[:MOST_DAYS]
    if len(days) <= WORST_DAYS:
        return [rows_table(some, "Day by day, the worst first")]
    more = f"The worst {len(many)} of {len(days):,} days" if len(many) < len(days) else f"All {len(days)} days"
    return [
        rows_table(some, f"The worst of {len(days):,} days"),
        folded(more, rows_table(many, "By time outside, then by changes")),
    ]


def _sites(answer: Replay) -> list[str]:
    """Each log by itself, the worst first."""
    if answer.sites is None:
        return []
    worst = sorted(answer.sites, key=lambda one: (-(one.outside_share or 0), one.log))
    heads = ("log", "outside the window", "changes", "transfers", "contacts last (years)")
    made = Cells(heads, tuple(_site(one) for one in worst[:MOST_SITES]))
    caption = (
        "Each log"
        if len(worst) <= MOST_SITES
        else f"The {MOST_SITES} of {len(worst)} logs with the most time outside"
    )
    return [
        framed(html_table(made, caption), caption),
        folded(f"What differs between the {len(worst)} logs", rows_table(answer.region or (), "From log to log")),
    ]


def _site(one: LogFigures) -> tuple[str, ...]:
    outside = words.percent(one.outside_share)
    return (one.log, outside, f"{one.changed:,}", f"{one.transfers:,}", words.figure(one.years, 1))


def _read(answer: Replay) -> list[str]:
    """What was read, what was not, and what no such log shows."""
    step = "" if answer.step_s is None else f", one each {words.number(answer.step_s)} s as a rule"
    missing, longest = seconds_told(answer.seconds["gap"]), seconds_told(answer.longest_gap_s)
    gaps = f"{answer.gaps:,} gaps, {missing} in all, the longest {longest}; the band is kept over a gap."
    why = ", ".join(f"{count:,} {fault}" for fault, count in answer.bad_by.items())
    told = (
        f"{answer.log}: {answer.samples:,} samples{step}, {answer.first} to {answer.last}.",
        gaps if answer.gaps else "No gaps.",
        f"{answer.bad:,} rows left out: {why}." if answer.bad else "No bad rows.",
        answer.unseen.told,
    )
    return [
        "<h3>What was read</h3>",
        f"<p>{' '.join(map(escape, told))}</p>",
        folded(f"Rows left out, the first {len(answer.bad_rows)}", rows_table(answer.bad_rows)),
    ]
