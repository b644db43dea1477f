"""The ratio under load: ideal cores, resistive windings and contacts, a resistive load; exact.

The unknowns are the points' volts for 1 V at the line, the currents of windings and contacts, and the volts
per turn of each core. Equations: each winding and contact obeys Ohm's law, currents balance in every point,
and ampere turns balance on every core (the magnetising current is left out).

The load is the resistance nominal_v**2 / load_va, whatever its power factor: behind a resistive source no
load of the same impedance pulls the output lower, since |Z + R| <= |Z| + R. The full-load ratio is therefore
a safe lower end.
"""

from __future__ import annotations

from fractions import Fraction

from tapplan.network.circuit import Circuit, Closed
from tapplan.network.turns import potentials

_Equation = dict[int, Fraction]  # coefficient by unknown; the right-hand side stands at _CONSTANT
_CONSTANT = -1
_DIFFERENCE = -2  # the unknown that is the volts between the points sensed


def has_resistance(circuit: Circuit) -> bool:
    """Whether any winding or contact states a resistance, so that a load changes the output."""
    return any(section.resistance_ohm for section in circuit.sections) or any(
        contact.ohm for contact in circuit.contacts
    )


def loaded_ratio(circuit: Circuit, closed: Closed, load_ohm: Fraction) -> Fraction | None:
    """Output over line with the load connected, or None when the equations do not fix it.

    Resistances not stated count as zero. Work grows with the cube of windings and contacts at worst.
    """
    unknowns = _Unknowns(circuit, closed)
    return _solved(unknowns.equations(load_ohm), unknowns.volts(circuit.output))


def loaded_sensed(circuit: Circuit, closed: Closed, load_ohm: Fraction) -> Fraction | None:
    """What the pair of points sensed reads over line with the load connected, or None when nothing fixes it.

    Points of a winding that hangs in the air have no volts of their own; their difference has.
    """
    if circuit.sensed is None:
        raise ValueError("this circuit senses its input or its output, not a pair of points")
    unknowns = _Unknowns(circuit, closed)
    high, low = (unknowns.volts(point) for point in circuit.sensed.points)
    if high == low:
        return Fraction(0)
    between = _sum({_DIFFERENCE: Fraction(1)}, {high: Fraction(-1)}, {low: Fraction(1)})
    return _solved([*unknowns.equations(load_ohm), between], _DIFFERENCE)


class _Unknowns:
    """The unknowns of one state, numbered, and the equations between them.

    Points joined by contacts without resistance are one node; neutral's node is at 0 V, the line's at 1 V.
    """

    def __init__(self, circuit: Circuit, closed: Closed) -> None:
        self._circuit = circuit
        plain = frozenset(number for number in closed if not circuit.contacts[number].ohm)
        self._node = potentials(circuit, plain, windings=False).part
        resistive = sorted(closed - plain)
        self._contacts = [circuit.contacts[number] for number in resistive]
        nodes = sorted(set(self._node))
        self._volts = {node: number for number, node in enumerate(nodes)}
        self._first_current = len(nodes)
        self._first_core = self._first_current + len(circuit.sections) + len(self._contacts)
        self._line_current = self._first_core + len(circuit.cores)

    def volts(self, point: int) -> int:
        """The number of the unknown that is this point's volts."""
        return self._volts[self._node[point]]

    def equations(self, load_ohm: Fraction) -> list[_Equation]:
        circuit, one = self._circuit, Fraction(1)
        balance: dict[int, _Equation] = {number: {} for number in self._volts.values()}
        cores: list[_Equation] = [{} for _ in circuit.cores]
        rows: list[_Equation] = []
        for number, section in enumerate(circuit.sections):
            current, turns = self._first_current + number, Fraction(section.turns)
            low, high = self.volts(section.start), self.volts(section.finish)
            drop = {self._first_core + section.core: -turns, current: section.resistance_ohm or Fraction(0)}
            rows.append(_sum({high: one}, {low: -one}, drop))
            cores[section.core][current] = turns
            _flow(balance, low, high, current)
        for number, contact in enumerate(self._contacts):
            current = self._first_current + len(circuit.sections) + number
            low, high = self.volts(contact.com), self.volts(contact.end)
            rows.append(_sum({high: one}, {low: -one}, {current: contact.ohm}))
            _flow(balance, low, high, current)
        line, neutral, output = (self.volts(point) for point in circuit.terminals)
        balance[output] = _sum(balance[output], {output: one / load_ohm, neutral: -one / load_ohm})
        balance[line] = _sum(balance[line], {self._line_current: -one})
        del balance[neutral]  # it says what all the others together say
        return [{line: one, _CONSTANT: one}, {neutral: one}, *rows, *cores, *balance.values()]


def _flow(balance: dict[int, _Equation], low: int, high: int, current: int) -> None:
    """Adds a current that leaves node `low` and enters node `high`."""
    balance[low] = _sum(balance[low], {current: Fraction(1)})
    balance[high] = _sum(balance[high], {current: Fraction(-1)})


def _sum(*parts: _Equation) -> _Equation:
    total: _Equation = {}
    for part in parts:
        for unknown, factor in part.items():
            total[unknown] = total.get(unknown, Fraction(0)) + factor
    return {unknown: factor for unknown, factor in total.items() if factor}


def _solved(equations: list[_Equation], wanted: int) -> Fraction | None:
    """The value of one unknown by elimination, the sparsest equation first; None when it is not fixed."""
    waiting = [equation for equation in equations if equation]
    while waiting:
        waiting.sort(key=len)
        row = waiting.pop(0)
        unknown = next((name for name in row if name not in (_CONSTANT, wanted)), None)
        if unknown is None:
            if wanted not in row:
                return None
            return row.get(_CONSTANT, Fraction(0)) / row[wanted]
        factor = row[unknown]
        waiting = [
            reduced
            for other in waiting
            if (reduced := _eliminated(other, row, unknown, factor) if unknown in other else other)
        ]
    return None


def _eliminated(other: _Equation, equation: _Equation, unknown: int, factor: Fraction) -> _Equation:
    scale = -other[unknown] / factor
    return _sum(other, {name: scale * value for name, value in equation.items()})
