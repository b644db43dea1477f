"""A calendar of the time outside, day by day: of some weeks a leaf of a calendar, of years a line a month.

How bad a day was is told by how much of its cell is filled. A day without any sample is hatched, one in which a gap
begins has a corner cut out, and what lies before the log or behind it is left empty.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum
from html import escape
from typing import Any

from tapplan.answers.logfigures import seconds_told
from tapplan.answers.logrows import DayRow
from tapplan.answers.words import number
from tapplan.pictures.dates import MONTHS
from tapplan.pictures.style import hatched

WIDTH, LEFT, RIGHT = 400, 66, 6
KEY, HEADS = 60, 18  # what the marks mean, and the heads of the columns
WEEK, MONTH = 40, 13  # from one line to the next
APART = 2  # between two cells, up and down
MOST_WEEKS = 11  # that are drawn as a leaf
MOST_MONTHS = 62  # in one picture, so that it goes on one sheet of paper
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MINUTE_S, HOUR_S = 60, 3600
DAY = timedelta(days=1)
KEY_CELL, LETTER = 11, 6.1
FULL, CORNER = 0.86, 5  # the largest mark, of the height of its cell; the corner cut out where a gap begins
MOST_EMPTY = 2  # months without a sample that have a line each


class Badness(Enum):
    """How long a day was outside; how it is told, how much of the cell's height is filled, and with what."""

    NONE = ("none", 0.2, "clear")
    MINUTE = ("under 1 min", 0.42, "short")
    HOUR = ("under 1 h", 0.68, "short")
    MORE = ("1 h or more", 1.0, "long")

    def __init__(self, told: str, size: float, kind: str) -> None:
        self.told, self.size, self.kind = told, size, kind


def badness(day: DayRow) -> Badness:
    """How bad a day was."""
    if not day.outside_s:
        return Badness.NONE
    return Badness.MINUTE if day.outside_s < MINUTE_S else Badness.HOUR if day.outside_s < HOUR_S else Badness.MORE


@dataclass(frozen=True, slots=True)
class _Cell:
    """Where a day stands."""

    x: float
    y: float
    wide: float
    high: float

    @property
    def frame(self) -> str:
        return f"M{self.x:.1f} {self.y:g}h{self.wide:.1f}v{self.high:g}h{-self.wide:.1f}z"

    @property
    def corner(self) -> str:
        """The lower right one."""
        return f"M{self.x + self.wide:.1f} {self.y + self.high:g}v{-CORNER:g}l{-CORNER:g} {CORNER:g}z"

    def square(self, size: float) -> str:
        """In the middle."""
        x, y = self.x + (self.wide - size) / 2, self.y + (self.high - size) / 2
        return f"M{x:.1f} {y:.1f}h{size:.1f}v{size:.1f}h{-size:.1f}z"


@dataclass(frozen=True, slots=True)
class _Day:
    """Where a day stands, and where in it its mark."""

    cell: _Cell
    mark: _Cell


@dataclass(frozen=True, slots=True)
class _Label:
    """A name over a column, or at the left of a line."""

    told: str
    x: float
    y: float
    anchor: str = "middle"


@dataclass(frozen=True)
class _Grid:
    """Where every day of a picture stands, and what is written around them."""

    days: dict[date, _Day]
    labels: list[_Label]
    height: float
    is_leaf: bool = False


