"""What a tolerance curve bears at each time, above and below, as lines with few corners: time in decades."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import log10

from tapplan.design.standards import Curve

FIRST_MS, DECADES = 1, 4
FINE = 400  # times at which a curve is asked
NEAR = 0.05  # percent of nominal: closer to a straight line no eye sees a corner


@dataclass(frozen=True, slots=True)
class EdgeCorner:
    """A place on the edge of what is borne."""

    time_ms: float
    percent: float


def borne(curve: Curve, top: float) -> list[list[EdgeCorner]]:
    """The upper and the lower edge, as far as they lie under `top` percent of nominal; an edge may be missing."""
    edges = []
    for limit in (curve.may_rise_to, curve.may_fall_to):
        places = []
        for step in range(FINE + 1):
            time = Fraction(round(FIRST_MS * 10 ** (DECADES * step / FINE) * 1000), 1000)
            percent = limit(time / 1000)
            if percent is not None and percent <= top:
                places.append(EdgeCorner(float(time), float(percent)))
        if len(places) > 1:
            edges.append(_cornered(places))
    return edges


def _cornered(places: list[EdgeCorner]) -> list[EdgeCorner]:
    """The same line without the points that lie on the way between those kept."""
    kept, start = [places[0]], 0
    for end in range(2, len(places)):
        if not all(_straight(places[start], one, places[end]) for one in places[start + 1 : end]):
            start = end - 1
            kept.append(places[start])
    return [*kept, places[-1]]


def _straight(one: EdgeCorner, between: EdgeCorner, other: EdgeCorner) -> bool:
    """Whether a place lies on the line of its neighbours, where time is drawn in decades."""
    begin, now, end = (log10(place.time_ms) for place in (one, between, other))
    on_line = one.percent + (other.percent - one.percent) * (now - begin) / (end - begin)
    return abs(on_line - between.percent) <= NEAR
