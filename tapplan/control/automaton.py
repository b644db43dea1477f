"""The controller as a finite automaton: which rows can follow one another at one steady source.

A decision depends only on where the reading lies among finitely many rational marks, and the source's EMF at
which a reading meets a mark is rational too. Cut at those EMFs, "for every source" is a finite question: within
one cell every comparison has one answer. Time is left out here; `recovery` adds it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from tapplan.control.decisions import Cut, Decisions, Node
from tapplan.control.source import Source, source_of
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.exact import Opening, Span


class EmfCut(NamedTuple):
    """The EMF at which a reading meets a mark, and whether the next answer begins only above it.

    A NamedTuple, since every step of every cell searches a row of them in order.
    """

    emf: Fraction
    above: bool


@dataclass(frozen=True, slots=True)
class Cell:
    """A part of the EMF axis in which every comparison has one answer, and one EMF inside it."""

    opening: Opening
    emf: Fraction


@dataclass(frozen=True, slots=True)
class Step:
    """What the controller decides in one standing, by the source's EMF.

    `lowered` and `raised` are, for each cut of its node, the EMFs at which the highest and the lowest of the readings
    possible there meets the mark.
    """

    standing: Standing
    answers: tuple[Standing, ...]
    lowered: tuple[EmfCut, ...]
    raised: tuple[EmfCut, ...]

    def possible(self, emf: Fraction) -> frozenset[Standing]:
        """The standings that one decision at this EMF can lead to, whatever the reading's noise does."""
        return frozenset(self.answers[_passed(self.raised, emf) : _passed(self.lowered, emf) + 1])

    def placed(self, places: Mapping[int, int]) -> PlacedStep:
        """The same with whole numbers for the cuts, which are given by the identity of each."""
        lowered, raised = (tuple(places[id(cut)] for cut in cuts) for cuts in (self.lowered, self.raised))
        return PlacedStep(self.answers, lowered, raised)


@dataclass(frozen=True, slots=True)
class PlacedStep:
    """A step whose cuts are whole numbers: twice the place among all cuts of an automaton, one more just above it."""

    answers: tuple[Standing, ...]
    lowered: tuple[int, ...]
    raised: tuple[int, ...]

    def possible(self, place: int) -> tuple[Standing, ...]:
        """The standings possible in a cell: at the n-th cut 2n + 1, between it and the next 2n + 2."""
        return self.answers[bisect_left(self.raised, place) : bisect_left(self.lowered, place) + 1]


def _passed(cuts: tuple[EmfCut, ...], emf: Fraction) -> int:
    """How many cuts lie behind: met, where the answer begins at the mark, else passed."""
    return bisect_left(cuts, EmfCut(emf, above=True))


@dataclass(frozen=True, slots=True)
class Cycle:
    """Standings that follow one another without end at one steady source, and the EMFs at which they do.

    Rows by rising number, being away last.
    """

    standings: tuple[Standing, ...]
    emf: Opening

    @property
    def away(self) -> bool:
        """Whether being away is one of them."""
        return AWAY in self.standings

    @property
    def rows(self) -> tuple[int, ...]:
        """The numbers of the rows among them."""
        return tuple(one.number for one in self.standings if isinstance(one, InRow))


@dataclass(frozen=True, slots=True)
class Automaton:
    """A step for each row, in order, and last the one for being away; the source behind the inlet."""

    steps: tuple[Step, ...]
    source: Source

    def step(self, standing: Standing) -> Step:
        """What is decided in a standing."""
        return self.steps[standing.number] if isinstance(standing, InRow) else self.steps[-1]

    @property
    def cuts(self) -> list[Fraction]:
        """The EMFs at which anything can change, in rising order."""
        return sorted({cut.emf for cut in self._distinct})

    @property
    def _distinct(self) -> Iterable[EmfCut]:
        """The cuts, those that steps share once; by identity, since there are rows squared of them."""
        shared = {id(cut): cut for step in self.steps for cuts in (step.lowered, step.raised) for cut in cuts}
        return shared.values()

    def cells(self) -> Iterator[Cell]:
        """Every cell of the EMF axis, rising, from the first cut to the last."""
        cuts = self.cuts
        for low, high in pairwise(cuts):
            yield Cell(Opening(low, low, True, True), low)
            yield Cell(Opening(low, high), (low + high) / 2)
        if cuts:
            yield Cell(Opening(cuts[-1], cuts[-1], True, True), cuts[-1])

    def follows(self, standing: Standing, emf: Fraction) -> Standing:
        """The standing after one decision at a steady EMF; for an automaton without noise and ripple."""
        return next(iter(self.step(standing).possible(emf)))

    def course(self, standing: Standing, emf: Fraction) -> list[Standing]:
        """The standings entered one after the other at a steady EMF, without noise.

        Ends where one stays, or with the first that comes back.
        """
        entered: list[Standing] = []
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
        """Every set of standings that can follow one another without end, with the EMFs, neighbours joined."""
        found: list[Cycle] = []
        open_now: dict[tuple[Standing, ...], Opening] = {}
        place = {emf: number for number, emf in enumerate(self.cuts)}
        places = {id(cut): 2 * place[cut.emf] + cut.above for cut in self._distinct}
        steps = [step.placed(places) for step in self.steps]
        for number, cell in enumerate(self.cells(), start=1):
            here = self._knots(steps, number)
            for knot in [knot for knot in open_now if knot not in here]:
                found.append(Cycle(knot, open_now.pop(knot)))
            for knot in here:
                before = open_now.get(knot, cell.opening)
                open_now[knot] = Opening(before.low, cell.opening.high, before.shut_low, cell.opening.shut_high)
        found += [Cycle(knot, span) for knot, span in open_now.items()]
        return sorted(found, key=lambda cycle: (cycle.emf, [self._number(one) for one in cycle.standings]))

    def _number(self, standing: Standing) -> int:
        return standing.number if isinstance(standing, InRow) else len(self.steps) - 1

    def _knots(self, steps: Sequence[PlacedStep], place: int) -> list[tuple[Standing, ...]]:
        """The sets of standings that lead back to one another in a cell."""
        ahead = [
            sorted({self._number(one) for one in step.possible(place)} - {number})
            for number, step in enumerate(steps)
        ]
        if not _loops(ahead):
            return []
        reach = [_reached(ahead, number) for number in range(len(self.steps))]
        knots: list[tuple[Standing, ...]] = []
        for number in range(len(self.steps)):
            knot = {other for other in reach[number] if number in reach[other]}
            if number in reach[number] and min(knot) == number:
                knots.append(tuple(self.steps[other].standing for other in sorted(knot)))
        return knots