def calendars(days: Sequence[DayRow]) -> list[Any]:
    """The drawings, one after the other in time; of at least one day."""
    known = {date.fromisoformat(one.date): one for one in days}
    first, last = min(known), max(known)
    if (_monday(last) - _monday(first)).days // 7 < MOST_WEEKS:
        return [_drawn(_leaf(first, last), known, 0)]
    lines = _month_lines({_month(day) for day in known})
    size = -(-len(lines) // -(-len(lines) // MOST_MONTHS))  # parts of one size
    parts = [lines[at : at + size] for at in range(0, len(lines), size)]
    return [_drawn(_lines(part, first, last), known, place) for place, part in enumerate(parts)]


def _month_lines(known: Set[int]) -> list[range]:
    """A month a line; many without a sample are one."""
    found: list[range] = []
    for month in sorted(known):
        empty = range(found[-1].stop, month) if found else range(0)
        found += [empty] if len(empty) > MOST_EMPTY else [range(one, one + 1) for one in empty]
        found.append(range(month, month + 1))
    return found


def _monday(day: date) -> date:
    return day - day.weekday() * DAY


def _month(day: date) -> int:
    return day.year * 12 + day.month - 1


# --- where the days stand ---


def _leaf(first: date, last: date) -> _Grid:
    """A line a week."""
    wide, top = (WIDTH - LEFT - RIGHT) / 7, KEY + HEADS
    begin, count = _monday(first), (last - first).days + 1
    days, labels = {}, [_Label(name, LEFT + wide * (at + 0.5), top - 6) for at, name in enumerate(WEEKDAYS)]
    month = 0
    for day in (first + at * DAY for at in range(count)):
        y = top + (day - begin).days // 7 * WEEK
        cell = _Cell(LEFT + wide * day.weekday() + 1, y, wide - 2, WEEK - APART)
        days[day] = _Day(cell, _Cell(cell.x + cell.wide - 19, y + 4, 15, 15))
        if _month(day) != month:
            month = _month(day)
            labels.append(_Label(f"{MONTHS[day.month - 1]} {day.year}", LEFT - 6, y + 13 + _under(labels, y), "end"))
    return _Grid(days, labels, top + ((last - begin).days // 7 + 1) * WEEK, is_leaf=True)


def _under(labels: Sequence[_Label], y: float) -> float:
    """How much lower a label stands where its line has one."""
    return 14 * sum(one.anchor == "end" and y < one.y < y + WEEK for one in labels)


def _lines(months: Sequence[range], first: date, last: date) -> _Grid:
    """A line a month, or for several that are without a sample."""
    wide, top = (WIDTH - LEFT - RIGHT) / 31, KEY + HEADS
    days, shown = {}, 0
    labels = [_Label(str(at), LEFT + wide * (at - 0.5), top - 6) for at in (1, 5, 10, 15, 20, 25, 30)]
    for place, month in enumerate(months):
        y = top + MONTH * place
        if len(month) > 1:
            labels.append(_Label(f"no sample for {len(month)} months", LEFT, y + 9, "start"))
            continue
        day = date(month[0] // 12, month[0] % 12 + 1, 1)
        year = f"{day.year} " if day.year != shown else ""
        shown = day.year
        labels.append(_Label(f"{year}{MONTHS[day.month - 1]}", LEFT - 6, y + 9, "end"))
        for one in (day + at * DAY for at in range(31)):
            if _month(one) == month[0] and first <= one <= last:
                cell = _Cell(LEFT + wide * (one.day - 1), y, wide, MONTH - APART)
                days[one] = _Day(cell, cell)
    return _Grid(days, labels, top + MONTH * len(months) + 4)


# --- what is drawn ---


@dataclass(frozen=True, slots=True)
class _Known:
    """A day of the log, and where it stands."""

    day: DayRow
    place: _Day


def _drawn(grid: _Grid, known: dict[date, DayRow], place: int) -> Any:
    import drawsvg

    drawing = drawsvg.Drawing(WIDTH, grid.height)
    hatch = hatched(drawing, f"no-sample-{place}")
    _key(drawing, hatch)
    for label in grid.labels:
        kind = "faint" if label.anchor == "middle" else "small"
        drawing.append(drawsvg.Text(label.told, 11, label.x, label.y, text_anchor=label.anchor, class_=kind))
    none = "".join(at.cell.frame for day, at in grid.days.items() if day not in known)
    if none:
        drawing.append(drawsvg.Raw(f'<path fill="{hatch}" d="{none}"/><path class="grid" d="{none}"/>'))
    here = [_Known(known[day], at) for day, at in grid.days.items() if day in known]
    told = (f'<path d="{one.place.cell.frame}"><title>{escape(day_told(one.day))}</title></path>' for one in here)
    drawing.append(drawsvg.Raw(f'<g class="day">{"".join(told)}</g>'))
    _marks(drawing, here)
    if grid.is_leaf:
        _written(drawing, here)
    return drawing


def day_told(day: DayRow) -> str:
    """A day in some words."""
    found = date.fromisoformat(day.date)
    parts = [
        f"{found.day} {MONTHS[found.month - 1]} {found.year}: outside {seconds_told(day.outside_s)}",
        *([f"away {seconds_told(day.away_s)}"] if day.away_s else []),
        *([f"a gap of {seconds_told(day.gap_s)}"] if day.gap_s else []),
        f"{day.changes:,} changes",
    ]
    return ", ".join(parts)


def _marks(drawing: Any, here: Sequence[_Known]) -> None:
    """How bad each day was, and whether a gap begins in it."""
    import drawsvg

    for bad in Badness:
        squares = (
            one.place.mark.square(bad.size * FULL * one.place.mark.high) for one in here if badness(one.day) is bad
        )
        path = "".join(squares)
        if path:
            drawing.append(drawsvg.Raw(f'<path class="{bad.kind}" d="{path}"/>'))
    corners = "".join(one.place.cell.corner for one in here if one.day.gap_s)
    if corners:
        drawing.append(drawsvg.Raw(f'<path class="missing" d="{corners}"/>'))


def _written(drawing: Any, here: Sequence[_Known]) -> None:
    """In a leaf there is room for the day of the month and for the time outside."""
    import drawsvg

    for one in here:
        cell = one.place.cell
        day = date.fromisoformat(one.day.date).day
        drawing.append(drawsvg.Text(str(day), 11, cell.x + 4, cell.y + 14, class_="small"))
        if one.day.outside_s:
            told = _short(float(one.day.outside_s))
            drawing.append(drawsvg.Text(told, 11, cell.x + 4, cell.y + cell.high - 6, class_="small"))


def _short(seconds: float) -> str:
    """A time in at most seven letters."""
    for unit, size in (("h", HOUR_S), ("min", MINUTE_S), ("s", 1)):
        if seconds >= size:
            return f"{number(seconds / size, 1 if seconds < 10 * size else 0)} {unit}"
    return "< 1 s"


def _key(drawing: Any, hatch: str) -> None:
    """What the marks mean."""
    import drawsvg

    drawing.append(drawsvg.Text("time outside, by day", 13, LEFT, 16, class_="words"))
    x = float(LEFT)
    for bad in Badness:
        cell = _Cell(x, 25, KEY_CELL, KEY_CELL)
        drawing.append(drawsvg.Raw(f'<path class="day" d="{cell.frame}"/>'))
        drawing.append(drawsvg.Raw(f'<path class="{bad.kind}" d="{cell.square(bad.size * FULL * KEY_CELL)}"/>'))
        x = _key_told(drawing, x, 25, bad.told)
    x, cell = float(LEFT), _Cell(LEFT, 41, KEY_CELL, KEY_CELL)
    drawing.append(drawsvg.Raw(f'<path fill="{hatch}" d="{cell.frame}"/><path class="grid" d="{cell.frame}"/>'))
    x = _key_told(drawing, x, 41, "no sample")
    cell = _Cell(x, 41, KEY_CELL, KEY_CELL)
    drawing.append(drawsvg.Raw(f'<path class="day" d="{cell.frame}"/>'))
    drawing.append(drawsvg.Raw(f'<path class="missing" d="{cell.corner}"/>'))
    _key_told(drawing, x, 41, "a gap begins")


def _key_told(drawing: Any, x: float, y: float, told: str) -> float:
    """What stands beside a mark; where the next one begins."""
    import drawsvg

    drawing.append(drawsvg.Text(told, 11, x + KEY_CELL + 4, y + 9, class_="small"))
    return x + KEY_CELL + 4 + LETTER * len(told) + 8
