"""What a schematic has to place: poles of relays, windings in series as stacks, and how far along each stands.

How far along a point stands between line and output is taken from the circuit itself: every contact as a resistor
of one ohm, every set of joined windings as one node, one volt from line to output. So a chain of contacts has its
order from left to right, and what leads to the line lies left of the winding it chooses a tap of.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.network.circuit import Circuit

SWEEPS = 400  # of the relaxation; it only orders parts, so it need not be exact
HOP = 1e-3  # what a contact more from the main winding adds, where the volts do not order two parts


@dataclass(frozen=True, slots=True)
class DrawnPole:
    """One pole of a relay: its common point and its contacts by number, None where it has no such throw."""

    number: int
    relay: int
    pole: int
    com: int
    nc: int | None
    no: int | None

    @property
    def contacts(self) -> tuple[int, ...]:
        """Its contacts, the one closed at rest first."""
        return tuple(one for one in (self.nc, self.no) if one is not None)


@dataclass(frozen=True, slots=True)
class Stack:
    """Windings in series, from the highest point down: `sections[n]` lies between `points[n]` and `points[n + 1]`."""

    points: tuple[int, ...]
    sections: tuple[int, ...]
    island: int


@dataclass(frozen=True, slots=True)
class Standings:
    """How far each point stands from the line (0) to the output (1), and which windings are joined."""

    island: tuple[int, ...]
    along: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SchematicParts:
    """What there is to place, and how far along it stands."""

    poles: tuple[DrawnPole, ...]
    stacks: tuple[Stack, ...]
    at: Standings


def parts_of(circuit: Circuit) -> SchematicParts:
    """The poles and the stacks of a circuit."""
    at = standings_of(circuit)
    return SchematicParts(poles_of(circuit), stacks_of(circuit, at.island), at)


def poles_of(circuit: Circuit) -> tuple[DrawnPole, ...]:
    """The poles in the order of the circuit's contacts."""
    found: dict[tuple[int, int], dict[str, int]] = {}
    for number, contact in enumerate(circuit.contacts):
        found.setdefault((contact.relay, contact.pole), {})[contact.throw] = number
    return tuple(
        DrawnPole(
            number,
            relay,
            pole,
            circuit.contacts[next(iter(throws.values()))].com,
            throws.get("nc"),
            throws.get("no"),
        )
        for number, ((relay, pole), throws) in enumerate(found.items())
    )


def stacks_of(circuit: Circuit, island: tuple[int, ...]) -> tuple[Stack, ...]:
    """Every winding once: of each set of joined ones the longest way from neutral up, then of what is left."""
    left = set(range(len(circuit.sections)))
    found: list[Stack] = []
    while left:
        ways = [_deepest(circuit, left, start) for start in _starts(circuit, left)]
        best = max(ways, key=lambda one: len(one.sections))
        left -= set(best.sections)
        found.append(Stack(best.points, best.sections, island[best.points[0]]))
    return tuple(sorted(found, key=lambda one: circuit.neutral not in one.points))


def _starts(circuit: Circuit, left: set[int]) -> list[int]:
    """Where a stack may begin at its foot: neutral, or the lowest-numbered end of what is left."""
    ends = [end for n in sorted(left) for end in (circuit.sections[n].start, circuit.sections[n].finish)]
    if circuit.neutral in ends:
        return [circuit.neutral]
    single = [end for end in dict.fromkeys(ends) if ends.count(end) == 1]
    first = circuit.sections[min(left)]
    lowest = first.start if first.turns > 0 else first.finish
    return [lowest, *(one for one in single if one != lowest)]


def _deepest(circuit: Circuit, left: set[int], start: int) -> Stack:
    """The longest of the shortest ways over windings from a point, its far end first."""
    before: dict[int, int | None] = {start: None}
    queue = [start]
    for point in queue:
        for number in sorted(left):
            one = circuit.sections[number]
            if point in (one.start, one.finish):
                other = one.finish if point == one.start else one.start
                if other not in before:
                    before[other] = number
                    queue.append(other)
    point = queue[-1]
    points, sections = [point], []
    while (back := before[point]) is not None:
        one = circuit.sections[back]
        point = one.start if point == one.finish else one.finish
        points.append(point)
        sections.append(back)
    return Stack(tuple(points), tuple(sections), -1)


def standings_of(circuit: Circuit) -> Standings:
    """Where every point stands between line and output."""
    island = _islands(circuit)
    links = [(island[one.com], island[one.end]) for one in circuit.contacts if island[one.com] != island[one.end]]
    beside: dict[int, list[int]] = {one: [] for one in island}
    for one, two in links:
        beside[one].append(two)
        beside[two].append(one)
    hops = _hops(beside, island[circuit.neutral])
    fixed = {island[circuit.output]: 1.0, island[circuit.line]: 0.0}
    if island[circuit.line] == island[circuit.output]:
        fixed = {island[circuit.line]: 0.5}
    volts = {one: fixed.get(one, 0.5) for one in beside}
    for _ in range(SWEEPS):
        for one, others in beside.items():
            if one not in fixed and others:
                volts[one] = sum(volts[other] for other in others) / len(others)
    return Standings(island, tuple(volts[one] + HOP * hops.get(one, 0) for one in island))


def _islands(circuit: Circuit) -> tuple[int, ...]:
    """Points that windings join have one number, the least of theirs."""
    island = list(range(len(circuit.points)))
    for one in circuit.sections:
        low, high = sorted((island[one.start], island[one.finish]))
        island = [low if here == high else here for here in island]
    return tuple(island)


def _hops(beside: dict[int, list[int]], start: int) -> dict[int, int]:
    """How many contacts lie between a set of joined windings and every other point."""
    found = {start: 0}
    queue = [start]
    for one in queue:
        for other in beside[one]:
            if other not in found:
                found[other] = found[one] + 1
                queue.append(other)
    return found
