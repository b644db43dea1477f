"""A wiring found again from a board without a drawing: contacts from continuity, turns from ratios.

Continuity: every contact is a pair of points that are joined whenever its relay stands so. Every choice of one
changeover (or two) a relay that explains all readings is an answer; where there are several, the reading that would
tell most of them apart is named. Ratios: points of one winding lie on a line, at heights in proportion to turns, and
volts between two of them are a distance.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, product

from tapplan.bench.isolation import Reading
from tapplan.bench.meter import Meter
from tapplan.exact import Span

JOINED_OHM = Fraction(1)  # a contact and its leads; more is a winding
MOST_WIRINGS = 400
MOST_STEPS = 200_000

Edge = frozenset[str]
State = frozenset[str]


@dataclass(frozen=True, slots=True)
class FoundPole:
    """One changeover found: a throw that was never seen closed is None."""

    com: str
    nc: str | None
    no: str | None

    @property
    def edges(self) -> tuple[tuple[bool, Edge], ...]:
        """The pairs joined, each with whether the coil is driven then."""
        found: list[tuple[bool, Edge]] = []
        for drives, end in ((False, self.nc), (True, self.no)):
            if end is not None:
                found.append((drives, frozenset({self.com, end})))
        return tuple(found)


FoundWiring = tuple[tuple[FoundPole, ...], ...]  # by relay


@dataclass(frozen=True, slots=True)
class Settling:
    """A reading that would tell wirings apart: with these coils driven, are the two points joined?"""

    coils: State
    ends: tuple[str, str]
    joined: int
    of: int


@dataclass(frozen=True, slots=True)
class Contacts:
    """Every wiring with the fewest contacts that explains the readings; none where one or two poles a relay do not.

    `wires` are points joined however the relays stand, the name kept first. `whole`: all wirings were looked at.
    `unprobed` are throws that were not looked for everywhere: a relay, whether its coil is driven, and two points
    that were never measured so.
    """

    relays: tuple[str, ...]
    wires: tuple[tuple[str, ...], ...]
    wirings: tuple[FoundWiring, ...]
    settling: Settling | None
    whole: bool
    unprobed: tuple[tuple[str, bool, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Fact:
    coils: State
    pair: Edge
    joined: bool


def contacts(readings: Sequence[Reading], relays: Sequence[str], kept: Sequence[str] = ()) -> Contacts:
    """The wirings of relays that explain readings of continuity with the power off.

    Points joined by a plain wire count as one, under the name that `kept` has, if any.
    """
    seen = [
        _Fact(one.measure.condition.coils or frozenset(), frozenset(one.measure.at), one.value <= JOINED_OHM)
        for one in readings
        if one.measure.what == "ohms" and one.value is not None
    ]
    wires, facts = _without_wires(seen, relays, kept)
    for poles in (1, 2):
        search = _Search(facts, relays, poles)
        found = sorted(dict.fromkeys(search.wirings()), key=_size)
        if found:
            least = [one for one in found if _size(one) == _size(found[0])]
            settling = _settling(least, relays, facts)
            unprobed = tuple(_unprobed(least[0], relays, facts)) if len(least) == 1 else ()
            return Contacts(tuple(relays), wires, tuple(least), settling, search.whole, unprobed)
    return Contacts(tuple(relays), wires, (), None, whole=True)


def _without_wires(
    seen: list[_Fact], relays: Sequence[str], kept: Sequence[str]
) -> tuple[tuple[tuple[str, ...], ...], list[_Fact]]:
    """The groups of points that are joined whatever every relay does, and the facts with one name for each."""
    pairs = {fact.pair for fact in seen} - {fact.pair for fact in seen if not fact.joined}
    name: dict[str, str] = {}
    for pair in sorted(pairs, key=sorted):
        here = [fact.coils for fact in seen if fact.pair == pair]
        if all({relay in coils for coils in here} == {True, False} for relay in relays):
            one, two = sorted((name.get(end, end) for end in pair), key=lambda end: (end not in kept, end))
            name |= {point: one for point, group in name.items() if group == two} | dict.fromkeys((*pair, one), one)
    groups = tuple(
        (one, *sorted(point for point, group in name.items() if group == one != point))
        for one in sorted(set(name.values()))
    )
    facts = [_Fact(one.coils, frozenset(name.get(end, end) for end in one.pair), one.joined) for one in seen]
    return groups, [fact for fact in facts if len(fact.pair) == 2]


def _size(wiring: FoundWiring) -> int:
    return sum(len(pole.edges) for poles in wiring for pole in poles)


class _Search:
    def __init__(self, facts: list[_Fact], relays: Sequence[str], poles: int) -> None:
        self.facts = facts
        self.relays = relays
        self.steps = 0
        self.found = 0
        self.options = [list(_options(_poles(facts, relay), poles)) for relay in relays]
        self.states = sorted({fact.coils for fact in facts}, key=sorted)

    def wirings(self) -> Iterator[FoundWiring]:
        """Every combination of the relays' options that joins what was joined and nothing that was not."""
        waiting: list[FoundWiring] = [()]
        while waiting and self.found < MOST_WIRINGS and self.steps < MOST_STEPS:
            chosen = waiting.pop()
            self.steps += 1
            if not self._allowed(chosen, joined=False):
                continue
            if len(chosen) < len(self.relays):
                waiting += [(*chosen, option) for option in reversed(self.options[len(chosen)])]
            elif self._allowed(chosen, joined=True):
                self.found += 1
                yield chosen

    @property
    def whole(self) -> bool:
        """Whether every wiring was looked at."""
        return self.found < MOST_WIRINGS and self.steps < MOST_STEPS

    def _allowed(self, wiring: FoundWiring, *, joined: bool) -> bool:
        groups = {state: joins(wiring, self.relays, state) for state in self.states}
        return all(
            (len({groups[fact.coils].get(end, end) for end in fact.pair}) == 1) == joined
            for fact in self.facts
            if fact.joined == joined
        )


