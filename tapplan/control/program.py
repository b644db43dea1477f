"""The control table as a program holds it: whole thresholds, coil masks, where to start, in which order to move.

It decides as `lookup.decision` does on a table whose thresholds are at those whole numbers, and a test says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

from tapplan.control.counts import Converter, converter, counted_table
from tapplan.control.lookup import AWAY, decision, marks
from tapplan.control.moves import MOST_MOVERS, Mixtures, Move, safest_order
from tapplan.control.table import ControlTable
from tapplan.errors import UsageError

PER_VOLT = 1000  # readings in millivolts where the file describes no converter


@dataclass(frozen=True, slots=True)
class Program:
    """`holds` are whole readings that keep each row, both included; `coils` a mask for each row and, last, for away.

    Bit n of a mask is relay n of the file. `starts` says where to go from away: up to each reading, both included,
    the row, or `AWAY`. `paths[a][b]` are the masks from row a to row b, one relay at a time where that is safest.
    """

    table: ControlTable
    per_volt: Fraction
    counted: bool
    holds: tuple[tuple[int, int], ...]
    coils: tuple[int, ...]
    starts: tuple[tuple[int, int], ...]
    paths: tuple[tuple[tuple[int, ...], ...], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The rows' names, and that of being away."""
        return (*(row.name for row in self.table.rows), "away")

    def start(self, reading: int) -> int:
        """The row taken at switch-on or on coming back."""
        return next((row for upto, row in self.starts if reading <= upto), AWAY)

    def decided(self, standing: int, reading: int) -> int:
        """The row after one decision."""
        if standing == AWAY:
            return self.start(reading)
        low, high = self.holds[standing]
        if low <= reading <= high:
            return standing
        onward = range(standing + 1, len(self.holds)) if reading > high else range(standing - 1, -1, -1)
        return next((row for row in onward if self.holds[row][0] <= reading <= self.holds[row][1]), AWAY)

    @property
    def thresholds(self) -> list[int]:
        """Every reading at which something begins: the lower ends, and one past the upper ends."""
        found = {low for low, _ in self.holds} | {high + 1 for _, high in self.holds}
        return sorted(found | {upto + 1 for upto, _ in self.starts[:-1]})


def program(table: ControlTable) -> Program:
    """The program of a design that reads its input.

    Raises:
        UsageError: it reads elsewhere, has no bands, or a band is left without a whole reading.
    """
    design = table.design
    if design.sensing.at != "input":
        found = "found a reading elsewhere than at the input, so what is read while away is not known"
        raise UsageError(f'{found}; accepted: at = "input"')
    reading = _reading(table)
    counted = counted_table(table, reading)
    if not table.rows or len(counted.rows) != len(table.rows):
        found = "found no bands, or one that whole counts leave nothing of"
        raise UsageError(f"{found}; accepted: bands of a count or more")
    holds = tuple(
        (int(row.kept.low * reading.per_volt), int(row.kept.high * reading.per_volt)) for row in counted.rows
    )
    away = () if design.backup is None else design.backup.energised
    coils = tuple(mask(table, energised) for energised in (*(row.energised for row in table.rows), away))
    paths = tuple(tuple(_path(table, one, two) for two in coils) for one in coils)
    starts = tuple(_starts(counted, reading))
    return Program(table, reading.per_volt, design.controller is not None, holds, coils, starts, paths)


def _reading(table: ControlTable) -> Converter:
    controller = table.design.controller
    if controller is not None:
        return converter(table.design, controller)
    return Converter(Fraction(PER_VOLT), Fraction(10**9))


def mask(table: ControlTable, energised: tuple[str, ...]) -> int:
    """The relays driven as bits, the first of the file the lowest."""
    return sum(1 << number for number, relay in enumerate(table.circuit.relays) if relay in energised)


def _starts(counted: ControlTable, reading: Converter) -> Iterator[tuple[int, int]]:
    """Runs of whole readings that lead to the same row from away; the last has no end and is away."""
    ends: set[int] = {0}
    for mark in marks(counted):
        ends |= {floor(mark * reading.per_volt), ceil(mark * reading.per_volt), floor(mark * reading.per_volt) + 1}
    ordered = sorted(ends)
    taken = [(one, decision(counted, AWAY, (one / reading.per_volt, 0))) for one in ordered]
    for (_, row), (following, after) in pairwise(taken):
        if row != after:
            yield following - 1, row
    yield 2**31 - 1, taken[-1][1]


def _path(table: ControlTable, one: int, two: int) -> tuple[int, ...]:
    """The masks passed from one to another, in the safest order; all at once where no order is known to be safer."""
    if one == two:
        return ()
    relays = table.circuit.relays
    old, new = (frozenset(relay for n, relay in enumerate(relays) if code >> n & 1) for code in (one, two))
    move = Move("", old, new, None)
    if not 1 < len(move.movers) <= MOST_MOVERS:
        return (two,)
    mixtures = Mixtures(table.circuit)
    rows = {frozenset(row.energised): row.ratio for row in table.rows}
    ends = rows.get(old), rows.get(new)
    if ends[0] is None or ends[1] is None:
        return (two,)
    order = safest_order(mixtures, move, (ends[0], ends[1]))
    found, here = [], one
    for relay in order.relays:
        here ^= 1 << relays.index(relay)
        found.append(here)
    return tuple(found)


def whole_steps(table: ControlTable, per_volt: int) -> tuple[list[tuple[int, int] | None], list[tuple[int, int]]]:
    """Holds and starts for inputs that are whole steps, so many to the volt: exact, nothing is rounded outward.

    A hold that no whole step lies in is None; starts run as in `Program`.
    """
    reading = Converter(Fraction(per_volt), Fraction(10**9))
    holds: list[tuple[int, int] | None] = []
    for row in table.rows:
        hold = row.input_hold
        low, high = (ceil(hold.low * per_volt), floor(hold.high * per_volt)) if hold is not None else (1, 0)
        holds.append((low, high) if low <= high else None)
    return holds, list(_starts(table, reading))
