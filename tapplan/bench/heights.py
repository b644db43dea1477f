"""Turns found again from ratios, on a board without a drawing.

Points of one winding lie on a line, at heights in proportion to turns, and volts between two of them are a distance.
A contact carries a point of the winding to others, so a reading counts for the point of the winding that its probes
are joined to in that coil state; and the pair fed, which another contact may move, scales the readings of its own
condition only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from tapplan.bench.distances import Height, Unclear, apart, only_side, rising, sides_of, spread_out
from tapplan.bench.isolation import Reading
from tapplan.bench.joined import DrivenCoils, Edge, coils_of, is_zero, volts_of
from tapplan.bench.measures import Condition
from tapplan.bench.meter import Meter
from tapplan.exact import Span


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
class FoundTurns:
    """Points in rising order, and the sections between them; `per_share` is turns of the pair fed, where known.

    `others` are windings without a path to the first. `unused` are readings on a source across points that nothing
    else placed, `clashes` pairs whose volts cannot be. `direct` are distances that were read themselves.
    """

    heights: tuple[Height, ...]
    per_share: Span | None
    unclear: tuple[Unclear, ...]
    unused: tuple[str, ...] = ()
    others: tuple[tuple[Height, ...], ...] = ()
    clashes: tuple[tuple[str, str], ...] = ()
    direct: Mapping[Edge, Span] = field(default_factory=dict)

    def sections(self) -> list[FoundSection]:
        """From the lowest up, then those of other windings."""
        return [self._section(*pair) for each in (self.heights, *self.others) for pair in pairwise(each)]

    def _section(self, low: Height, high: Height) -> FoundSection:
        """A section by its own volts where they were read, which are closer than the difference of two heights."""
        span = Span(
            max(high.within.low - low.within.high, Fraction(0)), max(high.within.high - low.within.low, Fraction(0))
        )
        read = self.direct.get(frozenset({low.point, high.point}))
        met = None if read is None else span.meet(read)
        if met is None:
            return FoundSection(low.point, high.point, high.share - low.share, span)
        return FoundSection(low.point, high.point, (met.low + met.high) / 2, met)

    def whole_turns(self, section: FoundSection) -> WholeTurns | None:
        """The turns of a section; None without a winding of known turns."""
        if self.per_share is None:
            return None
        middle = (self.per_share.low + self.per_share.high) / 2
        least, most = section.within.low * self.per_share.low, section.within.high * self.per_share.high
        nearest = max(round(section.share * middle), 1)
        return WholeTurns(nearest, min(max(int(-(-least // 1)), 1), nearest), max(int(most // 1), nearest))


RestsOn = Callable[[str, DrivenCoils], "str | None"]  # the point of a winding that a point is joined to; None: free


def _itself(point: str, _: DrivenCoils) -> str:
    return point


@dataclass(frozen=True, slots=True)
class _Across:
    """Volts between two points of the winding, as the readings of one condition give them; `told` is the reading."""

    ends: Edge
    volts: Span
    told: str


def turns(
    readings: Sequence[Reading], meter: Meter, winding: KnownWinding | None, rest: RestsOn = _itself
) -> FoundTurns | None:
    """Heights from readings of volts on a small source, and turns where a winding of known turns is on the core.

    None without any such reading. The pair fed first in a condition with volts in it is the unit. Any other condition
    counts once the points that it feeds are placed, or two others between which it shows volts.
    """
    return turns_by(seen_volts(readings, meter), winding, rest)


@dataclass(frozen=True, slots=True)
class SeenVolts:
    """A reading of volts on a small source, with the true volts it can stand for; `nothing`: perhaps none at all."""

    condition: Condition
    at: tuple[str, ...]
    true: Span
    nothing: bool
    told: str


def seen_volts(readings: Sequence[Reading], meter: Meter) -> list[SeenVolts]:
    """The readings of volts on a small source."""
    found = []
    for one in volts_of(readings):
        true = meter.true(one.measure, one.value or Fraction(0))
        found.append(SeenVolts(one.measure.condition, one.measure.at, true, is_zero(one, meter), one.told))
    return found


def turns_by(seen: Sequence[SeenVolts], winding: KnownWinding | None, rest: RestsOn) -> FoundTurns | None:
    """As `turns`, of readings whose error is taken in already."""
    return _Placing(seen, winding, rest).found() if seen else None


def clashing(seen: Sequence[SeenVolts], winding: KnownWinding | None, rest: RestsOn) -> bool:
    """Whether some volts cannot be where contacts join the points so."""
    board = _Placing(seen, winding, rest)
    return bool(board.clashes or board.found().clashes)


class _Placing:
    """The readings of volts by condition, and what they place."""

    def __init__(self, seen: Sequence[SeenVolts], winding: KnownWinding | None, rest: RestsOn) -> None:
        self.winding = winding
        self.across: dict[Condition, list[_Across]] = {}
        self.scales: dict[Condition, Span] = {}
        self.distances: dict[Edge, Span] = {}
        self.placed: dict[str, Height] = {}
        self.clashes: set[tuple[str, str]] = set()
        self.nothing: list[tuple[Condition, _Across]] = []  # pairs that showed no volts
        for one in seen:
            self._take(one, rest)
        for condition in self.across:
            self._feed(condition, rest)

    def _take(self, one: SeenVolts, rest: RestsOn) -> None:
        here = self.across.setdefault(one.condition, [])
        ends = [self._end(point, one.condition, rest) for point in one.at]
        known = {end for end in ends if end is not None}
        across = _Across(frozenset(known), one.true, one.told)
        if one.nothing:
            if len(known) == 2:
                self.nothing.append((one.condition, across))
        elif len(known) == 2:
            here.append(across)
        else:  # volts where a wiring allows none
            self._clash(frozenset(one.at))

    def _end(self, point: str, condition: Condition, rest: RestsOn) -> str | None:
        if self.winding is not None and point in self.winding.ends:
            return point
        return rest(point, coils_of(condition))

    def _feed(self, condition: Condition, rest: RestsOn) -> None:
        """Puts the pair fed among the readings: as it was read, or with the volts of the source."""
        if condition.fed is None or not condition.volts or not self.across[condition]:
            return
        one, two = (rest(point, coils_of(condition)) for point in condition.fed)
        if one is None or two is None or one == two:  # a source that reaches no winding makes no volts
            self._clash(frozenset(condition.fed))
            return
        volts, ends = condition.volts, frozenset({one, two})
        if all(volts in each.volts for each in self.across[condition] if each.ends == ends):  # else as it was read
            self.across[condition].insert(0, _Across(ends, Span(volts, volts), ""))
        if not self.placed:
            zero, unit = Fraction(0), Fraction(1)
            self.placed[two] = Height(two, zero, Span(zero, zero))
            self.placed[one] = Height(one, unit, Span(unit, unit))

    def found(self) -> FoundTurns:
        """Everything placed that can be, and what is left."""
        unclear = self._spread(self.placed)
        others = tuple(self._others())
        self._refine()
        unused = [one.told for condition, here in self.across.items() if condition not in self.scales for one in here]
        self._check()
        return FoundTurns(
            rising(self.placed),
            self._per_share(),
            unclear,
            tuple(told for told in unused if told),
            others,
            tuple(sorted(self.clashes)),
            self.distances,
        )

    def _spread(self, placed: dict[str, Height]) -> tuple[Unclear, ...]:
        """Places point after point, and with them the scale of condition after condition."""
        while True:
            before = (len(placed), len(self.scales))
            for condition in self.across:
                if condition not in self.scales:
                    self._scale(condition, placed)
            unclear = spread_out(placed, self._on_winding())
            if before == (len(placed), len(self.scales)):
                sure = None if self.clashes else only_side(placed, self._on_winding())
                if sure is None:
                    return unclear
                placed[sure.point] = sure

    def _scale(self, condition: Condition, placed: dict[str, Height]) -> None:
        """Shares a volt in a condition, from all the pairs of placed points between which it shows volts."""
        scale: Span | None = None
        for one in self.across[condition]:
            if not one.ends <= set(placed):
                continue
            between = apart(*(placed[end] for end in sorted(one.ends)))
            span = Span(between.low / one.volts.high, between.high / one.volts.low)
            met = span if scale is None else scale.meet(span)
            if met is None:
                self._clash(one.ends)
            scale = met or scale
        if scale is None or scale.high <= 0:
            return
        self.scales[condition] = scale
        for one in self.across[condition]:
            within = Span(one.volts.low * scale.low, one.volts.high * scale.high)
            known = self.distances.get(one.ends)
            met = within if known is None else known.meet(within)
            if met is None:
                self._clash(one.ends)
            self.distances[one.ends] = met or within

    def _clash(self, ends: Edge) -> None:
        self.clashes.add((min(ends), max(ends)))

    def _on_winding(self) -> dict[Edge, Span]:
        return {ends: span for ends, span in self.distances.items() if not self._is_test(ends)}

    def _is_test(self, ends: Edge) -> bool:
        return self.winding is not None and ends == self.winding.ends

    def _others(self) -> list[tuple[Height, ...]]:
        """Windings of their own: points with volts between them and none to anything placed."""
        found = []
        known = set(self.placed)
        for ends in sorted(self._on_winding(), key=sorted):
            linked = {point for pair in self._on_winding() if pair & ends for point in pair}
            if linked & known:
                continue
            low, high, span = min(ends), max(ends), self.distances[ends]
            zero = Fraction(0)
            placed = {low: Height(low, zero, Span(zero, zero)), high: Height(high, (span.low + span.high) / 2, span)}
            spread_out(placed, self._on_winding())
            known |= set(placed)
            found.append(rising(placed))
        return found

    def _refine(self) -> None:
        """Narrows every height by all distances to others, the unit apart."""
        unit = set(list(self.placed)[:2])
        for _ in range(2):
            for point in [one for one in self.placed if one not in unit]:
                fitting = sides_of(
                    point, {name: one for name, one in self.placed.items() if name != point}, self._on_winding()
                )
                near = [one.within.meet(self.placed[point].within) for one in fitting]
                for met in [span for span in near if span is not None][:1]:
                    self.placed[point] = Height(point, (met.low + met.high) / 2, met)

    def _check(self) -> None:
        """Holds every distance, and every pair without volts, against the heights."""
        for ends, span in self._on_winding().items():
            if ends <= set(self.placed) and apart(*(self.placed[end] for end in sorted(ends))).meet(span) is None:
                self._clash(ends)
            for point in ends - set(self.placed):
                if ends & set(self.placed) and not sides_of(point, self.placed, self._on_winding()):
                    self._clash(ends)
        for condition, one in self.nothing:
            if one.ends <= set(self.placed) and condition in self.scales:
                most = one.volts.high * self.scales[condition].high
                if apart(*(self.placed[end] for end in sorted(one.ends))).low > most:
                    self._clash(one.ends)

    def _per_share(self) -> Span | None:
        """Turns of the pair fed, from the volts of a winding of known turns."""
        span = None if self.winding is None else self.distances.get(self.winding.ends)
        if self.winding is None or span is None or span.low <= 0:
            return None
        return Span(self.winding.turns / span.high, self.winding.turns / span.low)
