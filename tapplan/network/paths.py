"""The way from line to output in words: points, the contacts closed between them, the winding crossed.

All ways between two points of a sound state give the same volts, so the plainest is named: fewest windings
crossed, then fewest contacts, then the order of the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heappop, heappush

from tapplan.network.circuit import Circuit, Closed


@dataclass(frozen=True, slots=True)
class _Hop:
    """To a point or from it, through a contact; the contact is None where a winding is crossed."""

    point: int
    contact: int | None

    @property
    def crossing(self) -> int:
        """Windings crossed."""
        return int(self.contact is None)


_Adjacency = list[list[_Hop]]  # by point: the hops to its neighbours


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
    for hop in hops:
        if hop.contact is not None:
            steps.append(circuit.contacts[hop.contact].label)
        steps.append(circuit.points[hop.point])
    line_tap, output_tap = _taps(circuit, closed, hops)
    return Way(
        tuple(steps),
        None if line_tap is None else circuit.points[line_tap],
        None if output_tap is None else circuit.points[output_tap],
    )


def _adjacency(circuit: Circuit, closed: Closed) -> _Adjacency:
    adjacency: _Adjacency = [[] for _ in circuit.points]
    for number in sorted(closed):
        contact = circuit.contacts[number]
        adjacency[contact.com].append(_Hop(contact.end, number))
        adjacency[contact.end].append(_Hop(contact.com, number))
    for section in circuit.sections:
        adjacency[section.start].append(_Hop(section.finish, None))
        adjacency[section.finish].append(_Hop(section.start, None))
    return adjacency


def _cheapest(adjacency: _Adjacency, start: int, goal: int) -> list[_Hop] | None:
    """The hops of the cheapest way, each to the point reached; cost is (windings crossed, hops)."""
    reached: dict[int, _Hop | None] = {}  # how each point was come to: the hop from the point before
    queue: list[tuple[int, int, int, int, _Hop | None]] = [(0, 0, 0, start, None)]  # compared in this order
    order = 0
    while queue:
        crossed, hops, _, point, came = heappop(queue)
        if point in reached:
            continue
        reached[point] = came
        if point == goal:
            return list(_traced(reached, goal))[::-1]
        for hop in adjacency[point]:
            if hop.point not in reached:
                order += 1
                from_here = _Hop(point, hop.contact)
                heappush(queue, (crossed + hop.crossing, hops + 1, order, hop.point, from_here))
    return None


def _traced(reached: dict[int, _Hop | None], goal: int) -> Iterator[_Hop]:
    """The hops to the goal, the last first."""
    came = reached[goal]
    while came is not None:
        yield _Hop(goal, came.contact)
        goal = came.point
        came = reached[goal]


def _taps(circuit: Circuit, closed: Closed, hops: list[_Hop]) -> tuple[int | None, int | None]:
    """The winding points nearest to line and to output."""
    points = [circuit.line, *(hop.point for hop in hops)]
    crossings = [number for number, hop in enumerate(hops) if hop.crossing]
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
