"""Which cores something drives, exactly: a core that no loop ties to a driven one has no volts per turn.

Its windings are mere wire then. Turns alone do not say so, for they leave its volts per turn open.
"""

from __future__ import annotations

from collections.abc import Iterable

from tapplan.network.circuit import Circuit
from tapplan.network.spaces import LoopSpace, Vector, extended
from tapplan.network.turns import Potentials


def axis(circuit: Circuit, core: int) -> Vector:
    """One turn of one core."""
    return tuple(int(number == core) for number in range(len(circuit.cores)))


def cores_on(turns: Vector | None) -> list[int]:
    """The cores on which a way between two points has turns; none where there is no way."""
    return [] if turns is None else [number for number, entry in enumerate(turns) if entry]


def settled(circuit: Circuit, found: Potentials, excited: frozenset[int]) -> LoopSpace:
    """The loops, and one direction more for every core that nothing excites: its turns have no volts."""
    known = found.loops
    for other in range(len(circuit.cores)):
        if other not in excited:
            known = extended(known, axis(circuit, other))
    return known


def excited_from(circuit: Circuit, found: Potentials, cores: Iterable[int]) -> frozenset[int]:
    """These driven cores and all that share a loop with them, or with such a core; the load closes a loop as well."""
    load = found.between(circuit.neutral, circuit.output)
    reached, waiting = set(cores), [*found.loops, *([] if load is None else [load])]
    while sharing := [row for row in waiting if any(row[number] for number in reached)]:
        reached |= {number for row in sharing for number, entry in enumerate(row) if entry}
        waiting = [row for row in waiting if row not in sharing]
    return frozenset(reached)
