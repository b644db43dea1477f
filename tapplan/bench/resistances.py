"""Direct-current resistance between two points, with the power off: through contacts, or through windings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
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
    """A contact or a winding between two points, with the least and the most ohms it may have."""

    one: int
    other: int
    ohms: tuple[float, float]


def between_ohm(circuit: Circuit, closed: Closed, across: Across, sections: Mapping[str, Span]) -> CurrentPath | None:
    """The way between two points, or None where there is none; `sections` are the ohms that each may have."""
    contacts = [circuit.contacts[number] for number in closed]
    if across.low in _reached(across.high, contacts, ()):
        return CurrentPath(windings=False, ohm=Span(Fraction(0), Fraction(0)))
    near = _reached(across.high, contacts, circuit.sections)
    if across.low not in near:
        return None
    low, high = _effective(list(_resistors(circuit, contacts, near, sections)), sorted(near), across)
    return CurrentPath(windings=True, ohm=Span(low, max(low, high)))


def _resistors(
    circuit: Circuit, contacts: Sequence[Contact], near: set[int], sections: Mapping[str, Span]
) -> Iterator[_Resistor]:
    """The contacts and windings among these points."""
    for contact in contacts:
        if contact.com in near:
            ohm = float(contact.ohm)
            yield _Resistor(contact.com, contact.end, (ohm, ohm))
    for section in circuit.sections:
        if section.start in near and section.start != section.finish:
            span = sections.get(section.name, Span(SUPPRESSOR_OHM / 10, SUPPRESSOR_OHM * 4))
            yield _Resistor(section.start, section.finish, (float(span.low), float(span.high)))


def _reached(start: int, contacts: Sequence[Contact], sections: Sequence[Section]) -> set[int]:
    """The points that these join to one."""
    beside: dict[int, list[int]] = {}
    for a, b in [*((one.com, one.end) for one in contacts), *((one.start, one.finish) for one in sections)]:
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    found, waiting = {start}, [start]
    while waiting:
        for there in beside.get(waiting.pop(), ()):
            if there not in found:
                found.add(there)
                waiting.append(there)
    return found


def _effective(resistors: list[_Resistor], points: list[int], across: Across) -> tuple[Fraction, Fraction]:
    """Volts across two points when one ampere goes in at one and out at the other (Kirchhoff's laws).

    With the least ohms of each, and with the most.
    """
    import numpy as np

    place = {point: number for number, point in enumerate(points)}
    matrix = np.zeros((2, len(points), len(points)))
    ends = [(place[one.one], place[one.other]) for one in resistors]
    for side, laid in enumerate(matrix):
        for (i, j), one in zip(ends, resistors, strict=True):
            siemens = 1 / max(one.ohms[side], CONTACT_OHM)
            laid[i, i] += siemens
            laid[j, j] += siemens
            laid[i, j] -= siemens
            laid[j, i] -= siemens
    start, finish = place[across.high], place[across.low]
    kept = np.array([number for number in range(len(points)) if number != finish])
    current = np.zeros((len(points), 1))
    current[start] = 1
    solved = np.linalg.solve(matrix[:, kept[:, np.newaxis], kept], current[kept])
    at = start - (start > finish)
    least, most = (Fraction(round(float(one[at, 0]) * FINE), FINE) for one in solved)
    return least, most
