"""Which columns are times and which are volts: those named in the call, else the only ones that can be meant.

Nothing is taken by likelihood: where two columns would do, the error lists all of them and asks.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from tapplan.design.objection import nearest, quoted
from tapplan.errors import LogError, escaped
from tapplan.logs.form import Epoch, LogForm
from tapplan.logs.told import refusal

VOLT_WORDS = {"v", "mv", "kv", "u", "volt", "volts", "vac", "uac", "vrms", "urms", "spannung"}
VOLT_CODES = re.compile(r"[uv](?:l?[1-3]n?|l?n|[abc]n|rms|ac|in|mains|line)")
TIME_WORDS = {"time", "date", "datetime", "timestamp", "ts", "utc", "epoch", "unix", "unixtime", "zeit", "datum"}
DAY_NAMES, HOUR_NAMES = ("date", "day", "datum"), ("time", "hour", "clock", "zeit", "uhrzeit")
EPOCH_WORDS: dict[str, Epoch] = {"s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s"}
EPOCH_WORDS |= {"ms": "ms", "msec": "ms", "millis": "ms", "milliseconds": "ms"}
EPOCH_WORDS |= {"us": "us", "µs": "us", "μs": "us", "usec": "us", "micros": "us", "microseconds": "us"}
EPOCH_WORDS |= {"ns": "ns", "nsec": "ns", "nanos": "ns", "nanoseconds": "ns"}
_BRACKETS = r"[(\[](.*?)[)\]]"
UNIT_WORDS = {"v": "V", "volt": "V", "volts": "V", "mv": "mV", "kv": "kV"}


class Look(Enum):
    """What the cells of a column are, as far as its first rows show."""

    STAMP = "dates with times"
    NUMBER = "numbers"
    OTHER = "something else"


@dataclass(frozen=True, slots=True)
class LogColumn:
    """A column as it can be chosen: its name, what its cells are, and whether they are numbers that rise strictly."""

    name: str
    look: Look
    rises: bool = False


@dataclass(frozen=True, slots=True)
class ColumnsMeant:
    """Where times and volts stand, counted from 0; times may stand in several columns, or, with a step, in none."""

    times: tuple[int, ...]
    volts: int


def chosen(columns: Sequence[LogColumn], form: LogForm, file: str) -> ColumnsMeant:
    """The columns of times and of volts.

    Raises:
        LogError: one that is named is not there, or which is meant cannot be told; it lists the columns.
    """
    volts = None if form.column is None else _named(form.column, columns, "volts", file)
    times = _times(columns, form, volts, file)
    if volts is None:
        volts = _volts(columns, times, file)
    if volts in times:
        raise refusal(file, f'found both times and volts in column "{escaped(columns[volts].name)}"', "two columns")
    _check_unit(columns[volts].name, form, file)
    return ColumnsMeant(times, volts)


def epoch_named(name: str) -> Epoch | None:
    """The unit that the name of a column of times ends in, as "t (ms)" or "time_us", or None."""
    words = _words(name)
    return EPOCH_WORDS.get(words[-1]) if words else None


def _named(wanted: str, columns: Sequence[LogColumn], what: str, file: str) -> int:
    """The column of this name, else of this name but for capitals, else of this number, counted from 1."""
    names = [column.name for column in columns]
    for same in (str.__eq__, lambda one, other: one.casefold() == other.casefold()):
        found = [place for place, name in enumerate(names) if same(name, wanted.strip())]
        if len(found) == 1:
            return found[0]
        if found:
            raise refusal(file, f'found {len(found)} columns "{escaped(wanted)}"', "a number, counted from 1")
    if wanted.strip().isdecimal() and 1 <= int(wanted) <= len(names):
        return int(wanted) - 1
    hint = nearest(wanted, names)
    said = f'has no column "{escaped(wanted)}" for the {what}' + (f" ({escaped(hint)})" if hint else "")
    raise refusal(file, said, _numbers(names))


def _times(columns: Sequence[LogColumn], form: LogForm, volts: int | None, file: str) -> tuple[int, ...]:
    if form.step_us is not None:
        return ()
    if form.time is not None:
        whole = form.time.casefold() in (column.name.casefold() for column in columns)
        wanted = [form.time] if whole else form.time.split("+")
        return tuple(_named(one, columns, "times", file) for one in wanted)
    free = [place for place in range(len(columns)) if place != volts]
    for group in _time_groups(columns, free):
        if len(group) == 1:
            return (group[0],)
        if day_and_hour := _day_and_hour(columns, group):
            return day_and_hour
        if group:
            raise _several("times", "--time", [columns[place] for place in group], columns, file)
    step = "" if len(columns) > 1 else " (or --step for samples at a fixed distance)"
    raise refusal(
        file, "it cannot be told which column has the times", f"--time with one of {_offered(columns)}{step}"
    )


def _time_groups(columns: Sequence[LogColumn], free: list[int]) -> list[list[int]]:
    """Columns that may be the times, those that say so by name before those that only look so."""
    named = [place for place in free if TIME_WORDS & set(_words(columns[place].name))]
    short = [place for place in free if _words(columns[place].name)[:1] == ["t"]]
    stamps = [place for place in free if columns[place].look is Look.STAMP]
    rising = [place for place in free if columns[place].rises] if len(columns) == 2 else []
    return [named, short, stamps, rising if len(rising) == 1 else []]


def _day_and_hour(columns: Sequence[LogColumn], group: list[int]) -> tuple[int, ...]:
    """The day and the time of day, where two columns are just these; else none."""
    if len(group) != 2 or all(columns[place].look is Look.STAMP for place in group):
        return ()
    day, hour = sorted(group, key=lambda place: columns[place].name.casefold() not in DAY_NAMES)
    fit = columns[day].name.casefold() in DAY_NAMES and columns[hour].name.casefold() in HOUR_NAMES
    return (day, hour) if fit else ()


def _volts(columns: Sequence[LogColumn], times: tuple[int, ...], file: str) -> int:
    free = [place for place in range(len(columns)) if place not in times]
    named = [place for place in free if _is_volts(columns[place].name)]
    if len(named) > 1:
        raise _several("volts", "--column", [columns[place] for place in named], columns, file)
    if named or len(free) == 1:
        return (named or free)[0]
    raise refusal(file, "it cannot be told which column has the volts", f"--column with one of {_offered(columns)}")


def _is_volts(name: str) -> bool:
    """Whether a name says volts: by a word, or by the unit in brackets."""
    inside = [word for part in re.findall(_BRACKETS, name) for word in _words(part)]
    words = _words(re.sub(_BRACKETS, " ", name))
    return any(map(_is_volt_word, words)) or (len(inside) == 1 and inside[0] in UNIT_WORDS)


def _is_volt_word(word: str) -> bool:
    spelt = "voltage" in word or "spannung" in word
    return spelt or word in VOLT_WORDS or VOLT_CODES.fullmatch(word) is not None


def _check_unit(name: str, form: LogForm, file: str) -> None:
    """A name that tells another unit than V asks for it to be given, or confirmed."""
    inside = re.findall(_BRACKETS, name)
    words = _words(inside[-1]) if inside else _words(name)[1:]
    unit = UNIT_WORDS.get(words[-1], "V") if words else "V"
    if form.unit is None and unit != "V":
        raise refusal(file, f'the column is called "{escaped(name)}"', f"--unit {unit} for its unit, or --unit V")


def _words(name: str) -> list[str]:
    return [word for word in re.split(r"[\W_]+", name.casefold()) if word]


def _several(what: str, option: str, which: list[LogColumn], columns: Sequence[LogColumn], file: str) -> LogError:
    both = quoted(escaped(column.name) for column in which)
    return refusal(file, f"the {what} can be in {both}", f"{option} with one of {_offered(columns)}")


def _offered(columns: Sequence[LogColumn]) -> str:
    return _numbers([column.name for column in columns])


def _numbers(names: Sequence[str]) -> str:
    """The columns as they can be named; those without a name by number."""
    if any(names):
        return "its columns " + quoted(escaped(name) for name in names)
    return f"its columns 1 to {len(names)}, which have no names"
