"""Turns found again from ratios, on a board without a drawing.

Points of one winding lie on a line, at heights in proportion to turns, and volts between two of them are a distance.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.bench.continuity import Edge
from tapplan.bench.isolation import Reading
from tapplan.bench.meter import Meter
from tapplan.exact import Span


@dataclass(frozen=True, slots=True)
class Height:
    """A point of the winding: its height as a share of the pair fed first, within the meter's error."""

    point: str
    share: Fraction
    within: Span


@dataclass(frozen=True, slots=True)
class KnownWinding:
    """A winding of known turns put on the core, between two points."""

    one: str
    other: str
    turns: Fraction

    @property
    def ends(self) -> Edge:
        """The two points."""
        return frozenset({self.one, self.other})


@dataclass(frozen=True, slots=True)
class FoundSection:
    """Turns between two neighbouring heights: as a share of the pair fed, and within which span that lies."""

    low: str
    high: str
    share: Fraction
    within: Span


@dataclass(frozen=True, slots=True)
class WholeTurns:
    """The nearest whole number of turns, with the least and the most that fit."""

    nearest: int
    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Unclear:
    """A point whose side is open, and another: volts between the two would tell."""

    point: str
    other: str


@dataclass(frozen=True, slots=True)
class FoundTurns:
    """Points in rising order, and the sections between them; `per_share` is turns of the pair fed, where known.

    `unused` are readings on a source across points that nothing else placed.
    """

    heights: tuple[Height, ...]
    per_share: Span | None
    unclear: tuple[Unclear, ...]
    unused: tuple[str, ...] = ()

    def sections(self) -> list[FoundSection]:
        """From the lowest up."""
        found = []
        for low, high in zip(self.heights, self.heights[1:], strict=False):
            span = Span(
                max(high.within.low - low.within.high, Fraction(0)),
                max(high.within.high - low.within.low, Fraction(0)),
            )
            found.append(FoundSection(low.point, high.point, high.share - low.share, span))
        return found

    def whole_turns(self, section: FoundSection) -> WholeTurns | None:
        """The turns of a section; None without a winding of known turns."""
        if self.per_share is None:
            return None
        middle = (self.per_share.low + self.per_share.high) / 2
        least, most = section.within.low * self.per_share.low, section.within.high * self.per_share.high
        nearest = max(round(section.share * middle), 1)
        return WholeTurns(nearest, min(max(int(-(-least // 1)), 1), nearest), max(int(most // 1), nearest))


def turns(readings: Sequence[Reading], meter: Meter, winding: KnownWinding | None) -> FoundTurns | None:
    """Heights from readings of volts on a small source, and turns where a winding of known turns is on the core.

    None without any such reading. All readings are scaled to the source of their own condition; sources across
    other pairs than the first are used once both their points are placed.
    """
    volts = [one for one in readings if one.measure.condition.power == "low" and one.value is not None]
    volts = [one for one in volts if one.measure.what == "volts"]
    if not volts or volts[0].measure.condition.fed is None:
        return None
    high, low = volts[0].measure.condition.fed
    zero, unit = Fraction(0), Fraction(1)
    placed = {low: Height(low, zero, Span(zero, zero)), high: Height(high, unit, Span(unit, unit))}
    distances: dict[Edge, Span] = {}
    unclear: tuple[Unclear, ...] = ()
    waiting = volts
    while waiting:  # a source across other points counts once both of them are placed
        ready = [one for one in waiting if _both_placed(one, placed)]
        waiting = [one for one in waiting if not _both_placed(one, placed)]
        if not ready:
            break
        for one in _distances(ready, meter, placed):
            met = distances[one.ends].meet(one.within) if one.ends in distances else one.within
            distances[one.ends] = met or one.within
        on_winding = {ends: span for ends, span in distances.items() if winding is None or ends != winding.ends}
        unclear = _placed(placed, on_winding)
    ordered = tuple(sorted(placed.values(), key=lambda one: one.share))
    unused = tuple(one.told for one in waiting)
    return FoundTurns(ordered, _per_share(distances, winding), unclear, unused)


def _per_share(distances: dict[Edge, Span], winding: KnownWinding | None) -> Span | None:
    """Turns of the pair fed, from the volts of a winding of known turns."""
    span = None if winding is None else distances.get(winding.ends)
    if winding is None or span is None or span.low <= 0:
        return None
    return Span(winding.turns / span.high, winding.turns / span.low)


def _both_placed(one: Reading, placed: dict[str, Height]) -> bool:
    return one.measure.condition.fed is not None and all(end in placed for end in one.measure.condition.fed)


@dataclass(frozen=True, slots=True)
class _Distance:
    """How far two points lie apart, as a share of the pair fed."""

    ends: Edge
    within: Span


def _distances(readings: Iterable[Reading], meter: Meter, placed: dict[str, Height]) -> Iterator[_Distance]:
    for one in readings:
        condition = one.measure.condition
        if condition.fed is None or not condition.volts:
            continue
        across = _apart(placed[condition.fed[0]], placed[condition.fed[1]])
        span = meter.true(one.measure, one.value or Fraction(0)).scaled(1 / condition.volts)
        yield _Distance(frozenset(one.measure.at), Span(span.low * across.low, span.high * across.high))


def _placed(placed: dict[str, Height], distances: dict[Edge, Span]) -> tuple[Unclear, ...]:
    """Places every point that is fixed by its distances to points placed before; what stays unclear."""
    names = sorted({point for pair in distances for point in pair})
    moved = True
    while moved:
        moved = False
        for point in names:
            if point in placed:
                continue
            places = _places(point, placed, distances)
            if len(places) == 1:
                placed[point] = places[0]
                moved = True
    unclear = []
    for point in names:
        if point not in placed:
            near = [other for other in placed if frozenset({point, other}) in distances]
            far = [other for other in placed if other not in near]
            if near and far:
                unclear.append(Unclear(point, far[0]))
    return tuple(unclear)


def _places(point: str, placed: dict[str, Height], distances: dict[Edge, Span]) -> list[Height]:
    """The heights a point may have: two from one distance, told apart by the others."""
    known = [
        (one, distances[frozenset({point, name})])
        for name, one in placed.items()
        if frozenset({point, name}) in distances
    ]
    if len(known) < 2:
        return [] if not known else _both(point, *known[0])
    fitting = _both(point, *known[0])
    for one, span in known[1:]:
        fitting = [height for height in fitting if _apart(height, one).meet(span) is not None]
    return fitting


def _both(point: str, one: Height, span: Span) -> list[Height]:
    middle = (span.low + span.high) / 2
    up = Height(point, one.share + middle, Span(one.within.low + span.low, one.within.high + span.high))
    down = Height(point, one.share - middle, Span(one.within.low - span.high, one.within.high - span.low))
    return [up, down]


def _apart(one: Height, two: Height) -> Span:
    ends = (one.within.low - two.within.high, one.within.high - two.within.low)
    if ends[0] <= 0 <= ends[1]:
        return Span(Fraction(0), max(abs(ends[0]), abs(ends[1])))
    return Span(min(map(abs, ends)), max(map(abs, ends)))
