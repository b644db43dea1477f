"""Contacts found again from what is joined in which coil state, on a board without a drawing.

Every contact is a pair of points that are joined whenever its relay stands so. Every choice of one changeover (or
two) a relay that explains all readings is an answer; where there are several, the reading that would tell most of
them apart is named. Few ohms between two points are explained by a path of contacts and of windings of few ohms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

from tapplan.bench.isolation import Reading
from tapplan.bench.joined import DrivenCoils, Edge, Evidence, Fact, PairThen, closed, evidence, linked
from tapplan.bench.meter import Meter

MOST_WIRINGS = 400
MOST_STEPS = 20_000
MOST_RIVALS = 12
MOST_HELD = 300  # wirings that are held against the volts


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
    `unprobed` are throws that were not looked for everywhere; `fits` is False where volts speak against all of them.
    """

    relays: tuple[str, ...]
    wires: tuple[tuple[str, ...], ...]
    wirings: tuple[FoundWiring, ...]
    settling: Settling | None
    whole: bool
    unprobed: tuple[Unprobed, ...] = ()
    fits: bool = True


Fits = Callable[[FoundWiring, "Board"], bool]  # whether volts speak against a wiring


@dataclass(frozen=True, slots=True)
class Board:
    """The groups of points that are joined whatever every relay does, and the facts with one name for each.

    `windings` are pairs of few ohms that are no wires.
    """

    wires: tuple[tuple[str, ...], ...]
    facts: tuple[Fact, ...]
    windings: frozenset[PairThen] = frozenset()

    @property
    def names(self) -> dict[str, str]:
        """The one name of each point of a wire."""
        return {point: group[0] for group in self.wires for point in group}


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
        search = _Search(board, relays, doubles, windings)
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


class _Search:
    """Looks through the options of the relays, at most `doubles` of which have two poles.

    `assumed` are pairs that are taken for windings of few ohms, besides those that were read as such.
    """

    def __init__(self, board: Board, relays: Sequence[str], doubles: int, assumed: frozenset[Edge]) -> None:
        facts = list(board.facts)
        self.facts = facts
        self.few = board.windings
        self.wound = assumed | {one.pair for one in board.windings}
        self.doubles = doubles
        self.assumed = assumed
        self.relays = relays
        self.steps = 0
        self.found = 0
        near = _near(facts)
        most = 2 if doubles else 1
        states = sorted({fact.coils for fact in facts}, key=sorted)
        self.by_state = {
            (state, joined): [fact for fact in facts if fact.coils == state and fact.joined == joined]
            for state in states
            for joined in (True, False)
        }
        self.states = states
        self.needed = {
            state: _rank(
                closed({}, [fact.pair for fact in self.by_state[state, True] if fact.sure or not self.wound])
            )
            for state in states
        }
        self.options = [self._sound(place, _poles(near, facts, relay), most) for place, relay in enumerate(relays)]
        self.reach = [
            {drives: _edges_of(options, drives=drives) for drives in (False, True)} for options in self.options
        ]

    def _sound(self, place: int, poles: list[FoundPole], most: int) -> list[tuple[FoundPole, ...]]:
        """The options of one relay that join nothing that was apart, whatever the others do."""
        before: FoundWiring = ((),) * place
        single = [pole for pole in poles if self._allowed((*before, (pole,)), joined=False)]
        return [one for one in _options(single, most) if len(one) < 2 or self._allowed((*before, one), joined=False)]

    def wirings(self) -> Iterator[FoundWiring]:
        """Every combination of the relays' options that joins what was joined and nothing that was not."""
        waiting: list[FoundWiring] = [()]
        while waiting and self.found < MOST_WIRINGS and self.steps < MOST_STEPS:
            chosen = waiting.pop()
            self.steps += 1
            if not self._allowed(chosen, joined=False):
                continue
            if len(chosen) < len(self.relays):
                if self._reachable(chosen):
                    waiting += [(*chosen, option) for option in self._next(chosen)]
            elif self._allowed(chosen, joined=True):
                self.found += 1
                yield chosen

    def with_rivals(self, least: list[FoundWiring], board: Board, fits: Fits | None) -> list[FoundWiring]:
        """The wirings, with those that have one throw on another point and explain everything as well.

        Such a point was not seen joined to the common, for it was not looked for: another contact links the two.
        """
        points = sorted({end for fact in self.facts for end in fact.pair})
        found = dict.fromkeys(least)
        waiting = list(least)
        while waiting and len(found) < MOST_RIVALS:
            for one in _moved(waiting.pop(), points):
                if one in found or not self._allowed(one, joined=False) or not self._allowed(one, joined=True):
                    continue
                if fits is None or fits(one, board):
                    found[one] = None
                    waiting.append(one)
        return list(found)

    def _spare(self, chosen: FoundWiring) -> int:
        """How many relays may still have two poles."""
        return self.doubles - sum(len(poles) > 1 for poles in chosen)

    def _next(self, chosen: FoundWiring) -> list[tuple[FoundPole, ...]]:
        """The options of the next relay, the last first."""
        most = 2 if self._spare(chosen) > 0 else 1
        return [option for option in reversed(self.options[len(chosen)]) if len(option) <= most]

    def _reachable(self, chosen: FoundWiring) -> bool:
        """Whether all that was joined still can be, whatever the relays left over do: a pole closes one pair."""
        left = len(self.relays) - len(chosen)
        poles = left + max(min(left, self._spare(chosen)), 0)
        for state in self.states:
            facts = self.by_state[state, True]
            group = joins(chosen, self.relays, state) if facts else {}
            if self.needed[state] > _rank(group) + poles:
                return False
            reach = zip(self.relays[len(chosen) :], self.reach[len(chosen) :], strict=True)
            group = closed(group, [edge for relay, edges in reach for edge in edges[relay in state]]) if facts else {}
            if not all(linked(group, fact.pair) for fact in facts if fact.sure or not self.wound):
                return False
        return True

    @property
    def whole(self) -> bool:
        """Whether every wiring was looked at."""
        return self.found < MOST_WIRINGS and self.steps < MOST_STEPS

    def _allowed(self, wiring: FoundWiring, *, joined: bool) -> bool:
        """Whether nothing is joined that was apart, or, with `joined`, everything that was joined is."""
        paths = self._paths(wiring) if joined else []
        for state in self.states:
            facts = self.by_state[state, joined]
            group = joins(wiring, self.relays, state) if facts else {}
            wider = closed(group, paths) if paths and facts else group
            if any(linked(group if fact.sure else wider, fact.pair) != joined for fact in facts):
                return False
        return True

    def _paths(self, wiring: FoundWiring) -> list[Edge]:
        """Windings of few ohms that a wiring leaves: one at a moving contact is that of the point it stands on."""
        poles = [pole for each in wiring for pole in each]
        moving = {pole.com for pole in poles if pole.nc is not None and pole.no is not None}
        edges = {edge for pole in poles for edge in pole.edges.values()}
        pairs = dict.fromkeys(self.assumed)
        for one in sorted(self.few, key=lambda few: (sorted(few.coils), sorted(few.pair))):
            group = joins(wiring, self.relays, one.coils)
            here, there = ({end, *(p for p in group if linked(group, frozenset({p, end})))} for end in one.pair)
            pairs |= dict.fromkeys(frozenset({low, high}) for low, high in product(sorted(here), sorted(there)))
        return [pair for pair in pairs if len(pair) == 2 and not pair & moving and pair not in edges]


