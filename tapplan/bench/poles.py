"""The contacts that one relay may have, by what was seen joined and apart: changeovers, and sets of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from tapplan.bench.joined import DrivenCoils, Edge, Fact, PairThen, closed, linked


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


def edges_of(options: Sequence[tuple[FoundPole, ...]], *, drives: bool) -> list[Edge]:
    """All pairs that some option of a relay joins while it stands so."""
    edges = (pole.edges.get(drives) for option in options for pole in option)
    return list(dict.fromkeys(edge for edge in edges if edge is not None))


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


def linked_pairs(facts: Sequence[Fact]) -> list[PairThen]:
    """Pairs that may be joined by one contact: those seen joined, and those linked by them."""
    found: list[PairThen] = []
    for state in sorted({fact.coils for fact in facts}, key=sorted):
        group = closed({}, [fact.pair for fact in facts if fact.coils == state and fact.joined])
        pairs = map(frozenset, combinations(sorted(group), 2))
        found += [PairThen(state, pair) for pair in pairs if linked(group, pair)]
    return found


def poles_of(near: Sequence[PairThen], facts: Sequence[Fact], relay: str) -> list[FoundPole]:
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


def sets_of_poles(poles: list[FoundPole], most: int) -> Iterator[tuple[FoundPole, ...]]:
    """No pole, one, or up to so many that share no pair."""
    yield ()
    for count in range(1, most + 1):
        for chosen in combinations(poles, count):
            edges = [edge for pole in chosen for edge in pole.edges.values()]
            if len(set(edges)) == len(edges):  # two poles on one pair are one
                yield chosen
