"""Times as logs write them, to whole microseconds since 1970: stamps of date and time, and numbers counted from 1970.

What all times of a log have in common is a clock, settled once. Many cells are converted at once: the first one says
what its shape is, and every other must have that shape, digit for digit. So a cell alone and the same cell among
thousands always become the same time.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal
from math import floor

import numpy as np
from numpy.typing import NDArray

from tapplan.arrays import Micros, Wholes
from tapplan.logs.form import DateOrder, Epoch, LogForm
from tapplan.logs.told import found, refusal

SECOND_US = 1_000_000
FIRST_US = -62_135_596_800 * SECOND_US  # the year 1
END_US = 253_402_300_800 * SECOND_US  # the year 10000
PLACES: dict[Epoch, int] = {"s": 6, "ms": 3, "us": 0, "ns": -3}  # decimal places between a unit and a microsecond
# Above the last of seconds, milliseconds and microseconds a number would stand for a year after 5000.
LARGEST: dict[Epoch, int] = {"s": 10**11, "ms": 10**14, "us": 10**17}
ACCEPTED = "ISO 8601 as 2024-06-05T17:24:00Z, dates as 05/06/2024 17:24:00, or numbers counted from 1970"

_OFFSET = r"(?P<zone> ?(?:[Zz]|UTC|GMT|[+-]\d\d(?::?\d\d)?))?"
_FRACTION = r"(?:[.,](?P<fraction>\d{1,12}))?"
_SPACED = re.compile(
    r"(?:(?P<year>\d{4})(?P<mark>[-/.])(?P<month>\d\d?)(?P=mark)(?P<day>\d\d?)"
    r"|(?P<one>\d\d?)(?P<sign>[-/.])(?P<two>\d\d?)(?P=sign)(?P<last>\d{4}))"
    rf"(?:(?:[Tt]| +)(?P<hour>\d\d?):(?P<minute>\d\d)(?::(?P<second>\d\d){_FRACTION})?"
    rf"(?: ?(?P<half>[AaPp][Mm]))?{_OFFSET})?",
    re.ASCII,
)
_PACKED = re.compile(  # strict, as it could be a plain number
    r"(?P<year>(?:19|20)\d\d)(?P<month>0[1-9]|1[0-2])(?P<day>0[1-9]|[12]\d|3[01])[Tt ]?"
    r"(?P<hour>[01]\d|2[0-3]):?(?P<minute>[0-5]\d):?(?P<second>[0-5]\d)"
    rf"{_FRACTION}{_OFFSET}",
    re.ASCII,
)
_NUMBER = re.compile(r"[+-]?(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40})(?:[eE][+-]?\d{1,3})?", re.ASCII)
_EXACT = Context(prec=2000)  # more digits than a number of this form can have

_Letters = NDArray[np.uint8]  # a line for each cell, in it one number for each character


@dataclass(frozen=True, slots=True)
class Stamped:
    """Times are stamps; `dates` is what comes first where the year comes last, `zoned`: each tells its zone."""

    dates: DateOrder | None
    zoned: bool


@dataclass(frozen=True, slots=True)
class Counted:
    """Times are numbers: so many of a unit since 1970-01-01 UTC, or since whatever the log counts from."""

    unit: Epoch


Clock = Stamped | Counted


def stamp_of(cell: str) -> re.Match[str] | None:
    """The parts of a stamp, or None where a cell is none."""
    stripped = cell.strip()
    return _SPACED.fullmatch(stripped) or _PACKED.fullmatch(stripped)


def is_number(cell: str) -> bool:
    """Whether a cell is a plain decimal number."""
    return _NUMBER.fullmatch(cell.strip()) is not None


def clock_of(cells: Sequence[str], form: LogForm, named: Epoch | None, where: str) -> Clock:
    """The clock of a log, from the first of its times; `named` is the unit that the name of their column tells.

    Raises:
        LogError: none of them is a time, or which part of a date is the day cannot be told.
    """
    if form.epoch is not None:
        return Counted(form.epoch)
    for cell in cells:
        stamp = stamp_of(cell)
        if stamp is not None:
            order = _order(cells, form, where) if _year_is_last(stamp) else form.dates
            return Stamped(order, stamp["zone"] is not None)
        if is_number(cell):
            return Counted(named or _unit_of(Decimal(cell.strip())))
    first = ", ".join(f'"{found(cell)}"' for cell in cells[:3])
    raise refusal(where, f"found no time in the first {len(cells)} rows, but {first}", ACCEPTED)


def micros(cells: Sequence[str], clock: Clock) -> Micros:
    """The times of some cells by a clock, cut to whole microseconds.

    Raises:
        ValueError: one of them is no time of that clock, or, of stamps, not of the shape of its neighbours.
    """
    times = _counted(cells, clock.unit) if isinstance(clock, Counted) else _stamped(cells, clock)
    if len(times) and (times.min() < FIRST_US or times.max() >= END_US):
        raise ValueError("a time outside the years 1 to 9999")
    return times


def _unit_of(number: Decimal) -> Epoch:
    """The unit by which a number lies in this age; small ones are seconds, as from the start of a log."""
    return next((unit for unit, largest in LARGEST.items() if abs(number) < largest), "ns")


def _year_is_last(stamp: re.Match[str]) -> bool:
    return stamp.groupdict().get("last") is not None


def _order(cells: Iterable[str], form: LogForm, where: str) -> DateOrder:
    """Which comes first in dates whose year comes last: as said, or known because no month has a number above 12."""
    if form.dates is not None:
        return form.dates
    dates = [(int(one["one"]), int(one["two"]), one[0]) for one in map(stamp_of, cells) if one and _year_is_last(one)]
    by_day = any(one > 12 for one, _, _ in dates)
    by_month = any(two > 12 for _, two, _ in dates)
    if by_day != by_month:
        return "day-first" if by_day else "month-first"
    raise refusal(where, f'found dates as "{dates[0][2]}", which can be read in two ways', "--dates with the order")


def _counted(cells: Sequence[str], unit: Epoch) -> Micros:
    """The exact times of numbers; digits below a microsecond are cut, downwards."""
    places = PLACES[unit]
    joined = "".join(cells)
    if joined.isascii() and joined.isdigit() and all(cells):
        whole = np.array(list(map(int, cells)), np.int64)
        if whole.max() > (END_US * 1000 if unit == "ns" else END_US // 10**places):
            raise ValueError("a time after the year 9999")
        times: Micros = whole // 1000 if unit == "ns" else whole * 10**places
        return times
    return np.array([_exact(cell.strip(), places) for cell in cells], np.int64)


def _exact(cell: str, places: int) -> int:
    if not _NUMBER.fullmatch(cell):
        raise ValueError("no number")
    return floor(_EXACT.scaleb(Decimal(cell), places))


def _stamped(cells: Sequence[str], clock: Stamped) -> Micros:
    """The times of stamps, all of the shape of the first."""
    shape = stamp_of(cells[0])
    if shape is None or (shape["zone"] is not None) != clock.zoned:
        raise ValueError("no stamp, or not with a zone as the others")
    ahead = len(cells[0]) - len(cells[0].lstrip())
    letters = _letters(cells, shape, ahead)
    parts = {
        part: _number(letters[:, shape.start(group) + ahead : shape.end(group) + ahead])
        for part, group in _groups(shape, clock).items()
    }
    days = _days(parts["year"], parts["month"], parts["day"])
    second = (days * 24 + _hours(parts, shape)) * 3600 + _below_60(parts, "minute") * 60 + _below_60(parts, "second")
    return second * SECOND_US + _fraction(letters, shape, ahead) - _offset_us(shape["zone"])


def _letters(cells: Sequence[str], shape: re.Match[str], ahead: int) -> _Letters:
    """The characters of every cell, once all are seen to be like the first: digits where it has digits."""
    first = np.frombuffer(cells[0].encode("ascii"), np.uint8)
    width = len(first)
    letters = np.array(cells, f"S{width + 1}").view(np.uint8).reshape(len(cells), width + 1)
    free = (first >= ord("0")) & (first <= ord("9"))
    if shape["zone"] is not None:
        free[ahead + shape.start("zone") :] = False
    least, room = np.where(free, ord("0"), first).astype(np.uint8), np.where(free, 9, 0).astype(np.uint8)
    if letters[:, width].any() or not (letters[:, :width] - least <= room).all():
        raise ValueError("stamps of several shapes")
    return letters


def _groups(shape: re.Match[str], clock: Stamped) -> dict[str, str]:
    """Which group of the expression holds which part of the time."""
    groups = {"year": "year", "month": "month", "day": "day"}
    if shape["year"] is None:
        if clock.dates is None:
            raise ValueError("a date whose order is not known")
        day, month = ("one", "two") if clock.dates == "day-first" else ("two", "one")
        groups = {"year": "last", "month": month, "day": day}
    parts = [part for part in ("hour", "minute", "second") if shape[part] is not None]
    return groups | {part: part for part in parts}


def _number(letters: _Letters) -> Wholes:
    """The number that the digits of each line make."""
    number = np.zeros(len(letters), np.int64)
    for column in letters.T:
        number = number * 10 + (column - np.uint8(ord("0")))
    return number


def _days(year: Wholes, month: Wholes, day: Wholes) -> Wholes:
    """Days from 1970-01-01 to a date; numpy knows where months begin."""
    if month.min() < 1 or month.max() > 12 or year.min() < 1:
        raise ValueError("no month of a year from 1 on")
    months = (year - 1970) * 12 + month - 1
    first, next_first = (
        one.view("datetime64[M]").astype("datetime64[D]").view(np.int64) for one in (months, months + 1)
    )
    days: Wholes = first + day - 1
    if day.min() < 1 or (days >= next_first).any():
        raise ValueError("no day of its month")
    return days


def _hours(parts: dict[str, Wholes], shape: re.Match[str]) -> Wholes | int:
    """Hours since midnight: with am or pm 12 is 0, and the afternoon begins at 12."""
    hours = parts.get("hour")
    half = shape.groupdict().get("half")
    if hours is None:
        return 0
    if half is None:
        if hours.max() > 23:
            raise ValueError("no hour of a day")
        return hours
    if hours.min() < 1 or hours.max() > 12:
        raise ValueError("no hour of a clock with 12 hours")
    return hours % 12 + (12 if half.casefold() == "pm" else 0)


def _below_60(parts: dict[str, Wholes], part: str) -> Wholes | int:
    """Minutes or seconds, 0 where they are not written."""
    number = parts.get(part)
    if number is None:
        return 0
    if number.max() > 59:
        raise ValueError(f"no {part}")
    return number


def _fraction(letters: _Letters, shape: re.Match[str], ahead: int) -> Wholes | int:
    """The microseconds in the decimals of a second; finer ones are cut."""
    if shape["fraction"] is None:
        return 0
    start, end = shape.span("fraction")
    places = min(end - start, 6)
    fraction: Wholes = _number(letters[:, start + ahead : start + ahead + places]) * 10 ** (6 - places)
    return fraction


def _offset_us(zone: str | None) -> int:
    """How far a zone as Z or +05:30 is ahead of UTC."""
    digits = "" if zone is None else re.sub(r"[^0-9]", "", zone)
    if zone is None or not digits:
        return 0
    hours, minutes = int(digits[:2]), int(digits[2:] or 0)
    if hours > 23 or minutes > 59:
        raise ValueError("no offset of a zone")
    return (-1 if "-" in zone else 1) * (hours * 60 + minutes) * 60 * SECOND_US
