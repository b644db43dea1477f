"""Every wiring that explains what was seen: it joins what was joined, and nothing that was apart."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from tapplan.bench.joined import Edge, Fact, PairThen, closed, linked
from tapplan.bench.poles import FoundPole, FoundWiring, edges_of, joins, linked_pairs, poles_of, sets_of_poles

MOST_WIRINGS = 400
MOST_STEPS = 20_000
MOST_RIVALS = 12
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


class WiringSearch:
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
        near = linked_pairs(facts)
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
        self.options = [self._sound(place, poles_of(near, facts, relay), most) for place, relay in enumerate(relays)]
        self.reach = [
            {drives: edges_of(options, drives=drives) for drives in (False, True)} for options in self.options
        ]

    def _sound(self, place: int, poles: list[FoundPole], most: int) -> list[tuple[FoundPole, ...]]:
        """The options of one relay that join nothing that was apart, whatever the others do."""
        before: FoundWiring = ((),) * place
        single = [pole for pole in poles if self._allowed((*before, (pole,)), joined=False)]
        return [
            one for one in sets_of_poles(single, most) if len(one) < 2 or self._allowed((*before, one), joined=False)
        ]

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
