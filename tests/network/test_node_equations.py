"""The kinds again from plain node equations: no unions, no loops, only ranks of one matrix.

Unknowns are every point's volts and every core's volts per turn. Rows: a winding's finish less its start is its
turns times its core's volts per turn; closed contacts are equal; neutral is at nought. A quantity is fixed to
nought, or is a multiple of the line's volts, exactly when adding it as a row does not raise the rank.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.network.circuit import Circuit, Closed
from tapplan.network.turns import Gain, Kind, outcome
from tests.examples import circuit, closed_sets, wirings

Rows = list[dict[int, int]]


class NodeEquations:
    def __init__(self, made: Circuit, closed: Closed) -> None:
        self.made, self.closed = made, closed
        self.width = len(made.points) + len(made.cores)
        self.rows: Rows = [{made.neutral: 1}]
        for section in made.sections:
            core = len(made.points) + section.core
            self.rows.append({section.finish: 1, section.start: -1, core: -section.turns})
        for number in closed:
            contact = made.contacts[number]
            self.rows.append({contact.com: 1, contact.end: -1})

    def rank(self, *more: dict[int, int]) -> int:
        matrix = np.zeros((len(self.rows) + len(more), self.width))
        for place, row in enumerate([*self.rows, *more]):
            for unknown, factor in row.items():
                matrix[place, unknown] += factor
        return int(np.linalg.matrix_rank(matrix, tol=1e-7))

    def nought(self, row: dict[int, int], *given: dict[int, int]) -> bool:
        return self.rank(*given, row) == self.rank(*given)

    def joined(self, low: int, high: int, *, windings: bool = True) -> bool:
        links = [(self.made.contacts[n].com, self.made.contacts[n].end) for n in self.closed]
        if windings:
            links += [(section.start, section.finish) for section in self.made.sections]
        seen = {low}
        for _ in self.made.points:
            seen |= {b for a, b in links if a in seen} | {a for a, b in links if b in seen}
        return high in seen

    def kind(self) -> tuple[set[Kind], float | None]:
        """The kinds allowed, and the ratio where there is one."""
        made = self.made
        line, neutral, output = made.terminals
        cores = range(len(made.points), self.width)
        if any(self.nought({core: 1}) for core in cores):
            return {Kind.SHORTED}, None
        fed = self.joined(line, neutral)
        if fed and self.nought({line: 1}):
            return {Kind.SHORTED}, None
        if not fed:
            straight = self.joined(line, output, windings=False)
            return ({Kind.BYPASS}, 1.0) if straight else ({Kind.UNFED}, None)
        if not self.joined(output, neutral):
            return {Kind.FLOATING, Kind.UNDETERMINED}, None
        if not self.nought({output: 1}, {line: 1}):  # not a multiple of the line's volts alone
            return {Kind.UNDETERMINED}, None
        return set(Kind) - {Kind.SHORTED, Kind.BYPASS, Kind.UNFED, Kind.UNDETERMINED, Kind.FLOATING}, self.ratio()

    def ratio(self) -> float:
        made = self.made
        matrix = np.zeros((len(self.rows) + 1, self.width))
        for place, row in enumerate([*self.rows, {made.line: 1}]):
            for unknown, factor in row.items():
                matrix[place, unknown] += factor
        right = np.zeros(len(matrix))
        right[-1] = 1
        solution = np.linalg.lstsq(matrix, right, rcond=None)[0]
        return float(solution[made.output])


@settings(max_examples=400)
@given(st.data())
def test_node_equations_give_the_same_kind_and_ratio(data: st.DataObject) -> None:
    made = circuit(data.draw(st.one_of(wirings(), wirings(cores=2), wirings(cores=3))))
    closed = data.draw(closed_sets(made))
    found = outcome(made, closed)
    kinds, ratio = NodeEquations(made, closed).kind()
    assert found.kind in kinds
    if isinstance(found, Gain):
        assert ratio is not None
        assert float(found.ratio) == pytest.approx(ratio, rel=1e-6, abs=1e-6)
        by_size = {Kind.DEAD: found.ratio == 0, Kind.REVERSED: found.ratio < 0, Kind.BOOST: found.ratio > 1,
                   Kind.BUCK: 0 < found.ratio < 1}  # fmt: skip
        assert by_size.get(found.kind, found.ratio == Fraction(1))
