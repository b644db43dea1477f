"""Every voltage and current of many relay states at once: complex, linear, batched in numpy.

The unknowns of one state are the points' volts, the currents of windings and contacts, the volts per turn of each
core, and the line current. Winding from start to finish with turns N, impedance z and current J:
V(finish) - V(start) = N u - z J; on each core sum(N J) = -y u, with y the magnetising admittance per turn squared
(0: an ideal core); currents balance in every point. An open contact carries nothing; a closed one obeys Ohm's law.

A network is linear in two things: the volts at the line and the current drawn at the output. Both are solved for,
so that any load at any input follows without another solve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Complex
from tapplan.design.model import Design
from tapplan.network.circuit import Across, Circuit, Closed
from tapplan.network.excited import cores_on, excited_from
from tapplan.network.spaces import holds
from tapplan.network.turns import potentials, shorts_turns

# What stands in for nothing, so that parallel contacts share a current and a free point stands still: far below what
# shows in any answer, far above what double precision loses.
LEAST_OHM = 1e-6
LEAST_SIEMENS = 1e-12
# What a core takes, per turn squared, that nothing drives. With next to nothing, a winding of it that hangs on a live
# point by one end, and by the other on air, would share that point's volts with the air's own leak.
IDLE_SIEMENS = 1.0


@dataclass(frozen=True, slots=True)
class Impedances:
    """Ohms of each section and contact, and siemens per turn squared of each core, in the circuit's order."""

    sections: tuple[complex, ...]
    contacts: tuple[float, ...]
    cores: tuple[complex, ...]


def stated_impedances(design: Design, circuit: Circuit) -> Impedances:
    """What the file states: resistance (or wire) and leakage of windings, resistance of contacts; ideal cores."""
    resistances = [float(section.resistance_ohm or 0) for section in circuit.sections]
    return Impedances(
        tuple(complex(r, float(one.leakage_ohm)) for r, one in zip(resistances, design.windings, strict=True)),
        tuple(float(contact.ohm) for contact in circuit.contacts),
        tuple(0j for _ in circuit.cores),
    )


