"""Which relays should be energised at a line voltage: what `at` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, more, names, path, ratio, volts, word
from tapplan.answers.forms import Json, as_json
from tapplan.answers.origin import origin_told
from tapplan.control.lookup import APPROACHES, InForce, Reached, at, in_force, line_of
from tapplan.control.table import ControlTable
from tapplan.network.states import way_of


@dataclass(frozen=True, slots=True, kw_only=True)
class BandInForce:
    """A band in force at one input, and the ways the line can have come to it."""

    band: Annotated[str, word("band")]
    energised: Annotated[tuple[str, ...], coils()]
    when: Annotated[tuple[str, ...], names()]
    path: Annotated[tuple[str, ...] | None, path()]
    ratio: Annotated[Fraction | None, ratio()]
    output_v: Annotated[Fraction | None, volts()]


@dataclass(frozen=True, slots=True, kw_only=True)
class PointRow:
    """What is in force at one input; `outside` says why there is no band, `outside_when` on which courses.

    `direction` is that of the pass the point belongs to.
    """

    input_v: Annotated[Fraction, volts()]
    answers: Annotated[tuple[BandInForce, ...], more()]
    outside: Annotated[str | None, word(optional=True)] = None
    outside_when: Annotated[tuple[str, ...] | None, names(optional=True)] = None
    direction: Annotated[str | None, word(optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseRow:
    """One way of coming to an input, for people: what is then in force."""

    input_v: Annotated[Fraction | None, volts("line", empty="")]
    when: Annotated[str, word("when")]
    band: Annotated[str, word("band")]
    energised: Annotated[tuple[str, ...] | None, coils()]
    output_v: Annotated[Fraction | None, volts("output", digits=1)]
    path: Annotated[tuple[str, ...] | None, path()]


LEGEND = (
    "rising: the line came up slowly from 0 V; falling: down from far above; start: switched on here; always: "
    "whichever of the three"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Relays(Answer):
    """The bands in force at one input or several; `courses` is the same, a row for each way of coming there."""

    heading = "Relays by line voltage"
    caution = words.CAUTION_LINE

    title: str
    points: Annotated[tuple[PointRow, ...], more()]
    courses: tuple[CourseRow, ...]
    origin_told: str

    def as_json(self) -> Json:
        """The one point itself, or all of them."""
        told = super(Relays, self).as_json()
        if len(self.points) != 1:
            return told
        return as_json(self.points[0]) | {key: value for key, value in told.items() if key != "points"}

    def rows(self, part: str | None = None) -> tuple[CourseRow | PointRow, ...]:
        """The courses, or the points by name."""
        return self.courses if part is None else super(Relays, self).rows(part)


def relays_at(table: ControlTable, inputs: Sequence[Fraction]) -> Relays:
    """What is in force at each input."""
    line = line_of(table)
    found = [at(line, volts) for volts in inputs]
    return Relays(
        title=table.design.title,
        points=tuple(point_of(table, one) for one in found),
        courses=tuple(row for one in found for row in _courses(table, one)),
        origin_told=origin_told(table),
    )


def point_of(table: ControlTable, reached: Reached, direction: str | None = None) -> PointRow:
    """What is in force at one input, as programs get it; `direction` is that of the pass it belongs to."""
    found = in_force(table, reached)
    outer = [one for one in found if one.row is None]
    return PointRow(
        input_v=reached.input_v,
        answers=tuple(_band(table, reached.input_v, one) for one in found if one.row is not None),
        outside=outer[0].why if outer else None,
        outside_when=tuple(course for one in outer for course in one.when) if outer else None,
        direction=direction,
    )


def _band(table: ControlTable, volts: Fraction, one: InForce) -> BandInForce:
    row = one.row
    assert row is not None  # noqa: S101 - asked only of rows in force
    found = way_of(table.circuit, row.state)
    return BandInForce(
        band=row.name,
        energised=row.energised,
        when=one.when,
        path=None if found is None else found.steps,
        ratio=row.ratio,
        output_v=None if row.ratio is None else row.ratio * volts,
    )


def _courses(table: ControlTable, reached: Reached) -> list[CourseRow]:
    shown: list[CourseRow] = []
    for one in in_force(table, reached):
        found = None if one.row is None else _band(table, reached.input_v, one)
        shown.append(
            CourseRow(
                input_v=None if shown else reached.input_v,
                when="always" if len(one.when) == len(APPROACHES) else ", ".join(one.when),
                band=f"outside: {outside_told(table, one.why)}" if found is None else found.band,
                energised=driven_outside(table, one.why) if found is None else found.energised,
                output_v=None if found is None else found.output_v,
                path=None if found is None else found.path,
            )
        )
    return shown


def driven_outside(table: ControlTable, why: str | None) -> tuple[str, ...] | None:
    """The relays driven where no band is in force; None where they come and go."""
    return None if why == "hunting" else table.away.state.energised


def outside_told(table: ControlTable, why: str | None) -> str:
    """What it means that no band is in force."""
    if why == "hunting":
        return "hunting, no band stays in force"
    backup = table.design.backup
    if backup is None:
        return "no band holds, and the file says nothing of it"
    return "backup"
