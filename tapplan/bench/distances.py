"""Points on a line by their distances: where a point may be, told from points placed before it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.bench.joined import Edge
from tapplan.exact import Span


@dataclass(frozen=True, slots=True)
class Height:
    """A point of the winding: its height as a share of the pair fed first, within the meter's error."""

    point: str
    share: Fraction
    within: Span


@dataclass(frozen=True, slots=True)
class Unclear:
    """A point whose side is open, and another: volts between the two would tell."""

    point: str
    other: str


def rising(placed: dict[str, Height]) -> tuple[Height, ...]:
    """The points placed, from the lowest up."""
    return tuple(sorted(placed.values(), key=lambda one: one.share))


def spread_out(placed: dict[str, Height], distances: dict[Edge, Span]) -> tuple[Unclear, ...]:
    """Places every point that is fixed by its distances to points placed before; what stays unclear."""
    names = sorted({point for pair in distances for point in pair})
    moved = True
    while moved:
        moved = False
        for point in names:
            if point in placed:
                continue
            places = sides_of(point, placed, distances)
            if len(places) == 1:
                placed[point] = places[0]
                moved = True
    unclear = []
    for point in names:
        if point not in placed:
            near = [other for other in placed if frozenset({point, other}) in distances]
            far = [other for other in placed if other not in near]
            if near and far:
                upper = _both(point, placed[near[0]], distances[frozenset({point, near[0]})])[0].share
                unclear.append(Unclear(point, min(far, key=lambda other: abs(placed[other].share - upper))))
    return tuple(unclear)


def only_side(placed: dict[str, Height], distances: dict[Edge, Span]) -> Height | None:
    """A point of two sides, one of which leaves some other point no place: the other side."""
    for point in sorted({point for pair in distances for point in pair} - set(placed)):
        fitting = [one for one in sides_of(point, placed, distances) if _holds({**placed, point: one}, distances)]
        if len(fitting) == 1:
            return fitting[0]
    return None


def _holds(placed: dict[str, Height], distances: dict[Edge, Span]) -> bool:
    """Whether every point that follows from those placed has a place."""
    spread_out(placed, distances)
    for ends, span in distances.items():
        known = ends & set(placed)
        if len(known) == 2 and apart(*(placed[end] for end in sorted(ends))).meet(span) is None:
            return False
        if len(known) == 1 and not sides_of(min(ends - known), placed, distances):
            return False
    return True


def sides_of(point: str, placed: dict[str, Height], distances: dict[Edge, Span]) -> list[Height]:
    """The heights a point may have: two from one distance, told apart by the others."""
    known = [
        (one, distances[frozenset({point, name})])
        for name, one in placed.items()
        if frozenset({point, name}) in distances
    ]
    if not known:
        return []
    fitting = _both(point, *known[0])
    for one, span in known[1:]:
        met = [(height, _narrowed(height, one, span)) for height in fitting]
        fitting = [narrow for _, narrow in met if narrow is not None]
    return fitting


def _narrowed(height: Height, one: Height, span: Span) -> Height | None:
    """A height with one distance more; None where the two cannot be."""
    for other in _both(height.point, one, span):
        met = height.within.meet(other.within)
        if met is not None:
            return Height(height.point, (met.low + met.high) / 2, met)
    return None


def _both(point: str, one: Height, span: Span) -> list[Height]:
    middle = (span.low + span.high) / 2
    up = Height(point, one.share + middle, Span(one.within.low + span.low, one.within.high + span.high))
    down = Height(point, one.share - middle, Span(one.within.low - span.high, one.within.high - span.low))
    return [up, down]


def apart(one: Height, two: Height) -> Span:
    """How far two heights can be apart."""
    ends = (one.within.low - two.within.high, one.within.high - two.within.low)
    if ends[0] <= 0 <= ends[1]:
        return Span(Fraction(0), max(abs(ends[0]), abs(ends[1])))
    return Span(min(map(abs, ends)), max(map(abs, ends)))