@dataclass(frozen=True, slots=True)
class Flow:
    """The answers, first axis the state, second axis the cause: 1 V at the line, or 1 A drawn at the output.

    `points` volts, `sections` and `contacts` ampere (from start to finish, from common to throw), `line` ampere
    into the inlet, `per_turn` volts per turn of each core.
    """

    points: Complex
    sections: Complex
    contacts: Complex
    line: Complex
    per_turn: Complex

    def of(self, places: slice) -> Flow:
        """The answers of some of the states."""
        return Flow(
            self.points[places],
            self.sections[places],
            self.contacts[places],
            self.line[places],
            self.per_turn[places],
        )

    def output(self, circuit: Circuit) -> Complex:
        """Volts at the output against neutral: by the line, and (negative) by the load's own current."""
        return self.points[:, :, circuit.output]


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where each kind of unknown begins."""

    sections: int
    contacts: int
    cores: int
    line: int

    @property
    def count(self) -> int:
        return self.line + 1


def flows(
    circuit: Circuit,
    states: Sequence[Closed],
    impedances: Impedances | Sequence[Impedances],
    between: Across | None = None,
) -> Flow:
    """The linear answers of these states; memory and time grow with states times unknowns squared and cubed.

    Impedances are those of all states, or one for each state.

    `between` puts the source across two other points, and leaves the line open. A shorted state
    is solved too, limited by the impedances given; where turns are shorted without any, by `LEAST_OHM`, and then
    the figures mean nothing.
    """
    columns = _columns(circuit)
    each = [impedances] * len(states) if isinstance(impedances, Impedances) else list(impedances)
    common, source = _common(circuit, columns), between or Across(circuit.line, circuit.neutral)
    _set_source(common, source, columns)
    common[circuit.neutral, :] = 0
    common[circuit.neutral, circuit.neutral] = 1
    matrix = np.repeat(common[np.newaxis], len(states), axis=0)
    drives = _Drives(circuit, source)
    for place, closed in enumerate(states):
        _set_impedances(matrix[place], circuit, each[place], columns)
        _set_idle_cores(matrix[place], circuit, drives.idle(closed), columns)
        _open_contacts(matrix[place], circuit, closed, columns)
    causes = np.zeros((columns.count, 2), dtype=np.complex128)
    causes[columns.line, 0] = 1
    causes[circuit.output, 1] = -1
    solved = np.linalg.solve(matrix, np.broadcast_to(causes, (len(states), *causes.shape)))
    by_cause = np.asarray(np.swapaxes(solved, 1, 2), dtype=np.complex128)
    per_unit = by_cause[:, :, columns.cores : columns.line]
    return Flow(
        by_cause[:, :, : columns.sections],
        by_cause[:, :, columns.sections : columns.contacts],
        by_cause[:, :, columns.contacts : columns.cores],
        by_cause[:, :, columns.line],
        np.divide(per_unit, complex(circuit.turn_unit)),
    )


def _columns(circuit: Circuit) -> _Columns:
    points = len(circuit.points)
    contacts = points + len(circuit.sections)
    cores = contacts + len(circuit.contacts)
    return _Columns(points, contacts, cores, cores + len(circuit.cores))


def _common(circuit: Circuit, columns: _Columns) -> Complex:
    """The rows that all states share: one a point (balance), one a section, one a core, one a closed contact.

    A section that ends where it begins is a loop of its own, joined to nothing.
    """
    matrix = np.zeros((columns.count, columns.count), dtype=np.complex128)
    for point in range(len(circuit.points)):
        matrix[point, point] = LEAST_SIEMENS
    for number, section in enumerate(circuit.sections):
        current, core = columns.sections + number, columns.cores + section.core
        matrix[section.start, current] += 1
        matrix[section.finish, current] -= 1
        matrix[current, section.finish] += 1
        matrix[current, section.start] -= 1
        matrix[current, core] = -section.turns
        matrix[core, current] = section.turns
    for number, contact in enumerate(circuit.contacts):
        current = columns.contacts + number
        matrix[contact.com, current] += 1
        matrix[contact.end, current] -= 1
        matrix[current, contact.com], matrix[current, contact.end] = 1, -1
    return matrix


def _set_impedances(matrix: Complex, circuit: Circuit, impedances: Impedances, columns: _Columns) -> None:
    for number, ohm in enumerate(impedances.sections):
        matrix[columns.sections + number, columns.sections + number] = ohm or LEAST_OHM
    for number, contact_ohm in enumerate(impedances.contacts):
        matrix[columns.contacts + number, columns.contacts + number] = -(contact_ohm or LEAST_OHM)
    for number, admittance in enumerate(impedances.cores):
        core = columns.cores + number
        matrix[core, core] = admittance / float(circuit.turn_unit) ** 2 + LEAST_SIEMENS


class _Drives:
    """What drives the cores of a circuit: the source, and the load's current, each across two points."""

    def __init__(self, circuit: Circuit, source: Across) -> None:
        self._circuit = circuit
        self._across = (source, Across(circuit.output, circuit.neutral))
        self._wound = potentials(circuit, frozenset()).part

    def idle(self, closed: Closed) -> frozenset[int]:
        """The cores that neither of them drives, by no loop either.

        Where something is shorted, resistances drive what turns alone do not: then only a core that no loop touches.
        """
        cores = frozenset(range(len(self._circuit.cores)))
        if len(cores) == 1 and self._joined(closed):
            return frozenset()
        found = potentials(self._circuit, closed)
        driving, drawing = (found.between(pair.low, pair.high) for pair in self._across)
        driven = frozenset([*cores_on(driving), *cores_on(drawing)])
        if shorts_turns(found) or (driving is not None and holds(found.loops, driving)):
            return cores - driven - {core for row in found.loops for core, entry in enumerate(row) if entry}
        return cores - excited_from(self._circuit, found, driven)

    def _joined(self, closed: Closed) -> bool:
        """Whether the source's ends are joined, which for one core says all; much quicker than asking for turns."""
        parts = {part: part for part in self._wound}

        def of(point: int) -> int:
            part = self._wound[point]
            while parts[part] != part:
                part = parts[part]
            return part

        for number in closed:
            contact = self._circuit.contacts[number]
            parts[of(contact.com)] = of(contact.end)
        return of(self._across[0].high) == of(self._across[0].low)


def _set_idle_cores(matrix: Complex, circuit: Circuit, idle: frozenset[int], columns: _Columns) -> None:
    for number in idle:
        core = columns.cores + number
        matrix[core, core] += IDLE_SIEMENS / float(circuit.turn_unit) ** 2


def _set_source(matrix: Complex, between: Across, columns: _Columns) -> None:
    """The source's row and its current, which enters at the first point and leaves at the second."""
    high, low = between.high, between.low
    matrix[high, columns.line] = -1
    matrix[low, columns.line] = 1
    matrix[columns.line, high] = 1
    matrix[columns.line, low] = -1


def _open_contacts(matrix: Complex, circuit: Circuit, closed: Closed, columns: _Columns) -> None:
    """Contacts that are not closed carry nothing, whatever stands across them."""
    for number, contact in enumerate(circuit.contacts):
        if number not in closed:
            row = columns.contacts + number
            matrix[row, contact.com] = matrix[row, contact.end] = 0
            matrix[row, row] = 1
