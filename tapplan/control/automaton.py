"""The controller as a finite automaton: which rows can follow one another at one steady source.

A decision depends only on where the reading lies among finitely many rational marks, and the source's EMF at
which a reading meets a mark is rational too. Cut at those EMFs, "for every source" is a finite question: within
one cell every comparison has one answer. Time is left out here; `recovery` adds it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tapplan.control.lookup import AWAY, Place, decision, marks
from tapplan.control.source import Source, source_of
from tapplan.control.table import ControlTable
from tapplan.exact import Opening


@dataclass(frozen=True, slots=True)
class Node:
    """One row, or being away: what the controller decides there, by where the reading lies.

    `marks` are inlet volts in rising order; `decisions` has one entry for below the first mark, one for at it,
    one for between it and the next, and so on. `lowered` and `raised` are the EMFs at which the inlet stands
    half the noise below, and half the noise above, each mark.
    """

    decisions: tuple[int, ...]
    lowered: tuple[Fraction, ...]
    raised: tuple[Fraction, ...]

    def possible(self, emf: Fraction) -> frozenset[int]:
        """The rows that one decision at this EMF can lead to, whatever the reading's noise does."""
        return frozenset(self.decisions[_cell(self.raised, emf) : _cell(self.lowered, emf) + 1])


def _cell(ends: tuple[Fraction, ...], value: Fraction) -> int:
    place = bisect_left(ends, value)
    return 2 * place + (place < len(ends) and ends[place] == value)


@dataclass(frozen=True, slots=True)
class Cycle:
    """Rows that follow one another without end at one steady source, and the EMFs at which they do."""

    rows: tuple[int, ...]
    emf: Opening


@dataclass(frozen=True, slots=True)
class Automaton:
    """The nodes by row number, being away last (number `AWAY`), and the source behind the inlet."""

    nodes: tuple[Node, ...]
    source: Source

    @property
    def cuts(self) -> list[Fraction]:
        """The EMFs at which anything can change, in rising order."""
        return sorted({emf for node in self.nodes for ends in (node.lowered, node.raised) for emf in ends})

    def cells(self) -> Iterator[tuple[Opening, Fraction]]:
        """Every cell of the EMF axis, rising, from the first cut to beyond the last, with one EMF inside it."""
        cuts = self.cuts
        for low, high in pairwise(cuts):
            yield Opening(low, low, True, True), low
            yield Opening(low, high), (low + high) / 2
        if cuts:
            yield Opening(cuts[-1], cuts[-1], True, True), cuts[-1]

    def follows(self, standing: int, emf: Fraction) -> int:
        """The row after one decision at a steady EMF; for an automaton without noise."""
        return next(iter(self.nodes[standing].possible(emf)))

    def course(self, standing: int, emf: Fraction) -> list[int]:
        """The rows entered one after the other at a steady EMF, without noise.

        Ends where a row stays, or with the first row that comes back.
        """
        entered: list[int] = []
        here = standing
        while (there := self.follows(here, emf)) != here:
            entered.append(there)
            if there in entered[:-1] or there == standing:
                break
            here = there
        return entered

    def beyond(self, emf: Fraction, side: int) -> Fraction:
        """An EMF just above (side 1) or just below (side -1) a cut, nearer than the next cut."""
        ahead = [cut for cut in self.cuts if (cut - emf) * side > 0]
        return (emf + min(ahead, key=lambda cut: abs(cut - emf))) / 2 if ahead else emf + side

    def cycles(self) -> list[Cycle]:
        """Every set of rows that can follow one another without end, with the EMFs, neighbours joined."""
        found: list[Cycle] = []
        open_now: dict[tuple[int, ...], Opening] = {}
        for cell, emf in self.cells():
            here = self._knots(emf)
            for rows in [rows for rows in open_now if rows not in here]:
                found.append(Cycle(rows, open_now.pop(rows)))
            for rows in here:
                before = open_now.get(rows, cell)
                open_now[rows] = Opening(before.low, cell.high, before.shut_low, cell.shut_high)
        found += [Cycle(rows, span) for rows, span in open_now.items()]
        return sorted(found, key=lambda cycle: (cycle.emf, cycle.rows))

    def _knots(self, emf: Fraction) -> list[tuple[int, ...]]:
        """The sets of rows that lead back to one another at this EMF."""
        ahead = [
            sorted(node.possible(emf) - {number % len(self.nodes), number - len(self.nodes)})
            for number, node in enumerate(self.nodes)
        ]
        if not _loops(ahead):
            return []
        reach = [_reached(ahead, number) for number in range(len(self.nodes))]
        knots: list[tuple[int, ...]] = []
        for number in range(len(self.nodes)):
            knot = {other % len(self.nodes) for other in reach[number] if number in reach[other]}
            if number in reach[number] and min(knot) == number:
                knots.append(tuple(sorted(AWAY if other == len(self.nodes) - 1 else other for other in knot)))
        return knots


def _loops(ahead: list[list[int]]) -> bool:
    """Whether anything is left when nodes that lead nowhere are taken off again and again."""
    left = {number for number, there in enumerate(ahead) if there}
    while left:
        stuck = {number for number in left if not any(other % len(ahead) in left for other in ahead[number])}
        if not stuck:
            return True
        left -= stuck
    return False


def _reached(ahead: list[list[int]], start: int) -> set[int]:
    seen: set[int] = set()
    waiting = [other % len(ahead) for other in ahead[start]]
    while waiting:
        here = waiting.pop()
        if here not in seen:
            seen.add(here)
            waiting += [other % len(ahead) for other in ahead[here]]
    return seen


def automaton(
    table: ControlTable, *, noisy: bool, source: Source | None = None, error: Fraction = Fraction(0)
) -> Automaton:
    """The automaton of a control table, with or without the reading's noise; the source as the design states it.

    `error` is the share by which every reading is off, so that a mark is met at the mark over 1 + error. Work: rows
    times marks decisions, each at most rows comparisons.
    """
    behind = source if source is not None else source_of(table.design)
    numbers = [*range(len(table.rows)), AWAY]
    read = (noisy, 1 + error)
    return Automaton(tuple(_node(table, number, behind, read) for number in numbers), behind)


def _node(table: ControlTable, number: int, source: Source, read: tuple[bool, Fraction]) -> Node:
    noisy, scale = read
    ends = _marks_of(table, number)
    places: list[Place] = [(ends[0], -1)] if ends else [(Fraction(0), 0)]
    for end in ends:
        places += [(end, 0), (end, 1)]
    half = table.design.sensing.noise_v / 2 / _share(table, number) if noisy else Fraction(0)
    ratio = None if number == AWAY else table.rows[number].ratio
    return Node(
        tuple(decision(table, number, place) for place in places),
        tuple(source.emf((end - half) / scale, ratio) for end in ends),
        tuple(source.emf((end + half) / scale, ratio) for end in ends),
    )


def _marks_of(table: ControlTable, number: int) -> list[Fraction]:
    if number == AWAY:
        return marks(table)
    if table.design.sensing.at == "input":
        return sorted(
            {end for row in table.rows if row.input_hold for end in (row.input_hold.low, row.input_hold.high)}
        )
    hold = table.rows[number].input_hold
    return sorted({hold.low, hold.high}) if hold is not None else []


def _share(table: ControlTable, number: int) -> Fraction:
    """Reading over inlet volts in a row; away, the smallest of all rows, for which noise counts most."""
    shares = [row.sensed for row in table.rows if row.sensed is not None]
    if number == AWAY:
        return min(shares, default=Fraction(1))
    return table.rows[number].sensed or Fraction(1)