def joins(wiring: FoundWiring, relays: Sequence[str], state: State) -> dict[str, str]:
    """For every point that a closed contact touches, the name of the group it is joined to."""
    group: dict[str, str] = {}
    for relay, poles in zip(relays, wiring, strict=False):
        for pole in poles:
            for drives, edge in pole.edges:
                if drives == (relay in state):
                    one, two = (group.get(end, end) for end in sorted(edge))
                    members = [point for point, name in group.items() if name == two] + sorted(edge)
                    for point in members:
                        group[point] = one
    return group


def _poles(facts: list[_Fact], relay: str) -> list[FoundPole]:
    """The single changeovers that some reading speaks for and none against."""
    for_rest, for_drive = (_always(facts, relay, driven=driven) for driven in (False, True))
    found = [
        FoundPole(com, _other(rest, com), _other(drive, com))
        for rest, drive in product(sorted(for_rest, key=sorted), sorted(for_drive, key=sorted))
        for com in sorted(rest & drive)
        if rest != drive
    ]
    found += [FoundPole(sorted(edge)[0], sorted(edge)[1], None) for edge in sorted(for_rest, key=sorted)]
    found += [FoundPole(sorted(edge)[0], None, sorted(edge)[1]) for edge in sorted(for_drive, key=sorted)]
    return found


def _other(edge: Edge, end: str) -> str:
    return next(iter(edge - {end}))


def _always(facts: list[_Fact], relay: str, *, driven: bool) -> set[Edge]:
    """Pairs seen joined while a relay stands so, and never seen apart then."""
    here = [fact for fact in facts if (relay in fact.coils) == driven]
    return {fact.pair for fact in here if fact.joined} - {fact.pair for fact in here if not fact.joined}


def _options(poles: list[FoundPole], most: int) -> Iterator[tuple[FoundPole, ...]]:
    yield ()
    for count in range(1, most + 1):
        yield from combinations(poles, count)


def _unprobed(wiring: FoundWiring, relays: Sequence[str], facts: list[_Fact]) -> Iterator[tuple[str, bool, str, str]]:
    """For each throw that was not found, the points at which it was not looked for with the relay standing so."""
    points = sorted({point for fact in facts for point in fact.pair})
    for relay, poles in zip(relays, wiring, strict=True):
        for pole in poles:
            for drives in (False, True):
                if any(here == drives for here, _ in pole.edges):
                    continue
                seen = {fact.pair for fact in facts if (relay in fact.coils) == drives}
                ends = {end for _, edge in pole.edges for end in edge}  # either may be the common
                for end, other in product(sorted(ends), points):
                    if other not in ends and frozenset({end, other}) not in seen:
                        yield relay, drives, end, other


