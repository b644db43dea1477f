"""Direct-current resistance between two points, with the power off: through contacts, or through windings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.bench.defects import SUPPRESSOR_OHM
from tapplan.exact import Span
from tapplan.network.circuit import Across, Circuit, Closed, Contact, Section

CONTACT_OHM = 1e-4  # stands in for a contact of which nothing is stated
FINE = 10**6


@dataclass(frozen=True, slots=True)
class CurrentPath:
    """A way for direct current. `windings`: it leads through windings too; `ohm`: the least and the most it has."""

    windings: bool
    ohm: Span


@dataclass(frozen=True, slots=True)
class _Resistor:
    """A contact or a winding between two points."""

    one: int
    other: int
    ohm: float


def between_ohm(circuit: Circuit, closed: Closed, across: Across, sections: Mapping[str, Span]) -> CurrentPath | None:
    """The way between two points, or None where there is none; `sections` are the ohms that each may have."""
    contacts = [circuit.contacts[number] for number in closed]
    if across.low in _reached(across.high, contacts, ()):
        return CurrentPath(windings=False, ohm=Span(Fraction(0), Fraction(0)))
    near = _reached(across.high, contacts, circuit.sections)
    if across.low not in near:
        return None
    points = sorted(near)
    low, high = (
        _effective(_resistors(circuit, contacts, near, sections, end), points, across) for end in ("low", "high")
    )
    return CurrentPath(windings=True, ohm=Span(low, max(low, high)))


def _resistors(
    circuit: Circuit, contacts: Sequence[Contact], near: set[int], sections: Mapping[str, Span], end: str
) -> list[_Resistor]:
    """The contacts and windings among these points, each with its least or its most ohms."""
    found = [_Resistor(one.com, one.end, float(one.ohm)) for one in contacts if one.com in near]
    for section in circuit.sections:
        if section.start in near and section.start != section.finish:
            span = sections.get(section.name, Span(SUPPRESSOR_OHM / 10, SUPPRESSOR_OHM * 4))
            found.append(_Resistor(section.start, section.finish, float(span.low if end == "low" else span.high)))
    return found


def _reached(start: int, contacts: Sequence[Contact], sections: Sequence[Section]) -> set[int]:
    """The points that these join to one."""
    ends = [(one.com, one.end) for one in contacts] + [(one.start, one.finish) for one in sections]
    found, waiting = {start}, [start]
    while waiting:
        here = waiting.pop()
        for a, b in ends:
            there = b if a == here else a if b == here else None
            if there is not None and there not in found:
                found.add(there)
                waiting.append(there)
    return found


def _effective(resistors: list[_Resistor], points: list[int], across: Across) -> Fraction:
    """Volts across two points when one ampere goes in at one and out at the other (Kirchhoff's laws)."""
    import numpy as np

    place = {point: number for number, point in enumerate(points)}
    matrix = np.zeros((len(points), len(points)))
    for one in resistors:
        i, j = place[one.one], place[one.other]
        siemens = 1 / max(one.ohm, CONTACT_OHM)
        matrix[i, i] += siemens
        matrix[j, j] += siemens
        matrix[i, j] -= siemens
        matrix[j, i] -= siemens
    start, finish = place[across.high], place[across.low]
    kept = [number for number in range(len(points)) if number != finish]
    current = np.zeros(len(points))
    current[start] = 1
    solved = np.linalg.solve(matrix[np.ix_(kept, kept)], current[kept])
    return Fraction(round(float(solved[kept.index(start)]) * FINE), FINE)
