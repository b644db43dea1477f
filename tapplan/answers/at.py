"""Which relays should be energised at a line voltage: what `at` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, more, names, path, ratio, said, volts, word
from tapplan.answers.forms import Json, as_json
from tapplan.answers.origin import origin_told
from tapplan.control.lookup import APPROACHES, InForce, Reached, at, in_force, line_of, outside, row_in
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


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRow:
    """One input of a slow pass over the line, for people; `moved` where the band differs from the input before."""

    input_v: Annotated[Fraction, volts("line")]
    band: Annotated[str, word("band")]
    energised: Annotated[tuple[str, ...] | None, coils()]
    output_v: Annotated[Fraction | None, volts("output", digits=1)]
    moved: Annotated[str, said(" ", empty="")]


@dataclass(frozen=True, slots=True)
class Pass:
    """One slow pass, in the direction named."""

    course: str
    rows: tuple[PassRow, ...]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep(Answer):
    """One or two slow passes over a stretch of inputs."""

    heading = "Sweep"
    caution = words.CAUTION_LINE

    title: str
    points: Annotated[tuple[PointRow, ...], more()]
    passes: tuple[Pass, ...]
    origin_told: str


def relays_at(table: ControlTable, inputs: Sequence[Fraction]) -> Relays:
    """What is in force at each input."""
    line = line_of(table)
    found = [at(line, volts) for volts in inputs]
    return Relays(
        title=table.design.title,
        points=tuple(_point(table, one) for one in found),
        courses=tuple(row for one in found for row in _courses(table, one)),
        origin_told=origin_told(table),
    )


def swept(table: ControlTable, inputs: Sequence[Fraction]) -> Sweep:
    """A pass over the inputs in their order."""
    return _sweep(table, [_Course(_direction(inputs), inputs)])


def swept_both_ways(table: ControlTable, inputs: Sequence[Fraction]) -> Sweep:
    """A pass over the inputs in their order, and one back."""
    there = _direction(inputs)
    back = "falling" if there == "rising" else "rising"
    return _sweep(table, [_Course(there, inputs), _Course(back, inputs[::-1])])


@dataclass(frozen=True, slots=True)
class _Course:
    """The inputs of one pass, and which way it goes."""

    direction: str
    inputs: Sequence[Fraction]


def _direction(inputs: Sequence[Fraction]) -> str:
    return "rising" if inputs[0] <= inputs[-1] else "falling"


def _sweep(table: ControlTable, courses: Sequence[_Course]) -> Sweep:
    line = line_of(table)
    passed = [(one.direction, [at(line, volts) for volts in one.inputs]) for one in courses]
    return Sweep(
        title=table.design.title,
        points=tuple(_point(table, one, direction) for direction, found in passed for one in found),
        passes=tuple(Pass(direction, _passed(table, direction, found)) for direction, found in passed),
        origin_told=origin_told(table),
    )


def _point(table: ControlTable, reached: Reached, direction: str | None = None) -> PointRow:
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
                band=f"outside: {_outside(table, one.why)}" if found is None else found.band,
                energised=_driven(table, one.why) if found is None else found.energised,
                output_v=None if found is None else found.output_v,
                path=None if found is None else found.path,
            )
        )
    return shown


def _passed(table: ControlTable, course: str, found: Sequence[Reached]) -> tuple[PassRow, ...]:
    shown: list[PassRow] = []
    for one in found:
        settled = one.rising if course == "rising" else one.falling
        row = row_in(table, settled)
        band = f"outside: {_outside(table, outside(table, settled))}" if row is None else row.name
        shown.append(
            PassRow(
                input_v=one.input_v,
                band=band,
                energised=_driven(table, outside(table, settled)) if row is None else row.energised,
                output_v=None if row is None or row.ratio is None else row.ratio * one.input_v,
                moved="<- moved" if shown and shown[-1].band != band else "",
            )
        )
    return tuple(shown)


def _driven(table: ControlTable, why: str | None) -> tuple[str, ...] | None:
    """The relays driven where no band is in force; None where they come and go."""
    return None if why == "hunting" else table.away.state.energised


def _outside(table: ControlTable, why: str | None) -> str:
    """What it means that no band is in force."""
    if why == "hunting":
        return "hunting, no band stays in force"
    backup = table.design.backup
    if backup is None:
        return "no band holds, and the file says nothing of it"
    return "backup"
