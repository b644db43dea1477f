"""Which band is in force at a line voltage, having come slowly from below or from above, or at switch-on.

A slow course is followed through the finitely many inputs at which anything can change: "just above x" and
"just below x" are values of their own, (x, 1) and (x, -1), so closed holds are met exactly at their ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise
from typing import Literal

from tapplan.control.table import ControlTable, Row
from tapplan.exact import Span

Course = Literal["rising", "falling"]
Place = tuple[Fraction, int]  # an input and a side of it: just below, at, just above


@dataclass(frozen=True, slots=True)
class Answer:
    """The rows in force at one input, by how the line got there; None: outside all bands."""

    input_v: Fraction
    rising: Row | None
    falling: Row | None
    start: Row | None

    def by_row(self) -> list[tuple[Row, list[str]]]:
        """The rows in force, each once, with the courses that lead to it."""
        found: list[tuple[Row, list[str]]] = []
        for course, row in (("rising", self.rising), ("falling", self.falling), ("start", self.start)):
            known = next((when for seen, when in found if seen == row), None)
            if known is not None:
                known.append(course)
            elif row is not None:
                found.append((row, [course]))
        return found


def at(table: ControlTable, volts: Fraction) -> Answer:
    """The bands in force at a true input, read without error."""
    return Answer(volts, slow(table, volts, "rising"), slow(table, volts, "falling"), start(table, volts))


def holds(row: Row, place: Place) -> bool:
    """Whether the reading at this input keeps the row."""
    hold = row.input_hold
    return hold is not None and (hold.low, 0) <= place <= (hold.high, 0)


def start(table: ControlTable, volts: Fraction) -> Row | None:
    """The band chosen at switch-on: of those that hold the reading, the output nearest nominal.

    A tie goes to the lower ratio; between bands of one ratio the first in the table is named.
    """
    return next(iter(starts(table, (volts, 0))), None)


def starts(table: ControlTable, place: Place) -> list[Row]:
    """The bands that switch-on may choose at an input: one, or several of the same ratio."""
    nominal = table.design.output.nominal_v

    def distance(row: Row) -> tuple[Fraction, Fraction]:
        ratio = row.ratio or Fraction(0)
        return abs(ratio * place[0] - nominal), ratio

    holding = [row for row in table.rows if holds(row, place)]
    nearest = min(map(distance, holding), default=None)
    return [row for row in holding if distance(row) == nearest]


def slow(table: ControlTable, volts: Fraction, course: Course) -> Row | None:
    """The band in force when the line has come slowly from below (rising) or from above (falling).

    The course begins in the outermost band, at its outer end.
    """
    rows = list(table.rows) if course == "rising" else list(reversed(table.rows))
    side = 1 if course == "rising" else -1
    first = next((n for n, row in enumerate(rows) if row.input_hold is not None), None)
    if first is None:
        return None
    hold = rows[first].input_hold
    begin = (hold.low if side > 0 else hold.high) if hold else Fraction(0)
    if (volts - begin) * side < 0:
        return None
    at_row: int | None = first
    last = first
    for place in _places(table, begin, volts, side):
        at_row = _next(table, rows, (at_row, last), place, side)
        last = at_row if at_row is not None else last
    return None if at_row is None else rows[at_row]


def _places(table: ControlTable, begin: Fraction, end: Fraction, side: int) -> list[Place]:
    """The inputs from begin to end at which a band can begin or end, each followed by its far side."""
    marks = {begin, end}
    for row in table.rows:
        if row.input_hold is not None:
            marks |= {row.input_hold.low, row.input_hold.high}
    if table.design.backup is not None:
        marks |= set(table.design.backup.return_v)
    within = sorted(mark for mark in marks if (mark - begin) * side >= 0 and (end - mark) * side >= 0)
    ordered = within if side > 0 else within[::-1]
    places = [(mark, offset) for mark in ordered for offset in (0, side)]
    return places[:-1]


def _next(
    table: ControlTable, rows: list[Row], standing: tuple[int | None, int], place: Place, side: int
) -> int | None:
    """The row in force at a place, from the row in force before it (or the last one that was)."""
    at_row, last = standing
    if at_row is not None and holds(rows[at_row], place):
        return at_row
    if at_row is None and table.design.backup is not None:
        return _returned(table, rows, place)
    if table.design.sensing.at == "input":
        return next((n for n in range(last + 1, len(rows)) if holds(rows[n], place)), None)
    return _one_by_one(rows, last, place, side)


def _returned(table: ControlTable, rows: list[Row], place: Place) -> int | None:
    """The row taken when the load comes back from backup: inside return_v, chosen as at switch-on."""
    backup = table.design.backup
    if backup is None:
        return None
    back = next(iter(starts(table, place)), None)
    if back is None or back.sensed is None:
        return None
    allowed = Span(*backup.return_v).scaled(1 / back.sensed)
    inside = (allowed.low, 0) <= place <= (allowed.high, 0)
    return rows.index(back) if inside else None


def _one_by_one(rows: list[Row], last: int, place: Place, side: int) -> int | None:
    """The next row that holds when a controller that cannot foresee its reading moves one row at a time.

    None when a row is passed that would send it back: the stage hunts there, and no band holds.
    """
    for number in range(last + 1, len(rows)):
        if holds(rows[number], place):
            return number
        hold = rows[number].input_hold
        if hold is None:
            return None
        overshot = place < (hold.low, 0) if side > 0 else place > (hold.high, 0)
        if overshot:
            return None
    return None


AWAY = -1  # no band in force: in backup, or, where the file has none, outside and undefined


def decision(table: ControlTable, standing: int, place: Place) -> int:
    """The row in force after one decision at an input, read without error, from the row before it.

    A row that holds stays. An input reading leads to the nearest row in its direction that holds it; any other
    reading, which the controller cannot foresee, to the next row. `AWAY` where there is none. From `AWAY` the
    controller comes back as at switch-on, with a backup only inside its return range.
    """
    rows = list(table.rows)
    if standing == AWAY:
        return _back(table, rows, place)
    hold = rows[standing].input_hold
    if hold is None:
        return AWAY
    if holds(rows[standing], place):
        return standing
    upward = place > (hold.high, 0)
    onward = range(standing + 1, len(rows)) if upward else range(standing - 1, -1, -1)
    if table.design.sensing.at == "input":
        return next((number for number in onward if holds(rows[number], place)), AWAY)
    return next((number for number in onward if rows[number].input_hold is not None), AWAY)


def _back(table: ControlTable, rows: list[Row], place: Place) -> int:
    if table.design.backup is not None:
        number = _returned(table, rows, place)
        return AWAY if number is None else number
    back = next(iter(starts(table, place)), None)
    return AWAY if back is None else rows.index(back)


def moves_to(table: ControlTable, standing: int, volts: Fraction) -> list[int]:
    """The rows entered, in order, when the input changes to `volts` while row `standing` is in force.

    Empty when that row holds, or when the controller leaves all bands at once. Where the stage hunts, each
    row is named once.
    """
    passed: list[int] = []
    here = standing
    while True:
        there = decision(table, here, (volts, 0))
        if there in (here, AWAY, standing) or there in passed:
            return passed
        passed.append(there)
        here = there


def marks(table: ControlTable) -> list[Fraction]:
    """The inputs, in rising order, at which a decision can change: hold ends, and where switch-on changes over."""
    found = {Fraction(0)}
    for row in table.rows:
        if row.input_hold is not None:
            found |= {row.input_hold.low, row.input_hold.high}
    nominal = table.design.output.nominal_v
    for one, other in combinations(table.rows, 2):
        if one.ratio is not None and other.ratio is not None and one.ratio + other.ratio > 0:
            found.add(2 * nominal / (one.ratio + other.ratio))
    if table.design.backup is not None:
        for row in table.rows:
            if row.sensed is not None:
                found |= {end / row.sensed for end in table.design.backup.return_v}
    return sorted(found)


def inputs_of_interest(table: ControlTable) -> list[Fraction]:
    """One input at, between and beyond all the places where a decision can change."""
    ordered = marks(table)
    middles = [(low + high) / 2 for low, high in pairwise(ordered)]
    return sorted([*ordered, *middles, ordered[-1] + 1])
