"""In which column each part of a schematic stands: poles and stacks of windings, from the line on the left.

Two parts that share a point stand in different columns when one of them is nearer to the line; what is left of the
main winding stands as near to it as that allows, and so does what is right of it.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import networkx as nx

from tapplan.network.circuit import Circuit
from tapplan.pictures.schematic_parts import DrawnPole, SchematicParts, Standings

NEAR = 1e-12  # standings closer than this are one
TALLEST = 4  # poles in one column


@dataclass(frozen=True, slots=True)
class Columns:
    """The column of every pole and of every stack; a stack that no contact reaches is loose."""

    poles: tuple[int, ...]
    stacks: tuple[int, ...]
    loose: frozenset[int]

    @property
    def count(self) -> int:
        """How many columns there are."""
        return max((*self.poles, *self.stacks), default=0) + 1


def columns_of(circuit: Circuit, parts: SchematicParts) -> Columns:
    """The columns, none of them empty."""
    poles, stacks, at = parts.poles, parts.stacks, parts.at
    touched = {at.island[point] for one in circuit.contacts for point in (one.com, one.end)}
    touched |= {at.island[point] for point in circuit.terminals}
    loose = frozenset(n for n, one in enumerate(stacks) if n and one.island not in touched)
    order = _order(circuit, parts)
    order.remove_nodes_from([len(poles) + n for n in loose])
    main = len(poles)
    far = nx.descendants(order, main)
    before = {one for one in order if one not in far and _along(circuit, one, parts) < at.along[circuit.neutral]}
    column = _levels(order, main, before)
    for n in sorted(loose):
        column[main + n] = column[main]
    spread = _spread(column, len(poles))
    return Columns(
        tuple(spread[n] for n in range(len(poles))), tuple(spread[main + n] for n in range(len(stacks))), loose
    )


def pole_along(circuit: Circuit, pole: DrawnPole, at: Standings) -> float:
    """Where a pole stands between line and output: half way from its common point to its throws."""
    ends = [at.along[circuit.contacts[n].end] for n in pole.contacts]
    return (at.along[pole.com] + sum(ends) / len(ends)) / 2


def _along(circuit: Circuit, part: int, parts: SchematicParts) -> float:
    """Where a pole, or after the poles a stack, stands."""
    if part < len(parts.poles):
        return pole_along(circuit, parts.poles[part], parts.at)
    return parts.at.along[parts.stacks[part - len(parts.poles)].points[0]]


def _order(circuit: Circuit, parts: SchematicParts) -> nx.DiGraph[int]:
    """An arrow from each part to those of its neighbours that stand farther along."""
    poles, stacks = parts.poles, parts.stacks
    order: nx.DiGraph[int] = nx.DiGraph()
    order.add_nodes_from(range(len(poles) + len(stacks)))
    along = [_along(circuit, part, parts) for part in range(len(poles) + len(stacks))]
    touching: dict[int, list[int]] = {}
    for n, pole in enumerate(poles):
        for point in {pole.com, *(circuit.contacts[one].end for one in pole.contacts)}:
            touching.setdefault(point, []).append(n)
    wound = {point: len(poles) + n for n, one in reversed([*enumerate(stacks)]) for point in one.points}
    for point, members in touching.items():
        if point in wound:
            for part in members:
                low, high = (part, wound[point]) if along[part] < along[wound[point]] - NEAR else (wound[point], part)
                order.add_edge(low, high)
            continue
        for one in members:
            for other in members:
                if along[one] < along[other] - NEAR:
                    order.add_edge(one, other)
    for n, stack in enumerate(stacks[1:], start=1):
        first = min(k for k, other in enumerate(stacks) if other.island == stack.island)
        if first != n:  # a second winding beside the first of the same joined ones
            order.add_edge(len(poles) + first, len(poles) + n)
    return order


def _levels(order: nx.DiGraph[int], main: int, before: set[int]) -> dict[int, int]:
    """Columns counted from the main stack; what leads to it goes down from it, all else up."""
    column = {main: 0}
    for part in reversed([*nx.lexicographical_topological_sort(order)]):
        if part in before:
            column[part] = min((column[one] for one in order.successors(part) if one in column), default=0) - 1
    for part in nx.lexicographical_topological_sort(order):
        if part not in column:
            column[part] = max((column[one] for one in order.predecessors(part) if one in column), default=0) + 1
    return column


def _spread(column: dict[int, int], poles: int) -> dict[int, int]:
    """The same without empty columns, and with no more poles in one than it has height for."""
    found: dict[int, int] = {}
    here = 0
    for level in sorted(set(column.values())):
        members = sorted(part for part, one in column.items() if one == level)
        for place, part in enumerate([one for one in members if one < poles]):
            found[part] = here + place // TALLEST
        stacked = Counter(found[one] for one in members if one in found)
        for part in members:
            if part >= poles:
                found[part] = here
        here += max(len(stacked), 1)
    return found
