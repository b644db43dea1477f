"""What the load sees after a sudden change of the line, phase by phase, at worst.

The change comes at time 0. Until the reading has followed (one averaging window), has stood for the confirmation
and the relays have begun to move, the old state passes the new line on. Then relays fly, and a mixture of old and
new, or nothing, feeds the output; then the next row does. While relays move, nothing is decided.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from typing import Literal

from tapplan.control.lookup import AWAY, Place, decision, inputs_of_interest, marks, starts
from tapplan.control.moves import MOST_MOVERS, Mixtures, Move
from tapplan.control.table import ControlTable
from tapplan.control.timing import reading_ms, travel_between
from tapplan.exact import Span
from tapplan.network.states import state_of
from tapplan.network.turns import Gain, NoGain

PhaseName = Literal["unnoticed", "in flight", "in between"]
REST = -2  # where a course begins with every coil off: the line comes back after it was away


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of time, at its latest, and the output volts that can occur in it.

    `windows` and `confirms` say how many averaging windows and confirmations it waits for.
    """

    name: PhaseName
    from_ms: Fraction
    until_ms: Fraction
    output: Span
    windows: int = 0
    confirms: int = 0


@dataclass(frozen=True, slots=True)
class Response:
    """From one row (or `REST`), a sudden change to any line voltage of `line`, and the rows then entered.

    `phases` end when the last row is in force and its relays have settled.
    """

    start: int
    line: Span
    entered: tuple[int, ...]
    phases: tuple[Phase, ...]

    @property
    def settled_ms(self) -> Fraction:
        """When the last relay has settled, at the latest."""
        return self.phases[-1].until_ms if self.phases else Fraction(0)


def responses(table: ControlTable, mixtures: Mixtures, *, detours: bool = False) -> list[Response]:
    """Every sudden change that moves relays, from every row and, without a backup, from rest.

    With a backup, the loss of the line is one of them: its output is nothing until the load has left. With `detours`
    those that only a shorter confirmation would allow are there as well.

    Changes that lead to the same rows are one response; its line covers every true input, within the mains range,
    that some reading of can lead there.
    """
    begins = [*range(len(table.rows)), *([REST] if table.design.backup is None else [])]
    always = detours or table.design.sensing.confirm_ms < reading_ms(table.design)
    return [found for begin in begins for found in _from(table, begin, mixtures, detours=always)]


def at_line(table: ControlTable, mixtures: Mixtures, response: Response, volts: Fraction) -> Response:
    """The same response for one line voltage alone."""
    line = Span(volts, volts)
    rows = (response.start, *response.entered)
    return Response(response.start, line, response.entered, _phases(table, rows, line, mixtures))


def _from(table: ControlTable, begin: int, mixtures: Mixtures, *, detours: bool) -> Iterator[Response]:
    ways = [(volt, _way(table, begin, (volt, 0))) for volt in inputs_of_interest(table)]
    for way, group in groupby(ways, key=lambda one: one[1]):
        readings = [volt for volt, _ in group]
        line = _line(table, Span(readings[0], readings[-1]))
        if way and line is not None:
            for entered in (way, *(_detours(table, begin, way) if detours else ())):
                yield Response(begin, line, entered, _phases(table, (begin, *entered), line, mixtures))
    if table.design.backup is not None and (way := _way(table, begin, (Fraction(0), 0))):
        nothing = Span(Fraction(0), Fraction(0))
        yield Response(begin, nothing, way, _phases(table, (begin, *way), nothing, mixtures))


def _way(table: ControlTable, begin: int, place: Place) -> tuple[int, ...]:
    """The rows entered, the last being the one that stays, or `AWAY`; empty where the stage hunts or is undefined."""
    if begin == REST:
        return tuple(table.rows.index(row) for row in starts(table, place)[:1] if row.energised)
    way: list[int] = []
    here = begin
    while (there := decision(table, here, place)) != here:
        if there in way or there == begin or (there == AWAY and table.design.backup is None):
            return ()
        way.append(there)
        if there == AWAY:
            break
        here = there
    return tuple(way)