def _loops(ahead: list[list[int]]) -> bool:
    """Whether anything is left when nodes that lead nowhere are taken off again and again."""
    left = {number for number, there in enumerate(ahead) if there}
    while left:
        stuck = {number for number in left if left.isdisjoint(ahead[number])}
        if not stuck:
            return True
        left -= stuck
    return False


def _reached(ahead: list[list[int]], start: int) -> set[int]:
    seen: set[int] = set()
    waiting = list(ahead[start])
    while waiting:
        here = waiting.pop()
        if here not in seen:
            seen.add(here)
            waiting += ahead[here]
    return seen


def automaton(
    made: Decisions, *, noisy: bool, source: Source | None = None, error: Fraction = Fraction(0)
) -> Automaton:
    """The automaton of a compiled controller, with or without its reading's noise and ripple.

    The source is as the design states it, unless one is given. `error` is the share by which every reading is off, so
    that a mark is met at the mark over 1 + error.
    """
    behind = source if source is not None else source_of(made.table.design)
    sight = _Sight(noisy, 1 + error)
    steps = tuple(_step(made, node, behind, sight) for node in made.nodes)
    return Automaton(steps, behind)


def rests(table: ControlTable, source: Source, *, noisy: bool) -> bool:
    """Whether no rows can follow one another without end, as far as that is plain without an automaton.

    Read at the input, a decision leads to a row that holds the reading, or away where none does. Behind a stiff
    source, without noise and ripple, the next reading is the same one, and is kept.
    """
    shares = [*(row.read for row in table.rows), table.away.read]
    wavers = table.blur.half_noise > 0 or any(one is not None and one.low != one.high for one in shares)
    return source.stiff and table.design.sensing.at == "input" and not (noisy and wavers)


@dataclass(frozen=True, slots=True)
class _Sight:
    """How the inlet is read: with its noise and ripple or without, and by which factor off.

    `known` are the cuts met so far, by mark and by all that shifts it, so that rows alike share them.
    """

    noisy: bool
    scale: Fraction
    known: dict[tuple[Fraction, Fraction, Fraction | None], dict[Cut, EmfCut]] = field(default_factory=dict)

    def shared(self, shift: Fraction, q: Fraction, ratio: Fraction | None) -> dict[Cut, EmfCut]:
        """The cuts met with this shift, share and ratio."""
        return self.known.setdefault((shift, q, ratio), {})


def _step(made: Decisions, node: Node, source: Source, sight: _Sight) -> Step:
    if node.sensed is None:
        return Step(node.standing, (AWAY,), (), ())
    share = _share(made, node) if sight.noisy else Span(node.sensed, node.sensed)
    half = made.table.blur.half_noise if sight.noisy else Fraction(0)
    ratio = made.table.rows[node.standing.number].ratio if isinstance(node.standing, InRow) else None

    loaded = None if source.stiff else ratio  # a stiff source asks for no ratio

    def met(shift: Fraction, q: Fraction) -> tuple[EmfCut, ...]:
        known = sight.shared(shift, q, loaded)
        for cut in node.cuts:
            if cut not in known:
                known[cut] = EmfCut(source.emf((cut.mark + shift) / (sight.scale * q), loaded), cut.above)
        return tuple(known[cut] for cut in node.cuts)

    return Step(node.standing, node.answers, met(-half, share.high), met(half, share.low))


def _share(made: Decisions, node: Node) -> Span:
    """The least and the most read of an inlet volt in a standing whose reading is fixed."""
    here = made.table.rows[node.standing.number] if isinstance(node.standing, InRow) else made.table.away
    sensed = node.sensed or Fraction(1)
    return here.read if here.read is not None else Span(sensed, sensed)
