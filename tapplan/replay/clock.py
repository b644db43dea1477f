"""The controller's durations on the clock of a log: whole microseconds, those between two of them rounded up."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from tapplan.control.commands import commands
from tapplan.control.decisions import Decisions, Node
from tapplan.control.moves import Mixtures, move_between
from tapplan.control.standing import InRow, Standing
from tapplan.control.table import ControlTable

SECOND = 1_000_000
MINUTE, HOUR, DAY = 60 * SECOND, 3600 * SECOND, 86_400 * SECOND


def micros(milliseconds: Fraction) -> int:
    """A duration of the controller in whole microseconds."""
    return ceil(milliseconds * 1000)


def seconds(micro: int) -> Fraction:
    """A time of a log in seconds."""
    return Fraction(micro, SECOND)


@dataclass(frozen=True, slots=True)
class Pace:
    """How long the controller takes: `busy[a][b]` from a decision in standing a until readings count again in b.

    Standings are numbered as the nodes of the compiled controller are. `shortest` is the least of a change that moves
    a relay, None where none does. In microseconds.
    """

    busy: tuple[tuple[int, ...], ...]
    shortest: int | None


def pace_of(made: Decisions) -> Pace:
    """The time each change takes that some reading leads to: relays at their slowest, pauses and blanking too."""
    mixtures = Mixtures(made.table.circuit)
    busy, moving = [[0] * len(made.nodes) for _ in made.nodes], []
    for start, node in enumerate(made.nodes):
        for answer in dict.fromkeys(node.answers):
            if answer != node.standing:
                move = move_between(made.table, node.standing, answer)
                taken = micros(commands(made.table, mixtures, move).decides_ms)
                busy[start][number_of(made, answer)] = taken
                moving += [taken] if move.movers else []
    return Pace(tuple(map(tuple, busy)), min(moving, default=None))


def number_of(made: Decisions, standing: Standing) -> int:
    """The number of a standing: of a row as in the table, then being away."""
    return standing.number if isinstance(standing, InRow) else len(made.nodes) - 1


def wait_us(table: ControlTable, node: Node, *, upward: bool) -> int:
    """How long readings must not keep a standing until it is left: by their side of the hold; away, as stated."""
    if not isinstance(node.standing, InRow):
        backup = table.design.backup
        return 0 if backup is None else micros(backup.return_after_ms)
    return micros(table.design.sensing.confirmation_ms(upward=upward))


def median_of(counts: dict[int, int]) -> int:
    """The median of distances given as how often each occurs, half a microsecond cut off; 0 of none."""
    total = sum(counts.values())
    if not total:
        return 0
    middle, passed, found = ((total - 1) // 2, total // 2), 0, []
    for value, count in sorted(counts.items()):
        found += [value for at in middle if passed <= at < passed + count]
        passed += count
    return sum(found) // 2
