"""The way from line to output in words: points, the contacts closed between them, the winding crossed.

All ways between two points of a sound state give the same volts, so the plainest is named: fewest windings
crossed, then fewest contacts, then the order of the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heappop, heappush

from tapplan.network.circuit import Circuit, Closed

Adjacency = list[list[tuple[int, int, int | None]]]  # by point: (crossing, neighbour, contact or None)


@dataclass(frozen=True, slots=True)
class Way:
    """A path from line to output.

    `steps` names points and, between two points joined by a contact, that contact. The taps are the winding
    points where line and output are joined to the winding; None when no winding is touched.
    """

    steps: tuple[str, ...]
    line_tap: str | None
    output_tap: str | None


def way(circuit: Circuit, closed: Closed) -> Way | None:
    """The plainest way from line to output with these contacts closed, or None when there is none."""
    adjacency = _adjacency(circuit, closed)
    hops = _cheapest(adjacency, circuit.line, circuit.output)
    if hops is None:
        return None
    steps = [circuit.points[circuit.line]]
    for point, contact in hops:
        if contact is not None:
            steps.append(circuit.contacts[contact].label)
        steps.append(circuit.points[point])
    line_tap, output_tap = _taps(circuit, closed, hops)
    return Way(
        tuple(steps),
        None if line_tap is None else circuit.points[line_tap],
        None if output_tap is None else circuit.points[output_tap],
    )


def _adjacency(circuit: Circuit, closed: Closed) -> Adjacency:
    adjacency: Adjacency = [[] for _ in circuit.points]
    for number in sorted(closed):
        contact = circuit.contacts[number]
        adjacency[contact.com].append((0, contact.end, number))
        adjacency[contact.end].append((0, contact.com, number))
    for section in circuit.sections:
        adjacency[section.start].append((1, section.finish, None))
        adjacency[section.finish].append((1, section.start, None))
    return adjacency


def _cheapest(adjacency: Adjacency, start: int, goal: int) -> list[tuple[int, int | None]] | None:
    """The hops (point reached, contact used) of the cheapest way; cost is (windings crossed, hops)."""
    reached: dict[int, tuple[int, int | None] | None] = {}
    queue: list[tuple[int, int, int, int, tuple[int, int | None] | None]] = [(0, 0, 0, start, None)]
    order = 0
    while queue:
        crossed, hops, _, point, came = heappop(queue)
        if point in reached:
            continue
        reached[point] = came
        if point == goal:
            return list(_traced(reached, goal))[::-1]
        for crossing, neighbour, contact in adjacency[point]:
            if neighbour not in reached:
                order += 1
                heappush(queue, (crossed + crossing, hops + 1, order, neighbour, (point, contact)))
    return None


def _traced(reached: dict[int, tuple[int, int | None] | None], goal: int) -> Iterator[tuple[int, int | None]]:
    came = reached[goal]
    while came is not None:
        yield goal, came[1]
        goal = came[0]
        came = reached[goal]


def _taps(circuit: Circuit, closed: Closed, hops: list[tuple[int, int | None]]) -> tuple[int | None, int | None]:
    points = [circuit.line, *(point for point, _ in hops)]
    crossings = [number for number, (_, contact) in enumerate(hops) if contact is None]
    if crossings:
        return points[crossings[0]], points[crossings[-1] + 1]
    tap = _winding_point(circuit, closed, points)
    return tap, tap


def _winding_point(circuit: Circuit, closed: Closed, points: list[int]) -> int | None:
    """The first winding end among points joined to these by contacts; the given ones come first."""
    ends = {end for section in circuit.sections for end in (section.start, section.finish)}
    contacts = [circuit.contacts[number] for number in sorted(closed)]
    waiting, seen = list(points), set(points)
    for point in waiting:
        if point in ends:
            return point
        for contact in contacts:
            for here, there in ((contact.com, contact.end), (contact.end, contact.com)):
                if here == point and there not in seen:
                    seen.add(there)
                    waiting.append(there)
    return None
