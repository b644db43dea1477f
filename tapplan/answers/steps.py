"""Every sudden step of the line against a tolerance curve: what `steps` answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, more, number, path, said, volts, word, yes
from tapplan.checks.advice import tried_cure
from tapplan.checks.aftermath import named
from tapplan.checks.coverage import gaps as coverage_gaps
from tapplan.checks.mends import Cure
from tapplan.checks.recovery import (
    StepVerdict,
    curve_of,
    highest_jump_v,
    settled_output,
    verdicts,
    worst_each,
    worst_of,
)
from tapplan.checks.review import Review
from tapplan.checks.sentences.mends import change, cured
from tapplan.control.response import Response, Side
from tapplan.control.standing import Standing
from tapplan.design.objection import nearest
from tapplan.design.standards import CURVES, Curve, curve
from tapplan.errors import UsageError
from tapplan.exact import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseRow:
    """A stretch of time, at its latest, and the output volts that can occur in it."""

    name: Annotated[str, word("phase")]
    from_ms: Annotated[Fraction, number("from", "ms")]
    until_ms: Annotated[Fraction, number("until", "ms")]
    output_v: Annotated[Span, ends("output")]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """One step against one side of the curve: the level that comes nearest to leaving it, or leaves it most.

    `lasts_ms` is how long the output stands there or farther out, `allowed_ms` how long the curve lets it (None: for
    ever). `highest_jump_v`: the highest line to which the first band may be taken at once. `course`: the phases with
    the line at `at_v`.
    """

    start: Annotated[str, word("from", key="from")]
    line_v: Annotated[Span, ends("line", on_screen=False)]
    at_v: Annotated[Fraction, volts("line to", digits=1, for_people=True)]
    entered: Annotated[tuple[str, ...], path("through", between=" > ")]
    phases: Annotated[tuple[PhaseRow, ...], more()]
    output_v: Annotated[Fraction, volts("output", digits=1)]
    percent: Annotated[float, number("% of nominal", digits=0)]
    lasts_ms: Annotated[Fraction, number("lasts", "ms", digits=0)]
    allowed_ms: Annotated[Fraction | None, number()]
    allowed_told: Annotated[str, said("allowed (ms)")]
    allowed_percent: Annotated[float, number()]
    settled_ms: Annotated[Fraction, number("settled after", "ms", on_screen=False)]
    curve: Annotated[str, word()]
    side: Annotated[str, word()]
    kept: Annotated[bool, yes()]
    verdict: Annotated[str, said("verdict")]
    highest_jump_v: Annotated[Fraction | None, volts()]
    course: tuple[PhaseRow, ...]

    @property
    def harm(self) -> list[float]:
        """For sorting, as `checks.recovery` does: whether it leaves the curve, then by how many percent, how long."""
        beyond = (self.percent - self.allowed_percent) * (1 if self.side == "over" else -1)
        late = 0 if self.allowed_ms is None else float(self.lasts_ms - self.allowed_ms)
        return [float(not self.kept), beyond, late]


@dataclass(frozen=True, slots=True, kw_only=True)
class CureRow:
    """A confirmation or averaging that was tried and keeps every step on one side inside the curve."""

    confirm_ms: Annotated[Fraction, number()]
    window_cycles: Annotated[Fraction | None, number()]
    told: Annotated[str, word()]


@dataclass(frozen=True, slots=True)
class Drawing:
    """The worst step as it is drawn: its response at its worst line voltage, the output once settled, the curve."""

    response: Response
    settled: Span | None
    curve: Curve
    nominal_v: Fraction
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps(Answer):
    """Every step, for each side what would keep them all, and whether there are inputs that no band holds."""

    heading = "Sudden steps"

    title: str
    steps: Annotated[tuple[StepRow, ...], more()]
    cures: Annotated[Mapping[str, CureRow | None], more()]
    unheld_inputs: Annotated[bool, yes()]
    curve: Annotated[str, word()]
    worst: tuple[StepRow, ...]
    told: tuple[str, ...]
    drawing: Drawing | None
    stated: bool

    @property
    def wrong(self) -> bool:
        """Whether a step leaves the very curve that the file states."""
        return self.stated and any(not one.kept for one in self.steps)

    @classmethod
    def parts(cls) -> tuple[str, ...]:
        """The steps; the cures stand beside them."""
        return ("steps",)


def steps(review: Review, key: str | None = None) -> Steps:
    """Every sudden step against the curve of that key, else against the one the file states, else the usual one.

    Raises:
        UsageError: there is no such curve.
    """
    against = curve_of(review) if key is None else _known(key)
    found = worst_each(verdicts(review, against))
    left = {one.side for one in found if not one.kept}
    cures = {
        side: tried_cure(review, against, side) if side in left else None
        for side in dict.fromkeys(one.side for one in found)
    }
    return Steps(
        title=review.design.title,
        steps=tuple(_row(review, one) for one in found),
        cures={
            side: None
            if one is None
            else CureRow(confirm_ms=one.confirm_ms, window_cycles=one.window_cycles, told=change(one))
            for side, one in cures.items()
        },
        curve=against.key,
        unheld_inputs=bool(coverage_gaps(review)),
        worst=tuple(_row(review, one) for one in _worst_of_each_start(found)),
        told=tuple(_told(review, found, cures)),
        drawing=_drawing(review, found),
        stated=review.design.output.tolerance_curve == against.key,
    )


def _known(key: str) -> Curve:
    found = curve(key)
    if found is None:
        known = [one.key for one in CURVES]
        hint = nearest(key, known)
        raise UsageError(f'found curve "{key}"; accepted: {", ".join(known)}' + (f" ({hint})" if hint else ""))
    return found


def _row(review: Review, one: StepVerdict) -> StepRow:
    return StepRow(
        start=named(review, one.response.start),
        entered=tuple(named(review, row) for row in one.response.entered),
        line_v=one.response.line,
        at_v=one.line_v,
        phases=_phases(one.response),
        output_v=one.output_v,
        percent=float(one.percent),
        lasts_ms=one.lasts_ms,
        allowed_ms=one.allowed_ms,
        allowed_told="for ever" if one.allowed_ms is None else f"{float(one.allowed_ms):.3g}",
        allowed_percent=float(one.allowed_percent),
        settled_ms=one.response.settled_ms,
        curve=one.curve.key,
        side=one.side,
        kept=one.kept,
        verdict="kept" if one.kept else f"{one.side} the curve",
        highest_jump_v=highest_jump_v(review, one),
        course=_phases(one.response.at_line(one.line_v)),
    )


def _phases(response: Response) -> tuple[PhaseRow, ...]:
    return tuple(
        PhaseRow(name=phase.name, from_ms=phase.from_ms, until_ms=phase.until_ms, output_v=phase.output)
        for phase in response.phases
    )


def _worst_of_each_start(found: Sequence[StepVerdict]) -> list[StepVerdict]:
    """For each row and side, the verdict that leaves the curve farthest, or comes nearest to it."""
    worst: dict[tuple[Standing, Side], StepVerdict] = {}
    for one in found:
        known = worst.setdefault((one.response.start, one.side), one)
        if one.harm > known.harm:
            worst[one.response.start, one.side] = one
    return list(worst.values())


def _told(review: Review, found: Sequence[StepVerdict], cures: Mapping[Side, Cure | None]) -> list[str]:
    if not found:
        return ["No sudden step leaves the curve's steady levels."]
    left = [one for one in found if not one.kept]
    lines = [f"{len(left)} of {len(found)} leave {found[0].curve.key} (shown: the worst from each band)."]
    for side, cure in cures.items():
        here = [one for one in left if one.side == side]
        if here:
            lines.append(_worst_told(review, max(here, key=lambda one: one.harm), cure))
    return lines


def _worst_told(review: Review, one: StepVerdict, cure: Cure | None) -> str:
    jump = highest_jump_v(review, one)
    farther = f"; a jump from there to at most {words.number(jump, 1)} V stays under it" if jump is not None else ""
    return f'The worst {one.side}, from "{named(review, one.response.start)}": {cured(cure)}{farther}.'


def _drawing(review: Review, found: Sequence[StepVerdict]) -> Drawing | None:
    """The worst of all steps; None where no step moves relays."""
    if not found:
        return None
    one = worst_of(found)
    drawn = one.response.at_line(one.line_v)
    start, line = named(review, one.response.start), words.number(one.line_v, 1)
    told = f'From "{start}", the line to {line} V at once, against {one.curve.key}:'
    return Drawing(drawn, settled_output(review, drawn), one.curve, review.design.output.nominal_v, told)
