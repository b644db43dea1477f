"""Contacts found again on an undrawn board: from what is joined in which coil state.

Every contact is a pair of points that are joined whenever its relay stands so. Every choice of one changeover (or
two) a relay that explains all readings is an answer; where there are several, the reading that would tell most of
them apart is named. Few ohms between two points are explained by a path of contacts and of windings of few ohms.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

from tapplan.bench.isolation import Reading
from tapplan.bench.joined import DrivenCoils, Edge, Evidence, Fact, closed, evidence, linked
from tapplan.bench.meter import Meter
from tapplan.bench.poles import FoundWiring, joins
from tapplan.bench.wirings import MOST_RIVALS, Board, Fits, WiringSearch

MOST_HELD = 300  # wirings that are held against the volts


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
    `unprobed` are throws that were not looked for everywhere; `fits` is False where volts speak against all of them.
    """

    relays: tuple[str, ...]
    wires: tuple[tuple[str, ...], ...]
    wirings: tuple[FoundWiring, ...]
    settling: Settling | None
    whole: bool
    unprobed: tuple[Unprobed, ...] = ()
    fits: bool = True


def contacts(readings: Sequence[Reading], relays: Sequence[str], kept: Sequence[str] = ()) -> Contacts:
    """The wirings of relays that explain readings of continuity with the power off.

    Points joined by a plain wire count as one, under the name that `kept` has, if any.
    """
    points = sorted({end for one in readings if one.measure.what == "ohms" for end in one.measure.at})
    return wirings(board_of(evidence(readings, Meter(), points), relays, kept), relays)


def wirings(board: Board, relays: Sequence[str], fits: Fits | None = None) -> Contacts:
    """The wirings with the fewest contacts that explain a board, of those that `fits` lets pass."""
    assumed = _maybe_wound(board.facts)
    first: Contacts | None = None
    for windings, doubles in product(dict.fromkeys((frozenset[Edge](), assumed)), (0, 1, len(relays))):
        search = WiringSearch(board, relays, doubles, windings)
        found = sorted(dict.fromkeys(search.wirings()), key=_size)
        least = _least(found, board, fits)
        if least:
            least = search.with_rivals(least, board, fits)
            held = fits is None or (len(least) < MOST_RIVALS and len(found) <= MOST_HELD)
            whole = search.whole and held
            return _contacts(board, relays, least, whole=whole)
        if found and first is None:
            first = replace(_contacts(board, relays, found[:1], whole=search.whole), fits=False)
    return first or Contacts(tuple(relays), board.wires, (), None, whole=True, fits=False)


def _contacts(board: Board, relays: Sequence[str], least: list[FoundWiring], *, whole: bool) -> Contacts:
    facts = list(board.facts)
    unprobed = tuple(_unprobed(least[0], relays, facts)) if len(least) == 1 else ()
    return Contacts(tuple(relays), board.wires, tuple(least), _settling(least, relays, facts), whole, unprobed)


def _least(found: list[FoundWiring], board: Board, fits: Fits | None) -> list[FoundWiring]:
    """Of wirings in order of size, the smallest that volts let pass."""
    passed: list[FoundWiring] = []
    for place, one in enumerate(found):
        if passed and (_size(one) > _size(passed[0]) or (fits is not None and len(passed) >= MOST_RIVALS)):
            break
        if fits is None or (place < MOST_HELD and fits(one, board)):
            passed.append(one)
    return passed


def _maybe_wound(facts: Sequence[Fact]) -> frozenset[Edge]:
    """Pairs once seen apart by volts that may all the same be a winding of few ohms."""
    return frozenset(fact.pair for fact in facts if not fact.joined and fact.by_volts)


def board_of(seen: Evidence, relays: Sequence[str], kept: Sequence[str], *, wired: bool = True) -> Board:
    """A board with its plain wires taken out; not `wired`: with none, all that is joined being contacts."""
    name: dict[str, str] = {}
    for pair in _wires(seen.facts, relays) if wired else ():
        one, two = sorted((name.get(end, end) for end in pair), key=lambda end: (end not in kept, end))
        name |= {point: one for point, group in name.items() if group == two} | dict.fromkeys((*pair, one), one)
    groups = tuple(
        (one, *sorted(point for point, group in name.items() if group == one != point))
        for one in sorted(set(name.values()))
    )
    facts = [replace(one, pair=frozenset(name.get(end, end) for end in one.pair)) for one in seen.facts]
    few = [replace(one, pair=frozenset(name.get(end, end) for end in one.pair)) for one in seen.windings]
    return Board(groups, tuple(fact for fact in facts if len(fact.pair) == 2), frozenset(few))


def _wires(facts: Sequence[Fact], relays: Sequence[str]) -> list[Edge]:
    """Pairs joined however each relay stands, and never apart.

    Where such pairs also link points that were seen apart, some are windings of few ohms: then only those count
    that volts confirm.
    """
    always = {fact.pair for fact in facts} - {fact.pair for fact in facts if not fact.joined}
    pairs = []
    for pair in sorted(always, key=sorted):
        here = [fact.coils for fact in facts if fact.pair == pair]
        if all({relay in coils for coils in here} == {True, False} for relay in relays):
            pairs.append(pair)
    confirmed = {fact.pair for fact in facts if fact.sure and fact.joined}
    group = closed({}, pairs)
    torn = {group[end] for fact in facts if not fact.joined for end in fact.pair if linked(group, fact.pair)}
    return [pair for pair in pairs if pair in confirmed or group[min(pair)] not in torn]


def _size(wiring: FoundWiring) -> int:
    return sum(len(pole.edges) for poles in wiring for pole in poles)


def _unprobed(wiring: FoundWiring, relays: Sequence[str], facts: list[Fact]) -> Iterator[Unprobed]:
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


def _settling(wirings: list[FoundWiring], relays: Sequence[str], facts: list[Fact]) -> Settling | None:
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
