"""Copper, leakage and iron on the bench: what the file states, else what such stages have.

Unstated figures are spans wide enough for the stages of this trade: a drop in the copper of 0.1 to 12 % at full load,
leakage of up to 5 % and a magnetising current of up to 15 % of the rated one; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from tapplan.bench.ratings import iron_va, rated_va
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.network.circuit import Circuit, Section
from tapplan.network.turns import potentials

COPPER_SHARE = Span(Fraction(1, 1000), Fraction(12, 100))
LEAKAGE_SHARE = Fraction(5, 100)
THIN = 20  # how much more a turn of a winding for signals or coils may have: its wire is thin
SPREAD = Fraction(1, 5)  # of a stated resistance: temperature, wire and alloy


@dataclass(frozen=True)
class KnownCopper:
    """The spans of one design; turns are those of `Section.turns`, in units of the circuit."""

    table: ControlTable

    @property
    def _circuit(self) -> Circuit:
        return self.table.circuit

    @cached_property
    def rated_va(self) -> Span:
        """What the stage is rated for."""
        return rated_va(self.table.design)

    @cached_property
    def rated_ohm(self) -> Span:
        """Nominal volts squared over the rating: the ohms of which the shares are."""
        squared = self.table.design.output.nominal_v**2
        return Span(squared / self.rated_va.high, squared / self.rated_va.low)

    @cached_property
    def whole(self) -> Span:
        """Turns that stand for the nominal volts: the fewest and the most that a band puts on the line."""
        counts = [
            max(abs(one) for one in turns)
            for row in self.table.rows
            if (turns := self._line_turns(frozenset(row.energised))) is not None and any(turns)
        ]
        every = counts or [max((section.turns for section in self._circuit.sections), default=1)]
        return Span(Fraction(min(every)), Fraction(max(every)))

    def _line_turns(self, energised: frozenset[str]) -> tuple[int, ...] | None:
        joined = potentials(self._circuit, self._circuit.state(energised))
        return joined.between(self._circuit.neutral, self._circuit.line)

    @cached_property
    def _main(self) -> frozenset[int]:
        """The points that windings alone join to a terminal: there the wire carries the load."""
        joined = potentials(self._circuit, frozenset())
        live = {joined.part[end] for end in self._circuit.terminals}
        wound = {joined.part[section.start] for section in self._circuit.sections}
        near = {joined.part[c.com] for c in self._circuit.contacts} | {
            joined.part[c.end] for c in self._circuit.contacts
        }
        kept = (live | near) & wound
        return frozenset(point for point, part in enumerate(joined.part) if part in kept)

    @cached_property
    def _known(self) -> dict[Section, Span]:
        return {}

    def ohm(self, section: Section) -> Span:
        """The resistance of a section: as stated within a fifth, else within what its turns make likely."""
        if section not in self._known:
            self._known[section] = self._ohm(section)
        return self._known[section]

    def _ohm(self, section: Section) -> Span:
        if section.resistance_ohm is not None:
            return Span((1 - SPREAD) * section.resistance_ohm, (1 + SPREAD) * section.resistance_ohm)
        share = section.turns / self.whole.high
        low = COPPER_SHARE.low * self.rated_ohm.low * min(share, share**2)
        high = COPPER_SHARE.high * self.rated_ohm.high * section.turns / self.whole.low
        return Span(low, high * (1 if section.start in self._main else THIN))

    @cached_property
    def per_unit(self) -> Span:
        """Volts of one unit of turns at the nominal volts of the line."""
        nominal = self.table.design.mains.nominal_v
        return Span(nominal / self.whole.high, nominal / self.whole.low)

    def leakage(self, section: Section) -> Span:
        """The leakage reactance of a section."""
        stated = {one.name: one.leakage_ohm for one in self.table.design.windings}.get(section.name)
        if stated:
            return Span(stated / 2, stated * 2)
        share = section.turns / self.whole.low
        return Span(Fraction(0), LEAKAGE_SHARE * self.rated_ohm.high * share**2)

    @cached_property
    def siemens(self) -> Fraction:
        """The most magnetising admittance of one unit of turns squared."""
        nominal = self.table.design.mains.nominal_v
        return iron_va(self.table.design).high * (self.whole.high / nominal) ** 2
