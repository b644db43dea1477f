"""The controller's times under ticks: a wait ends at the first call at its end or after it.

`at_ticks` is a design with its times as they then are at the latest, so that whatever judges a design judges that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from tapplan.control.program import Passing, Program
from tapplan.control.table import ControlTable


@dataclass(frozen=True, slots=True)
class Time:
    """A time that the controller keeps: its key, and the ms that the design states or implies."""

    key: str
    ms: Fraction

    def acts_ms(self, tick_ms: int) -> int:
        """What it is at such a tick: whole ms, then whole ticks, each rounded up."""
        return -(-ceil(self.ms) // tick_ms) * tick_ms


def times(made: Program) -> list[Time]:
    """Confirmation, return, pauses between coils, each once; those of no time are left out."""
    sensing, backup = made.table.design.sensing, made.table.design.backup
    found = [
        Time("confirm_up_ms", sensing.confirmation_ms(upward=True)),
        Time("confirm_down_ms", sensing.confirmation_ms(upward=False)),
    ]
    if sensing.confirm_up_ms is None and sensing.confirm_down_ms is None:
        found = [Time("confirm_ms", sensing.confirm_ms)]
    found += [Time("return_after_ms", Fraction(0) if backup is None else backup.return_after_ms)]
    found += [Time("pause_ms", wait) for wait in sorted({wait for one in _moves(made) for wait in one.waits_ms[:-1]})]
    return [one for one in found if one.ms > 0]


def settlings(made: Program) -> list[Time]:
    """How long readings do not count after the last coil of a move, each once."""
    return [Time("settling", wait) for wait in sorted({one.waits_ms[-1] for one in _moves(made)}) if wait > 0]


def _moves(made: Program) -> Iterator[Passing]:
    yield from made.passings.values()
    yield from made.retreats


def at_ticks(made: Program, tick_ms: int) -> ControlTable:
    """The table with its times as they are at the latest with a call each tick.

    A reading is seen up to a tick late, which counts with the confirmation; the longest pause and the longest
    settling, both in whole ticks, stand for all.
    """
    design, late = made.table.design, Fraction(tick_ms)

    def acts(ms: Fraction) -> Fraction:
        return Fraction(Time("", ms).acts_ms(tick_ms))

    sensing = replace(
        design.sensing,
        confirm_up_ms=acts(design.sensing.confirmation_ms(upward=True)) + late,
        confirm_down_ms=acts(design.sensing.confirmation_ms(upward=False)) + late,
    )
    backup = design.backup
    if backup is not None:
        backup = replace(backup, return_after_ms=acts(backup.return_after_ms) + late)
    pauses = [one.ms for one in times(made) if one.key == "pause_ms"]
    settled = max((one.ms for one in settlings(made)), default=Fraction(0))
    sequence = replace(
        design.sequence,
        pause_ms=acts(max(pauses)) if pauses else design.sequence.pause_ms,
        blank_ms=max(acts(settled), design.sequence.blank_ms),
    )
    return replace(made.table, design=replace(design, sensing=sensing, backup=backup, sequence=sequence))
