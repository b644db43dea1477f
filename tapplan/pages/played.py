"""Every sudden step as the page's program plays it: where it stands, the line it meets, its phases, the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import chain

from tapplan.answers.forms import Json, plain
from tapplan.answers.steps import PhaseRow, StepRow, Steps
from tapplan.checks.review import Review
from tapplan.pictures.envelope import Axes, axes_of


def played(review: Review, stepped: Steps) -> Json:
    """The steps, and the axes of the picture on which their phases are drawn."""
    axes = page_axes(review, stepped)
    return {
        "steps": [_step(review, one) for one in stepped.steps],
        "nominal": plain(review.design.output.nominal_v),
        "envelope": {
            "left": axes.left,
            "wide": axes.wide,
            "bottom": axes.bottom,
            "high": axes.high,
            "first": axes.first_ms,
            "decades": axes.decades,
            "full": float(axes.full_v(review.design.output.nominal_v)),
        },
    }


def page_axes(review: Review, stepped: Steps) -> Axes:
    """Axes with room for every step."""
    spans = chain.from_iterable((phase.output_v for phase in one.course) for one in stepped.steps)
    return axes_of(spans, review.design.output.nominal_v)


def _step(review: Review, one: StepRow) -> Json:
    """One step; standings by their numbers, a phase as from and until in ms, least and most volts.

    Phases alternate: waiting, then in flight.
    """
    return {
        "from": _place(review, one.start),
        "through": _places(review, one.entered),
        "line": plain(one.at_v),
        "course": [[_round(end) for end in _ends(phase)] for phase in one.course],
        "verdict": f"{one.verdict}, {one.percent:.0f} % of nominal at worst",
    }


def _ends(phase: PhaseRow) -> list[Fraction]:
    return [phase.from_ms, phase.until_ms, phase.output_v.low, phase.output_v.high]


def _round(value: Fraction) -> float:
    """To a thousandth, which no eye sees on the page."""
    return round(float(value), 3)


def _places(review: Review, names: Sequence[str]) -> list[int]:
    return [_place(review, name) for name in names]


def _place(review: Review, name: str) -> int:
    """The number of a standing among the compiled ones: away is the last."""
    names = [row.name for row in review.table.rows]
    return names.index(name) if name in names else len(names)
