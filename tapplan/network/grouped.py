"""Distinct circuits without visiting every state: decide relays one by one, and only those that still matter.

A relay matters while one of its contacts could close a path between terminals or a loop around turns. A
contact that can only dangle is struck out, and with it whatever then dangles in turn; a changeover whose
common leads nowhere is one dangling end, whichever throw is closed. When no open question is left, the
relays not asked about are free. A chain of 40 relays then takes 41 rows, not 2**40.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from random import Random

from tapplan.network.circuit import Circuit, Position

Decided = dict[int, Position]  # by relay number; relays that make no difference are left out
Choices = Mapping[int, tuple[Position, ...]]  # what each relay may do


@dataclass(frozen=True, slots=True)
class Group:
    """Relays that must be driven, relays that must rest, and relays that may do either."""

    driven: frozenset[int]
    resting: frozenset[int]
    free: frozenset[int]


@dataclass(frozen=True, slots=True)
class _Edge:
    """A winding (`relay` None) or a contact that is, or could become, closed; a contact's `low` is its common."""

    low: int
    high: int
    relay: int | None
    pole: int


def groups(circuit: Circuit) -> Iterator[Group]:
    """The distinct circuits, each with its relays; no state is in two of them, and all states are in one.

    Work is proportional to the rows given times the size of the circuit, not to the number of states.
    """
    either = (Position.DRIVEN, Position.REST)
    for decided in blocks(circuit, dict.fromkeys(range(len(circuit.relays)), either)):
        driven = frozenset(relay for relay, position in decided.items() if position is Position.DRIVEN)
        resting = frozenset(decided) - driven
        yield Group(driven, resting, frozenset(range(len(circuit.relays))) - driven - resting)


def blocks(circuit: Circuit, options: Choices) -> Iterator[Decided]:
    """The distinct circuits among all ways in which each relay takes one of its options.

    No way is in two of them, and all ways are in one. Work as for `groups`.
    """
    fixed = {relay: some[0] for relay, some in options.items() if len(some) == 1}
    waiting: list[Decided] = [fixed]
    while waiting:
        decided = waiting.pop()
        relay = _next_question(circuit, decided, options)
        if relay is None:
            yield decided
        else:
            waiting += [{**decided, relay: position} for position in options[relay]]


def descents(circuit: Circuit, most: int) -> Iterator[int]:
    """How many relays decide a circuit, for so many ways that each relay takes by chance, always the same ones.

    The mean of two to the power of these is an unbiased estimate of how many circuits there are (D. E. Knuth,
    Estimating the efficiency of backtrack programs, 1975). Where all are large, there are surely many circuits: if n
    ways all ask k questions or more, fewer than 2**(k - m) circuits have a chance below 2**-(m * n).
    """
    either = dict.fromkeys(range(len(circuit.relays)), (Position.DRIVEN, Position.REST))
    chance = Random(0)  # noqa: S311 - samples a tree, always alike
    for _ in range(most):
        decided: Decided = {}
        while (relay := _next_question(circuit, decided, either)) is not None:
            decided[relay] = chance.choice(either[relay])
        yield len(decided)


def _next_question(circuit: Circuit, decided: Decided, options: Choices) -> int | None:
    """The undecided relay to ask about next among those that still matter, or None.

    Any order is right; following the commons outward from output and line asks the fewest questions.
    """
    edges = _without_dangling(_possible(circuit, decided, options), circuit.kept_points)
    undecided = {edge.relay for edge in edges if edge.relay is not None and edge.relay not in decided}
    if not undecided:
        return None
    for start in (circuit.output, circuit.line):
        joined = _joined_by_decided(decided, edges, start)
        led_by = {edge.relay for edge in edges if edge.relay is not None and edge.low in joined} & undecided
        if led_by:
            return min(led_by)
    return min(undecided)


def _possible(circuit: Circuit, decided: Decided, options: Choices) -> list[_Edge]:
    edges = [_Edge(section.start, section.finish, None, 0) for section in circuit.sections]
    for contact in circuit.contacts:
        here = decided.get(contact.relay)
        some = options[contact.relay] if here is None else (here,)
        if any(contact.throw in position.value for position in some):
            edges.append(_Edge(contact.com, contact.end, contact.relay, contact.pole))
    return edges


def _without_dangling(edges: list[_Edge], kept: frozenset[int]) -> list[_Edge]:
    """The edges left when ends that lead nowhere are struck out, again and again."""
    at: dict[int, set[int]] = {}
    for number, edge in enumerate(edges):
        at.setdefault(edge.low, set()).add(number)
        at.setdefault(edge.high, set()).add(number)
    waiting = [point for point in at if point not in kept]
    while waiting:
        point = waiting.pop()
        here = at[point]
        if not here or not _one_at_a_time([edges[number] for number in here]):
            continue
        for number in list(here):
            other = edges[number].high if edges[number].low == point else edges[number].low
            at[other].discard(number)
            here.discard(number)
            if other not in kept:
                waiting.append(other)
    left = set().union(*at.values()) if at else set()
    return [edges[number] for number in sorted(left)]


def _one_at_a_time(edges: list[_Edge]) -> bool:
    """Whether no two of the edges can be closed together: a single one, or the throws of one pole."""
    first = edges[0]
    if len(edges) == 1:
        return True
    return first.relay is not None and all((e.relay, e.pole) == (first.relay, first.pole) for e in edges)


def _joined_by_decided(decided: Decided, edges: list[_Edge], start: int) -> set[int]:
    """The points that decided, closed contacts join to `start`."""
    joined = {start}
    grown = True
    while grown:
        grown = False
        for edge in edges:
            if edge.relay in decided and (edge.low in joined) != (edge.high in joined):
                joined |= {edge.low, edge.high}
                grown = True
    return joined
