"""The literal judge of `tests.outside.rule`, handed the plain facts of a table: in volts, and in whole readings."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor

from tapplan.control.table import ControlTable
from tapplan.design.model import Relay
from tests.outside.rule import Row, Table, decide
from tests.outside.stage import AWAY

F = Fraction
PER_VOLT = F(1000)
"""Whole readings to the volt sensed where a design has no [controller]: millivolts."""

FORMS = {"rms": F(1), "average": F(900_316_316_157, 10**12), "peak": F(1_414_213_562_373, 10**12)}
"""What a detector makes of one volt RMS of a sine, to 12 decimals."""


def judged(table: ControlTable) -> Table:
    """The table as the format's rules see it: ratios and readings without load, holds as written."""
    rows = [Row(row.name, row.ratio, row.sensed, (row.hold.low, row.hold.high)) for row in table.rows]
    backup = table.design.backup
    return Table(
        rows=tuple(rows),
        at_input=table.design.sensing.at == "input",
        nominal=table.design.output.nominal_v,
        away_sensed=table.away.sensed,
        leave=None if backup is None else backup.leave_v,
        back=None if backup is None else backup.return_v,
    )


def per_volt(table: ControlTable) -> Fraction:
    """Whole readings to one volt sensed: counts of the converter where there is one."""
    controller = table.design.controller
    if controller is None:
        return PER_VOLT
    upper, lower = controller.divider_ohm
    form = FORMS[table.design.sensing.detector]
    return 2**controller.bits * lower / (upper + lower) * form / controller.reference_v


def in_whole(table: Table, scale: Fraction) -> Table:
    """The same with its thresholds at whole readings, so many to the volt sensed.

    Ends between bands go inward, the two outermost outward; the return from the backup goes inward, unless nothing is
    left of it.
    """
    down, up = (lambda volts: floor(volts * scale) / scale), (lambda volts: ceil(volts * scale) / scale)
    last = len(table.rows) - 1
    rows = [
        replace(row, hold=(down(low) if place == 0 else up(low), up(high) if place == last else down(high)))
        for place, (row, (low, high)) in enumerate(zip(table.rows, table.holds, strict=True))
    ]
    back = table.back
    if back is not None and up(back[0]) < down(back[1]):
        back = up(back[0]), down(back[1])
    return replace(table, rows=tuple(rows), leave=None, back=back)


def marks(table: Table) -> list[Fraction]:
    """Every reading at which a decision can change: ends of holds, in their row and away; the return; ties."""
    found = {end for hold in table.holds for end in hold} | {*(table.back or ())}
    for row, hold in zip(table.rows, table.holds, strict=True):
        found |= {end * table.away_sensed / row.sensed for end in hold}
        found |= {2 * table.nominal * table.away_sensed / (row.ratio + other.ratio) for other in table.rows}
    return sorted(found)


def standings(table: Table) -> list[str]:
    """The rows by rising input, then away."""
    return [*(row.name for row in table.rows), AWAY]


def changes(table: Table, scale: Fraction) -> set[tuple[str, str]]:
    """Every change of standing that some whole reading brings about."""
    near = {max(floor(mark * scale) + step, 0) for mark in marks(table) for step in (-1, 0, 1, 2)}
    pairs = {(one, decide(table, one, reading / scale)) for one in standings(table) for reading in near}
    return {pair for pair in pairs if pair[0] != pair[1]}


def searched(firsts: list[int], answers: list[str], reading: int) -> str:
    """The answer whose stretch holds a reading; each but the first begins at its own."""
    return answers[bisect_right(firsts, reading)]


def latest(relay: Relay, *, driven: bool) -> Fraction:
    """The most that a relay can take to come to rest, in ms; by default 15 to operate, 10 to release, and 10 + 5."""
    stated = relay.operate_ms if driven else relay.release_ms
    acts = stated[1] if stated else F(15 if driven else 10)
    return acts + (relay.transfer_ms[1] if relay.transfer_ms else 10) + (relay.bounce_ms[1] if relay.bounce_ms else 5)
