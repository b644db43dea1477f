"""What relays went through in a log, and how long their contacts would last at that rate."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.replay.clock import DAY
from tapplan.replay.machine import Machine
from tapplan.replay.tally import Tally

YEAR_DAYS = 365


@dataclass(frozen=True, slots=True)
class Worn:
    """One relay: its coil changes, how many a day, and the years its endurance lasts; None where nothing tells.

    A coil change moves the contacts once and counts as one of the operations of `endurance`. In the words of
    IEC 61810-2 (from memory) a cycle is one operation and one release: of an endurance given in cycles, twice the
    years remain.
    """

    relay: str
    moves: int
    a_day: float | None
    endurance: Fraction | None
    years: float | None


def moves_of(machine: Machine, tally: Tally) -> dict[str, int]:
    """How often each relay's coil changed."""
    table = machine.table
    driven = [frozenset(row.energised) for row in table.rows] + [frozenset(table.away.state.energised)]
    return {
        relay: sum(
            int(tally.changes[before, after])
            for before, one in enumerate(driven)
            for after, other in enumerate(driven)
            if relay in one ^ other
        )
        for relay in table.circuit.relays
    }


def worn(machine: Machine, tally: Tally) -> list[Worn]:
    """Every relay, in the order of the file; the time in gaps tells nothing and is left out."""
    observed = int(tally.lasting.sum())
    endurance = {one.name: one.endurance for one in machine.table.design.relays}
    return [
        Worn(relay, count, _a_day(count, observed), endurance[relay], _years(endurance[relay], count, observed))
        for relay, count in moves_of(machine, tally).items()
    ]


def _a_day(count: int, observed: int) -> float | None:
    return count * DAY / observed if observed else None


def _years(endurance: Fraction | None, count: int, observed: int) -> float | None:
    if endurance is None or not count:
        return None
    return float(endurance * observed / count / DAY / YEAR_DAYS)
