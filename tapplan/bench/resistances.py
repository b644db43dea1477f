"""Direct-current resistance between two points of a stage that is off: through contacts, or through windings."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.network.circuit import Circuit, Closed

CONTACT_OHM = 1e-4  # stands in for a contact of which nothing is stated
FINE = 10**6


@dataclass(frozen=True, slots=True)
class Way:
    """A way for direct current. `windings`: it leads through windings; `ohm` then, None where one is not known."""

    windings: bool
    ohm: Fraction | None


def between_ohm(circuit: Circuit, closed: Closed, ends: tuple[int, int]) -> Way | None:
    """The way between two points, or None where there is none."""
    start, finish = ends
    contacts = [(circuit.contacts[n].com, circuit.contacts[n].end, float(circuit.contacts[n].ohm)) for n in closed]
    if finish in _reached(start, [(a, b) for a, b, _ in contacts]):
        return Way(windings=False, ohm=None)
    wound = [(one.start, one.finish, one.resistance_ohm) for one in circuit.sections if one.start != one.finish]
    near = _reached(start, [(a, b) for a, b, _ in contacts] + [(a, b) for a, b, _ in wound])
    if finish not in near:
        return None
    if any(ohm is None for a, _, ohm in wound if a in near):
        return Way(windings=True, ohm=None)
    edges = [(a, b, max(ohm, CONTACT_OHM)) for a, b, ohm in contacts if a in near]
    edges += [(a, b, max(float(ohm or 0), CONTACT_OHM)) for a, b, ohm in wound if a in near]
    return Way(windings=True, ohm=_effective(edges, sorted(near), ends))


def _reached(start: int, joints: list[tuple[int, int]]) -> set[int]:
    found, waiting = {start}, [start]
    while waiting:
        here = waiting.pop()
        for a, b in joints:
            there = b if a == here else a if b == here else None
            if there is not None and there not in found:
                found.add(there)
                waiting.append(there)
    return found


def _effective(edges: list[tuple[int, int, float]], points: list[int], ends: tuple[int, int]) -> Fraction:
    """Volts between the ends when one ampere goes in at one and out at the other (Kirchhoff's laws)."""
    import numpy as np

    place = {point: number for number, point in enumerate(points)}
    matrix = np.zeros((len(points), len(points)))
    for a, b, ohm in edges:
        i, j = place[a], place[b]
        matrix[i, i] += 1 / ohm
        matrix[j, j] += 1 / ohm
        matrix[i, j] -= 1 / ohm
        matrix[j, i] -= 1 / ohm
    start, finish = place[ends[0]], place[ends[1]]
    kept = [number for number in range(len(points)) if number != finish]
    current = np.zeros(len(points))
    current[start] = 1
    solved = np.linalg.solve(matrix[np.ix_(kept, kept)], current[kept])
    return Fraction(round(float(solved[kept.index(start)]) * FINE), FINE)
