"""The compiled controller as a program holds it: whole readings, coil masks, and in which order to move.

Thresholds are rounded to the safe side first (`counts`), the table compiled, and its marks given as whole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import floor

from tapplan.control.commands import Commands, commands
from tapplan.control.counts import Converter, converter, counted_table
from tapplan.control.decisions import WholeNode, decisions
from tapplan.control.moves import Mixtures, energised_in, move_between, order_of, transitions
from tapplan.control.standing import AWAY, REST, Change, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.errors import UsageError
from tapplan.network.turns import Kind

PER_VOLT = 1000  # readings in millivolts where the file describes no converter
MOST_COILS = 32
MOST_READING = 2**31 - 1


@dataclass(frozen=True, slots=True)
class Passing:
    """The masks from one standing to another, the last the one that stays, and the ms after each before the next.

    `decides_ms` pass from the first mask until readings count again.
    """

    masks: tuple[int, ...]
    waits_ms: tuple[Fraction, ...]
    decides_ms: Fraction


@dataclass(frozen=True, slots=True)
class Program:
    """A node for each standing, rows in order and being away last, by whole readings, `per_volt` to the volt sensed.

    `coils` are masks in the order of the nodes: bit n is relay n of the file. `passings` are there for every move the
    controller can make. `retreats` lead to away from each row, whatever its readings, and last from rest: what a
    controller does whose reading cannot be, and at switch-on. `most_reading` is the highest that a converter without
    an error can give of a sine; None without a converter.
    """

    table: ControlTable
    per_volt: Fraction
    counted: bool
    standings: tuple[Standing, ...]
    nodes: tuple[WholeNode, ...]
    coils: tuple[int, ...]
    passings: dict[Change, Passing]
    retreats: tuple[Passing, ...]
    most_reading: int | None

    @property
    def names(self) -> tuple[str, ...]:
        """The rows' names, and that of being away."""
        return (*(row.name for row in self.table.rows), AWAY.value)

    def number(self, standing: Standing) -> int:
        """The place of a standing among the nodes."""
        return standing.number if isinstance(standing, InRow) else len(self.nodes) - 1

    def decided(self, standing: Standing, reading: int) -> Standing:
        """The standing after one decision."""
        return self.nodes[self.number(standing)].answer(reading)

    def step(self, start: Standing, end: Standing) -> Passing:
        """How to come from one standing to another; at once where the controller never makes that move."""
        at_once = Passing((self.coils[self.number(end)],), (Fraction(0),), Fraction(0))
        return self.passings.get(Change(start, end), at_once)

    @property
    def paths(self) -> dict[Change, tuple[int, ...]]:
        """The masks of every move the controller can make."""
        return {change: one.masks for change, one in self.passings.items()}

    @property
    def thresholds(self) -> list[int]:
        """Every reading at which some answer begins."""
        return sorted({first for node in self.nodes for first in node.firsts})


def program(table: ControlTable) -> Program:
    """The program of a design.

    Raises:
        UsageError: it has no bands, or a band is left without a whole reading.
    """
    reading = _reading(table)
    counted = counted_table(table, reading)
    if not table.rows or len(counted.rows) != len(table.rows):
        found = "found no bands, or one that whole counts leave nothing of"
        raise UsageError(f"{found}; accepted: bands of a count or more")
    made = decisions(counted)
    mixtures = Mixtures(table.circuit)
    standings = tuple(node.standing for node in made.nodes)

    def passing(change: Change) -> Passing:
        return _passing(table, commands(table, mixtures, move_between(table, change.start, change.end)))

    nodes = tuple(node.whole(reading.per_volt) for node in made.nodes)
    _judge_sizes(table, nodes)
    return Program(
        table,
        reading.per_volt,
        table.design.controller is not None,
        standings,
        nodes,
        tuple(mask(table, energised_in(table, one)) for one in standings),
        {one: passing(one) for one in transitions(made)},
        tuple(passing(Change(one, AWAY)) for one in (*standings[:-1], REST)),
        _most_reading(table, reading),
    )


def shorted_retreats(made: Program) -> tuple[str, ...]:
    """The bands from which some way to away that the coils allow passes through shorted turns."""
    table, mixtures = made.table, Mixtures(made.table.circuit)
    return tuple(
        row.name
        for number, row in enumerate(table.rows)
        if _shorts(mixtures, commands(table, mixtures, move_between(table, InRow(number), AWAY)))
    )


def _shorts(mixtures: Mixtures, given: Commands) -> bool:
    """One after the other, each settled before the next, only what that order passes; else every mixture."""
    begins = [(one.commanded, one.settled) for one in given.flights]
    apart = all(settled <= later for (_, settled), (later, _) in pairwise(sorted(begins)))
    if given.ordered and apart:
        return order_of(mixtures, given.move, given.order).shorts
    return any(one.outcome.kind is Kind.SHORTED for one in mixtures.passages(given.move))


def _judge_sizes(table: ControlTable, nodes: tuple[WholeNode, ...]) -> None:
    """Whether masks and readings fit into 32 bits."""
    relays = len(table.circuit.relays)
    if relays > MOST_COILS:
        raise UsageError(f"found {relays} relays; accepted: up to {MOST_COILS}, one bit each of a coil mask")
    highest = max((first for node in nodes for first in node.firsts), default=0)
    if highest > MOST_READING:
        raise UsageError(f"found a threshold at {highest} counts or mV; accepted: up to {MOST_READING}")


def _reading(table: ControlTable) -> Converter:
    controller = table.design.controller
    if controller is not None:
        return converter(table.design, controller)
    return Converter(Fraction(PER_VOLT), Fraction(10**9))


def _most_reading(table: ControlTable, reading: Converter) -> int | None:
    """Beyond it an alternating wave is cut off at the ends of the converter; at its last count a direct one is."""
    controller = table.design.controller
    if controller is None:
        return None
    most = floor(reading.highest_v * reading.per_volt)
    return most if table.design.sensing.detector == "rms" else min(most, 2 ** int(controller.bits) - 2)


def mask(table: ControlTable, energised: frozenset[str]) -> int:
    """The relays driven as bits, the first of the file the lowest."""
    return sum(1 << number for number, relay in enumerate(table.circuit.relays) if relay in energised)


def _passing(table: ControlTable, given: Commands) -> Passing:
    masks, here = [], mask(table, given.move.old)
    begins: list[Fraction] = []
    at = dict(zip(given.move.movers, (one.commanded for one in given.flights), strict=True))
    for together in given.groups:
        for relay in together:
            here ^= 1 << table.circuit.relays.index(relay)
        masks.append(here)
        begins.append(at[together[0]])
    waits = [later - earlier for earlier, later in pairwise([*begins, given.decides_ms])] if begins else []
    if not masks:
        return Passing((here,), (Fraction(0),), Fraction(0))
    return Passing(tuple(masks), tuple(waits), given.decides_ms)
