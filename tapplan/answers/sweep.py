"""Slow passes over a stretch of the line: what `at --sweep` answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.at import PointRow, driven_outside, outside_told, point_of
from tapplan.answers.columns import coils, more, said, volts, word
from tapplan.answers.origin import origin_told
from tapplan.control.lookup import Reached, at, line_of, outside, row_in
from tapplan.control.table import ControlTable


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep(Answer):
    """One or two slow passes over a stretch of inputs."""

    heading = "Sweep"
    caution = words.CAUTION_LINE

    title: str
    points: Annotated[tuple[PointRow, ...], more()]
    passes: tuple[Pass, ...]
    origin_told: str


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
        points=tuple(point_of(table, one, direction) for direction, found in passed for one in found),
        passes=tuple(Pass(direction, _passed(table, direction, found)) for direction, found in passed),
        origin_told=origin_told(table),
    )


def _passed(table: ControlTable, course: str, found: Sequence[Reached]) -> tuple[PassRow, ...]:
    shown: list[PassRow] = []
    for one in found:
        settled = one.rising if course == "rising" else one.falling
        row = row_in(table, settled)
        band = f"outside: {outside_told(table, outside(table, settled))}" if row is None else row.name
        shown.append(
            PassRow(
                input_v=one.input_v,
                band=band,
                energised=driven_outside(table, outside(table, settled)) if row is None else row.energised,
                output_v=None if row is None or row.ratio is None else row.ratio * one.input_v,
                moved="<- moved" if shown and shown[-1].band != band else "",
            )
        )
    return tuple(shown)
