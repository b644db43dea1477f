"""A design made ready for logs: its compiled controller, the cells of it, what its counts are held against."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor
from typing import Any

import numpy as np

from tapplan.control.decisions import Decisions, decisions
from tapplan.control.standing import InRow
from tapplan.control.table import ControlTable
from tapplan.replay.cells import ReadingCells, cells_of
from tapplan.replay.segments import INTERVAL
from tapplan.replay.tally import MeanLimits, Tally
from tapplan.replay.volts import Grain, grain_for
from tapplan.replay.zone import Zone

NEAR = Fraction(1, 10)  # of nominal: EN 50160, supply voltage variations, low voltage


@dataclass(frozen=True)
class Machine:
    """A control table and where its logs were taken."""

    table: ControlTable
    made: Decisions
    grain: Grain
    window: MeanLimits
    zone: Zone
    _known: dict[tuple[Fraction, str], ReadingCells] = field(default_factory=dict, repr=False)

    def cells(self, scale: Fraction, kind: np.dtype[Any]) -> ReadingCells:
        """The cells for readings of a stored kind, worth so many volts each."""
        key = (scale, kind.str)
        if key not in self._known:
            self._known[key] = cells_of(self.made, scale, kind)
        return self._known[key]

    @property
    def names(self) -> tuple[str, ...]:
        """The standings by name, being away as the last."""
        return tuple(self.made.named(node.standing) for node in self.made.nodes)

    @property
    def ratios(self) -> tuple[Fraction, ...]:
        """Output over input by standing, 0 where none is given."""
        return tuple(
            (self.table.rows[node.standing.number].ratio or Fraction(0))
            if isinstance(node.standing, InRow)
            else Fraction(0)
            for node in self.made.nodes
        )

    def tally(self) -> Tally:
        """An empty one."""
        return Tally(len(self.made.nodes), self.window)


def machine(table: ControlTable, zone: Zone | None = None) -> Machine:
    """A table made ready."""
    made = decisions(table)
    grain = grain_for(table.design.mains.nominal_v)
    bare = Machine(table, made, grain, MeanLimits(0, 0, (), 0.0, 0.0), zone or Zone())
    return Machine(table, made, grain, _window(table, grain, bare.ratios), bare.zone)


def _window(table: ControlTable, grain: Grain, ratios: tuple[Fraction, ...]) -> MeanLimits:
    """Ten per cent about nominal, squared and times ten minutes."""
    into = [(one * table.design.mains.nominal_v / grain.volts) ** 2 * INTERVAL for one in (1 - NEAR, 1 + NEAR)]
    out = [float((one * table.design.output.nominal_v / grain.volts) ** 2 * INTERVAL) for one in (1 - NEAR, 1 + NEAR)]
    return MeanLimits(ceil(into[0]), floor(into[1]), tuple(float(one * one) for one in ratios), out[0], out[1])
