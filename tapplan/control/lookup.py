"""Which band is in force at a line voltage: the line come slowly from below or above, or the stage switched on there.

Every course begins with no band in force. A slow one is followed through the finitely many inputs at which any
decision can change, and the stretches between them, so that closed holds are met exactly at their ends.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import Literal

from tapplan.control.decisions import Decisions, decisions
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import ControlTable, Row

Approach = Literal["rising", "falling", "start"]
APPROACHES: tuple[Approach, ...] = ("rising", "falling", "start")


@dataclass(frozen=True, slots=True)
class Place:
    """An input and a side of it: just below (-1), at (0), or just above (1)."""

    volts: Fraction
    side: int = 0


@dataclass(frozen=True, slots=True)
class Settled:
    """Where a stage stands after as many decisions at one input as it takes; `entered` are the standings on the way.

    `hunting`: no standing stays; `standing` is then one of those that follow each other.
    """

    standing: Standing
    entered: tuple[Standing, ...] = ()
    hunting: bool = False


def settled(made: Decisions, standing: Standing, place: Place) -> Settled:
    """Decisions on error-free readings of one input until one stays; where a reading is not fixed, away."""
    entered: list[Standing] = []
    here = standing
    while (there := follows(made, here, place)) != here:
        if there in entered or there == standing:
            return Settled(there, (*entered, there), hunting=True)
        entered.append(there)
        here = there
    return Settled(here, tuple(entered))


def follows(made: Decisions, standing: Standing, place: Place) -> Standing:
    """The standing after one decision on the error-free reading of an input; away where nothing fixes the reading."""
    node = made.node(standing)
    return AWAY if node.sensed is None else node.answer(place.volts * node.sensed, place.side)


class SlowCourses:
    """Slow courses of the line through one table, each followed once for all inputs."""

    def __init__(self, made: Decisions) -> None:
        self.made = made

    @cached_property
    def marks(self) -> list[Fraction]:
        """The inputs, in rising order, at which a decision can change."""
        return marks(self.made)

    def at(self, volts: Fraction, course: Approach) -> Settled:
        """The standing at an input, by the way the line came to it."""
        if course == "start":
            return settled(self.made, AWAY, Place(volts))
        place = bisect_left(self.marks, volts)
        known = place < len(self.marks) and self.marks[place] == volts
        passed = self._rising if course == "rising" else self._falling
        return passed[2 * place + known]

    @property
    def _places(self) -> list[Place]:
        """Below the first mark, at it, between it and the next, and so on, to beyond the last."""
        first = [Place(self.marks[0], -1)] if self.marks else [Place(Fraction(0))]
        return [*first, *(Place(mark, side) for mark in self.marks for side in (0, 1))]

    @cached_property
    def _rising(self) -> list[Settled]:
        return self._passed(self._places)

    @cached_property
    def _falling(self) -> list[Settled]:
        return self._passed(self._places[::-1])[::-1]

    def _passed(self, places: list[Place]) -> list[Settled]:
        found: list[Settled] = []
        here: Standing = AWAY
        for place in places:
            found.append(settled(self.made, here, place))
            here = found[-1].standing
        return found


def marks(made: Decisions) -> list[Fraction]:
    """The inputs, in rising order, at which a decision on an error-free reading can change."""
    return list(made.marks)


def inputs_of_interest(made: Decisions) -> list[Fraction]:
    """One input at, between and beyond all the places where a decision can change."""
    ordered = sorted({Fraction(0), *marks(made)})
    middles = [(low + high) / 2 for low, high in pairwise(ordered)]
    return sorted([*ordered, *middles, ordered[-1] + 1])


@dataclass(frozen=True, slots=True)
class Reached:
    """What is in force at one input, by how the line got there."""

    input_v: Fraction
    rising: Settled
    falling: Settled
    start: Settled

    @property
    def courses(self) -> dict[Approach, Settled]:
        """What each of the three approaches leads to."""
        return dict(zip(APPROACHES, (self.rising, self.falling, self.start), strict=True))


def at(courses: SlowCourses, volts: Fraction) -> Reached:
    """What is in force at a true input, read without error."""
    rising, falling, start = (courses.at(volts, course) for course in APPROACHES)
    return Reached(volts, rising, falling, start)


def line_of(table: ControlTable) -> SlowCourses:
    """The slow courses of a table."""
    return SlowCourses(decisions(table))


def row_in(table: ControlTable, found: Settled) -> Row | None:
    """The row in force; None away, and where the stage hunts."""
    here = found.standing
    return table.rows[here.number] if isinstance(here, InRow) and not found.hunting else None


Outside = Literal["hunting", "backup", "undefined"]


@dataclass(frozen=True, slots=True)
class InForce:
    """A row in force and the courses that lead to it; or no row, and why: `why` is then the reason, else None."""

    row: Row | None
    why: Outside | None
    when: tuple[Approach, ...]


def in_force(table: ControlTable, answer: Reached) -> list[InForce]:
    """What is in force at an input, each row once with its courses, by rising input; what lies outside last."""
    found: dict[tuple[int, Outside | None], list[Approach]] = {}
    for course, one in answer.courses.items():
        row = row_in(table, one)
        key = (len(table.rows), outside(table, one)) if row is None else (table.rows.index(row), None)
        found.setdefault(key, []).append(course)
    ordered = sorted(found.items(), key=lambda pair: (pair[0][0], pair[0][1] != "hunting"))
    return [InForce(table.rows[number] if why is None else None, why, tuple(when)) for (number, why), when in ordered]


def outside(table: ControlTable, found: Settled) -> Outside:
    """What it means that no row stays in force."""
    if found.hunting:
        return "hunting"
    return "undefined" if table.design.backup is None else "backup"


def rows_entered(made: Decisions, standing: Standing, volts: Fraction) -> list[int]:
    """The rows entered, in order, when the input changes to `volts`; where the stage hunts, each is named once.

    Ends where the controller leaves all bands, or comes back to where it began.
    """
    passed: list[int] = []
    for there in settled(made, standing, Place(volts)).entered:
        if not isinstance(there, InRow) or there == standing or there.number in passed:
            break
        passed.append(there.number)
    return passed