def _line(table: ControlTable, readings: Span) -> Span | None:
    """The true inputs of the mains range that can be read in this stretch, an open end taken to its mark."""
    ends = marks(table)
    low = max((end for end in ends if end <= readings.low), default=readings.low)
    high = min((end for end in ends if end >= readings.high), default=readings.high)
    return Span(low / (1 + table.error), high / (1 - table.error)).meet(table.design.mains.span)


def _detours(table: ControlTable, begin: int, way: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """With a confirmation shorter than the window, a reading on its way can stop at the row next to the start.

    Whether the confirmation is that short is for the caller to say.
    """
    if begin == REST or len(way) != 1 or table.design.sensing.at != "input" or way[0] == AWAY:
        return
    beside = begin + (1 if way[0] > begin else -1)
    if beside != way[0]:
        yield (beside, *way)


def _phases(table: ControlTable, rows: tuple[int, ...], line: Span, mixtures: Mixtures) -> tuple[Phase, ...]:
    phases: list[Phase] = []
    now = Fraction(0)
    window, confirm = reading_ms(table.design), table.design.sensing.confirm_ms
    for place, ((old, new), waits) in enumerate(zip(pairwise(rows), _waits(table, rows), strict=True)):
        moving = travel_between(table.design, _driven(table, old), _driven(table, new))
        notice = waits[0] * window + waits[1] * confirm
        opens, settles = now + notice + moving.first_ms, now + notice + moving.last_ms
        name: PhaseName = "in between" if place else "unnoticed"
        phases.append(Phase(name, now, opens, _output(table, old, line), *waits))
        phases.append(Phase("in flight", opens, settles, _flying(table, (old, new), line, mixtures)))
        now = settles
    return tuple(phases)


def _waits(table: ControlTable, rows: tuple[int, ...]) -> list[tuple[int, int]]:
    """Before each move, how many windows and how many confirmations pass at the longest until it is commanded.

    A reading taken behind the relays jumps with each move, so every move waits for window and confirmation. An
    input reading has followed after one window: a detour's first move begins by then, or not at all.
    """
    if table.design.sensing.at == "input" and len(rows) == 3:
        return [(1, 0), (0, 1)]
    return [(1, 1)] * (len(rows) - 1)


def _driven(table: ControlTable, number: int) -> tuple[str, ...]:
    if number == AWAY and table.design.backup is not None:
        return table.design.backup.energised
    return () if number in (AWAY, REST) else table.rows[number].energised


def _output(table: ControlTable, number: int, line: Span) -> Span:
    """The output of a row, or of rest, over these inputs; 0 where it has no ratio."""
    if number == REST:
        ratio = state_of(table.circuit, ()).ratio
        return Span(Fraction(0), Fraction(0)) if ratio is None else _spanned([ratio], line)
    return table.rows[number].output_over(line) or Span(Fraction(0), Fraction(0))


def _flying(table: ControlTable, rows: tuple[int, int], line: Span, mixtures: Mixtures) -> Span:
    """The output over every mixture of positions between two rows; 0 where the output is on nothing."""
    old, new = (frozenset(_driven(table, number)) for number in rows)
    move = Move("", old, new, None)
    if len(move.movers) > MOST_MOVERS:
        return _output(table, rows[0], line)
    found = [passage.outcome for passage in mixtures.passages(move)]
    ratios = [outcome.ratio for outcome in found if isinstance(outcome, Gain)]
    open_too = [Fraction(0)] if any(isinstance(outcome, NoGain) for outcome in found) else []
    return _spanned([*ratios, *open_too] or [Fraction(0)], line)


def _spanned(ratios: list[Fraction], line: Span) -> Span:
    ends = [ratio * volt for ratio in ratios for volt in (line.low, line.high)]
    return Span(min(ends), max(ends))
