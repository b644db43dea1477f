"""Free wiring: every way to join up to three changeovers with line, output and up to five taps, tried in full.

A contact end may stand on line, output, a tap or one of two junctions (with three taps or more there are not ends
enough for a third: nine, of which output and three taps take four and each junction two). What the closed contacts of
a state join depends on three edges only, so all triples of edges are settled once and every state is a look-up. Kept
are wirings in which no combination of coils shorts turns or leaves line or output on nothing; of those that join the
same sets of line and output taps, whatever the taps are called, one; and none that another one contains.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import combinations, permutations, product
from math import comb

import numpy as np
from numpy.typing import NDArray

from tapplan.study.wiring import Changeover, Tap, Wiring, never, one_pole_each

TAPS = 5
MOST_RELAYS = 3
LINE, OUTPUT, FIRST_TAP = 0, 1, 2
POINTS = ["LINE", "OUTPUT", *(f"tap {number + 1}" for number in range(TAPS)), "joint 1", "joint 2"]
EDGES = [None, *combinations(range(len(POINTS)), 2)]  # None: a contact left out, or open
UNCLEAN = 255
TIES = (None, (LINE, FIRST_TAP), (OUTPUT, FIRST_TAP))  # neither side, line or output standing on a tap

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _FreeRelay:
    """A relay: its common point, and its two contacts as edges; which of them rests makes no difference here."""

    com: int
    rest: int
    driven: int


@dataclass(frozen=True, slots=True)
class _Joining:
    """A set of line and output taps, as bits of 5 line + output, and a wiring that joins them: its tie and relays."""

    mask: int
    tie: int
    relays: tuple[_FreeRelay, ...]


@dataclass(frozen=True, slots=True)
class Examined:
    """What the search looked at and kept: wirings, relay states, and those with more ratios than a chain has."""

    wirings: int
    states: int
    kept: tuple[Wiring, ...]


_known: dict[int, Examined] = {}  # by number of relays, of searches that came to their end


def examined(relays: int, stop: Callable[[], bool] = never) -> Examined:
    """All wirings of so many relays, three at most; the same for every request, and searched once.

    When told to stop, those looked at by then.
    """
    if relays in _known:
        return _known[relays]
    every, found, looked = _every_relay(), dict[int, _Joining](), 0
    for tie, first in product(range(len(TIES)), range(len(every))):
        if stop():
            break
        others = _others(first, len(every), relays)
        looked += others.shape[1]
        for one in _joined(tie, every, np.vstack([np.full((1, others.shape[1]), first), others])):
            found.setdefault(one.mask, one)
    kept = _largest({_canonical(mask): mask for mask in sorted(found)})
    made = Examined(looked, looked * 2**relays, tuple(_wiring(found[mask]) for mask in kept))
    if looked == len(TIES) * comb(len(every), relays):
        _known[relays] = made
    return made


def free_wirings(most: int, stop: Callable[[], bool] = never) -> Iterator[Wiring]:
    """The wirings found, for each number of relays from two on."""
    for relays in range(2, min(most, MOST_RELAYS) + 1):
        yield from examined(relays, stop).kept


def _every_relay() -> list[_FreeRelay]:
    """Every way to connect a relay."""
    number = {edge: place for place, edge in enumerate(EDGES)}
    made = []
    for com in range(len(POINTS)):
        others = [None, *(point for point in range(len(POINTS)) if point != com)]
        for rest, driven in combinations(others, 2):
            edges = [number[None if end is None else (min(com, end), max(com, end))] for end in (rest, driven)]
            made.append(_FreeRelay(com, edges[0], edges[1]))
    return made


@cache
def _settled(tie: int) -> NDArray[np.uint8]:
    """For every triple of closed edges the line tap and the output tap, as 5 line + output, or UNCLEAN."""
    size = len(EDGES)
    bits = np.array([0 if edge is None else (1 << edge[0]) | (1 << edge[1]) for edge in EDGES], dtype=np.int64)
    closed = np.stack(np.meshgrid(bits, bits, bits, indexing="ij")).reshape(3, -1)
    extra = TIES[tie]
    tied = 0 if extra is None else (1 << extra[0]) | (1 << extra[1])
    edges = np.vstack([closed, np.full((1, closed.shape[1]), tied)])
    taps = ((1 << TAPS) - 1) << FIRST_TAP
    line, output = (_reach(np.full(closed.shape[1], 1 << side), edges) & taps for side in (LINE, OUTPUT))
    shorted = np.zeros(closed.shape[1], dtype=bool)
    for edge in closed:
        shorted |= _many(_reach(edge, edges) & taps)
    clean = ~shorted & _single(line) & _single(output)
    place = {1 << (FIRST_TAP + tap): tap for tap in range(TAPS)}
    number = np.array([place.get(mask, 0) for mask in range(1 << (FIRST_TAP + TAPS))])
    return np.where(clean, TAPS * number[line] + number[output], UNCLEAN).astype(np.uint8).reshape(size, size, size)


def _reach(start: Ints, edges: Ints) -> Ints:
    reached = start.copy()
    for _ in range(len(edges)):
        for edge in edges:
            reached = np.where(reached & edge, reached | edge, reached)
    return reached


def _many(mask: Ints) -> NDArray[np.bool_]:
    return np.asarray((mask & (mask - 1)) != 0)


def _single(mask: Ints) -> NDArray[np.bool_]:
    return np.asarray((mask != 0) & ~_many(mask))


def _joined(tie: int, every: list[_FreeRelay], chosen: Ints) -> Iterator[_Joining]:
    """Sets of line and output taps that clean wirings join, each with one wiring; one row of `chosen` a relay."""
    settled, relays = _settled(tie), len(chosen)
    edges = np.array([(one.rest, one.driven) for one in every])
    masks, clean = np.zeros(chosen.shape[1], dtype=np.uint32), np.ones(chosen.shape[1], dtype=bool)
    for code in product((0, 1), repeat=relays):
        closed = [edges[row, code[place]] for place, row in enumerate(chosen)]
        closed += [np.zeros_like(closed[0])] * (3 - relays)
        state = settled[closed[0], closed[1], closed[2]]
        clean &= state != UNCLEAN
        masks |= np.uint32(1) << np.minimum(state, 31).astype(np.uint32)
    places = np.flatnonzero(clean)
    for mask, at in zip(*np.unique(masks[places], return_index=True), strict=True):
        if _ratios(int(mask)) > relays + 1:
            yield _Joining(int(mask), tie, tuple(every[int(row[places[at]])] for row in chosen))


def _others(first: int, size: int, relays: int) -> Ints:
    """The places of the other relays, each set once."""
    rest = np.arange(first + 1, size)
    if relays == 2:
        return rest[None, :]
    a, b = np.triu_indices(rest.size, k=1)
    return np.stack([rest[a], rest[b]])


def _pairs(mask: int) -> list[tuple[int, int]]:
    return [divmod(bit, TAPS) for bit in range(TAPS * TAPS) if mask >> bit & 1]


def _ratios(mask: int) -> int:
    """Different ratios that a set can give: all that join one tap to itself are direct."""
    pairs = _pairs(mask)
    return sum(line != output for line, output in pairs) + any(line == output for line, output in pairs)


def _renamed(mask: int, order: tuple[int, ...]) -> int:
    return sum(1 << (TAPS * order[line] + order[output]) for line, output in _pairs(mask))


def _canonical(mask: int) -> int:
    return min(_renamed(mask, order) for order in permutations(range(TAPS)))


def _largest(found: dict[int, int]) -> list[int]:
    """Of each class one set, without those that another one contains whatever its taps are called."""
    whole = sorted(found, key=lambda mask: -mask.bit_count())
    kept: list[int] = []
    names: list[set[int]] = []
    for mask in whole:
        if not any(mask | other == other for forms in names for other in forms):
            kept.append(mask)
            names.append({_renamed(mask, order) for order in permutations(range(TAPS))})
    return [found[mask] for mask in kept]


def _wiring(joining: _Joining) -> Wiring:
    tie = joining.tie
    taps = sorted({tap for pair in _pairs(joining.mask) for tap in pair})
    return Wiring(
        "free",
        len(taps),
        tuple(
            Tap(POINTS[FIRST_TAP + tap], tuple(int(place == at) for at in range(len(taps))))
            for place, tap in enumerate(taps)
        ),
        one_pole_each(
            Changeover(POINTS[one.com], _other_end(one, one.rest), _other_end(one, one.driven))
            for one in joining.relays
        ),
        line=POINTS[FIRST_TAP] if TIES[tie] == (LINE, FIRST_TAP) else "LINE",
        output=POINTS[FIRST_TAP] if TIES[tie] == (OUTPUT, FIRST_TAP) else "OUTPUT",
        least_used=len(joining.relays) + 2,
    )


def _other_end(relay: _FreeRelay, number: int) -> str | None:
    """Where a contact of a relay leads, by the number of its edge."""
    edge = EDGES[number]
    if edge is None:
        return None
    return POINTS[edge[0] if edge[1] == relay.com else edge[1]]