def _rank(group: Mapping[str, str]) -> int:
    """How many pairs at the least make such groups."""
    return len(group) - len(set(group.values()))


def _edges_of(options: Sequence[tuple[FoundPole, ...]], *, drives: bool) -> list[Edge]:
    """All pairs that some option of a relay joins while it stands so."""
    edges = (pole.edges.get(drives) for option in options for pole in option)
    return list(dict.fromkeys(edge for edge in edges if edge is not None))


def _moved(wiring: FoundWiring, points: Sequence[str]) -> Iterator[FoundWiring]:
    """A wiring with one throw put on another point that it joins to the first while some other contact is closed."""
    edges = [edge for poles in wiring for pole in poles for edge in pole.edges.values()]
    group = closed({}, edges)
    for place, poles in enumerate(wiring):
        for number, pole in enumerate(poles):
            for end in points:
                if end in (pole.com, pole.nc, pole.no) or not linked(group, frozenset({pole.com, end})):
                    continue
                for other in (
                    *([] if pole.nc is None else [replace(pole, nc=end)]),
                    *([] if pole.no is None else [replace(pole, no=end)]),
                ):
                    option = (*poles[:number], other, *poles[number + 1 :])
                    yield (*wiring[:place], option, *wiring[place + 1 :])


def joins(wiring: FoundWiring, relays: Sequence[str], coils: DrivenCoils) -> dict[str, str]:
    """For every point that a closed contact touches, the name of the group it is joined to."""
    return closed(
        {},
        (
            edge
            for relay, poles in zip(relays, wiring, strict=False)
            for pole in poles
            for drives, edge in pole.edges.items()
            if drives == (relay in coils)
        ),
    )


def _near(facts: Sequence[Fact]) -> list[PairThen]:
    """Pairs that may be joined by one contact: those seen joined, and those linked by them."""
    found: list[PairThen] = []
    for state in sorted({fact.coils for fact in facts}, key=sorted):
        group = closed({}, [fact.pair for fact in facts if fact.coils == state and fact.joined])
        pairs = map(frozenset, combinations(sorted(group), 2))
        found += [PairThen(state, pair) for pair in pairs if linked(group, pair)]
    return found


def _poles(near: Sequence[PairThen], facts: Sequence[Fact], relay: str) -> list[FoundPole]:
    """The single changeovers that some reading speaks for and none against."""
    for_rest, for_drive = (_always(near, facts, relay, driven=driven) for driven in (False, True))
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


def _always(near: Sequence[PairThen], facts: Sequence[Fact], relay: str, *, driven: bool) -> set[Edge]:
    """Pairs seen joined while a relay stands so, and never seen apart then."""
    apart = {fact.pair for fact in facts if (relay in fact.coils) == driven and not fact.joined}
    return {one.pair for one in near if (relay in one.coils) == driven} - apart


def _options(poles: list[FoundPole], most: int) -> Iterator[tuple[FoundPole, ...]]:
    yield ()
    for count in range(1, most + 1):
        for chosen in combinations(poles, count):
            edges = [edge for pole in chosen for edge in pole.edges.values()]
            if len(set(edges)) == len(edges):  # two poles on one pair are one
                yield chosen


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