def _settling(wirings: list[FoundWiring], relays: Sequence[str], facts: list[_Fact]) -> Settling | None:
    """The reading not taken yet that splits the wirings most evenly."""
    if len(wirings) < 2:
        return None
    points = sorted({point for fact in facts for point in fact.pair})
    taken = {(fact.coils, fact.pair) for fact in facts}
    best: Settling | None = None
    for number in range(1 << min(len(relays), 8)):
        state = frozenset(relay for place, relay in enumerate(relays) if number >> place & 1)
        groups = [joins(one, relays, state) for one in wirings]
        for ends in combinations(points, 2):
            if (state, frozenset(ends)) in taken:
                continue
            joined = sum(group.get(ends[0], ends[0]) == group.get(ends[1], ends[1]) for group in groups)
            even = min(joined, len(wirings) - joined)
            if even and (best is None or even > min(best.joined, best.of - best.joined)):
                best = Settling(state, ends, joined, len(wirings))
    return best


@dataclass(frozen=True, slots=True)
class Height:
    """A point of the winding: its height as a share of the pair fed first, within the meter's error."""

    point: str
    share: Fraction
    within: Span


@dataclass(frozen=True, slots=True)
class Turns:
    """Points in rising order, and the sections between them; `per_share` is turns of the pair fed, where known.

    `unclear` are points whose side is open, each with a pair to measure that would tell; `unused` are readings on a
    source across points that nothing else placed.
    """

    heights: tuple[Height, ...]
    per_share: Span | None
    test_turns: Fraction | None
    unclear: tuple[tuple[str, tuple[str, str]], ...]
    unused: tuple[str, ...] = ()

    def sections(self) -> list[tuple[str, str, Fraction, Span]]:
        """Lower point, upper point, share, and its span, from the lowest up."""
        found = []
        for low, high in zip(self.heights, self.heights[1:], strict=False):
            span = Span(
                max(high.within.low - low.within.high, Fraction(0)),
                max(high.within.high - low.within.low, Fraction(0)),
            )
            found.append((low.point, high.point, high.share - low.share, span))
        return found

    def whole_turns(self, share: Fraction, span: Span) -> tuple[int, int, int] | None:
        """The nearest whole number of turns with the least and the most that fit; None without a test winding."""
        if self.per_share is None:
            return None
        middle = (self.per_share.low + self.per_share.high) / 2
        least, most = span.low * self.per_share.low, span.high * self.per_share.high
        nearest = max(round(share * middle), 1)
        return nearest, min(max(int(-(-least // 1)), 1), nearest), max(int(most // 1), nearest)


def turns(readings: Sequence[Reading], meter: Meter, test: tuple[str, str, Fraction] | None) -> Turns | None:
    """Heights from readings of volts on a small source; `test` is a winding of known turns put on the core.

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
    tested = None if test is None else frozenset(test[:2])
    distances: dict[Edge, Span] = {}
    unclear: tuple[tuple[str, tuple[str, str]], ...] = ()
    waiting = volts
    while waiting:  # a source across other points counts once both of them are placed
        ready = [one for one in waiting if _both_placed(one, placed)]
        waiting = [one for one in waiting if not _both_placed(one, placed)]
        if not ready:
            break
        for pair, span in _distances(ready, meter, placed):
            met = distances[pair].meet(span) if pair in distances else span
            distances[pair] = met or span
        unclear = _placed(placed, {pair: span for pair, span in distances.items() if pair != tested})
    per_share = None
    if test is not None and tested in distances:
        span = distances[tested]
        per_share = Span(test[2] / span.high, test[2] / span.low) if span.low > 0 else None
    ordered = tuple(sorted(placed.values(), key=lambda one: one.share))
    unused = tuple(one.told for one in waiting)
    return Turns(ordered, per_share, None if test is None else test[2], unclear, unused)


def _both_placed(one: Reading, placed: dict[str, Height]) -> bool:
    return one.measure.condition.fed is not None and all(end in placed for end in one.measure.condition.fed)


def _distances(volts: Iterable[Reading], meter: Meter, placed: dict[str, Height]) -> Iterator[tuple[Edge, Span]]:
    for one in volts:
        condition = one.measure.condition
        if condition.fed is None or not condition.volts:
            continue
        across = _apart(placed[condition.fed[0]], placed[condition.fed[1]])
        span = meter.true(one.measure, one.value or Fraction(0)).scaled(1 / condition.volts)
        yield frozenset(one.measure.at), Span(span.low * across.low, span.high * across.high)


def _placed(placed: dict[str, Height], distances: dict[Edge, Span]) -> tuple[tuple[str, tuple[str, str]], ...]:
    """Places every point that is fixed by its distances to points placed before; what stays unclear, and why."""
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
                unclear.append((point, (point, far[0])))
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
