"""Contacts found again from continuity, on a board without a drawing.

Every contact is a pair of points that are joined whenever its relay stands so. Every choice of one changeover (or
two) a relay that explains all readings is an answer; where there are several, the reading that would tell most of
them apart is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, product

from tapplan.bench.isolation import Reading

JOINED_OHM = Fraction(1)  # a contact and its leads; more is a winding
MOST_WIRINGS = 400
MOST_STEPS = 200_000

Edge = frozenset[str]  # two points
DrivenCoils = frozenset[str]


@dataclass(frozen=True, slots=True)
class FoundPole:
    """One changeover found: a throw that was never seen closed is None."""

    com: str
    nc: str | None
    no: str | None

    @property
    def edges(self) -> dict[bool, Edge]:
        """The pairs joined, by whether the coil is driven then."""
        throws = {False: self.nc, True: self.no}
        return {drives: frozenset({self.com, end}) for drives, end in throws.items() if end is not None}


FoundWiring = tuple[tuple[FoundPole, ...], ...]  # by relay


@dataclass(frozen=True, slots=True)
class Settling:
    """A reading that would tell wirings apart: with these coils driven, are the two points joined?"""

    coils: DrivenCoils
    ends: tuple[str, str]
    joined: int
    of: int


@dataclass(frozen=True, slots=True)
class Unprobed:
    """Two points that were never measured with a relay's coil driven, or at rest."""

    relay: str
    driven: bool
    one: str
    other: str


@dataclass(frozen=True, slots=True)
class Contacts:
    """Every wiring with the fewest contacts that explains the readings; none where one or two poles a relay do not.

    `wires` are points joined however the relays stand, the name kept first. `whole`: all wirings were looked at.
    `unprobed` are throws that were not looked for everywhere.
    """

    relays: tuple[str, ...]
    wires: tuple[tuple[str, ...], ...]
    wirings: tuple[FoundWiring, ...]
    settling: Settling | None
    whole: bool
    unprobed: tuple[Unprobed, ...] = ()


@dataclass(frozen=True, slots=True)
class _Fact:
    coils: DrivenCoils
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
    board = _without_wires(seen, relays, kept)
    wires, facts = board.wires, board.facts
    for poles in (1, 2):
        search = _Search(facts, relays, poles)
        found = sorted(dict.fromkeys(search.wirings()), key=_size)
        if found:
            least = [one for one in found if _size(one) == _size(found[0])]
            settling = _settling(least, relays, facts)
            unprobed = tuple(_unprobed(least[0], relays, facts)) if len(least) == 1 else ()
            return Contacts(tuple(relays), wires, tuple(least), settling, search.whole, unprobed)
    return Contacts(tuple(relays), wires, (), None, whole=True)


@dataclass(frozen=True, slots=True)
class _Board:
    """The groups of points that are joined whatever every relay does, and the facts with one name for each."""

    wires: tuple[tuple[str, ...], ...]
    facts: list[_Fact]


def _without_wires(seen: list[_Fact], relays: Sequence[str], kept: Sequence[str]) -> _Board:
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
    return _Board(groups, [fact for fact in facts if len(fact.pair) == 2])


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


def joins(wiring: FoundWiring, relays: Sequence[str], coils: DrivenCoils) -> dict[str, str]:
    """For every point that a closed contact touches, the name of the group it is joined to."""
    group: dict[str, str] = {}
    for relay, poles in zip(relays, wiring, strict=False):
        for pole in poles:
            for drives, edge in pole.edges.items():
                if drives == (relay in coils):
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


def _unprobed(wiring: FoundWiring, relays: Sequence[str], facts: list[_Fact]) -> Iterator[Unprobed]:
    """For each throw that was not found, the points at which it was not looked for with the relay standing so."""
    points = sorted({point for fact in facts for point in fact.pair})
    for relay, poles in zip(relays, wiring, strict=True):
        for pole in poles:
            for drives in (False, True):
                if drives in pole.edges:
                    continue
                seen = {fact.pair for fact in facts if (relay in fact.coils) == drives}
                ends = {end for edge in pole.edges.values() for end in edge}  # either may be the common
                for end, other in product(sorted(ends), points):
                    if other not in ends and frozenset({end, other}) not in seen:
                        yield Unprobed(relay, drives, end, other)


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
