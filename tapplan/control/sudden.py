"""Every sudden change of the line that another row follows: the rows entered, and the moves between them.

Changes that lead to the same rows are one response. What the load sees on the way is for `response` to say.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise

from tapplan.control.decisions import Decisions
from tapplan.control.flown import Flying
from tapplan.control.lookup import Place, inputs_of_interest, marks, settled
from tapplan.control.moves import move_between
from tapplan.control.response import NOTHING, Leg, Response, Wait
from tapplan.control.standing import AWAY, Change, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.control.timing import reading_ms
from tapplan.exact import Span

MOST_DETOURED = 40  # rows; steps that stop at a row on their way grow with the cube of the rows


def responses(made: Decisions, flying: Flying, *, detours: bool = False) -> list[Response]:
    """Every sudden change that another row follows, from every row and, without a backup, from switch-on.

    With a backup, the loss of the line is one of them: its output is nothing until the load has left. With `detours`
    those that only a shorter confirmation would allow are there as well.

    Tables of more than `MOST_DETOURED` rows are told none of the steps whose reading stops at a row on its way.

    Changes that lead to the same rows are one response; its line covers every true input, within the mains range,
    that some reading of can lead there.
    """
    table = made.table
    begins: list[Standing] = [InRow(number) for number in range(len(table.rows))]
    if table.design.backup is None:
        begins.append(AWAY)
    told = (detours or detouring(table)) and len(table.rows) <= MOST_DETOURED
    inputs, ends = inputs_of_interest(made), marks(made)
    found: list[Response] = []
    for begin in begins:
        ways = [_Entered(volts, _way(made, begin, volts)) for volts in inputs]
        found += _from(made, begin, flying, _Ways(ways, ends, told, detours))
    return found


def detouring(table: ControlTable) -> bool:
    """Whether a confirmation is so much shorter than the window that a reading can stop at a row on its way."""
    return table.design.sensing.shortest_confirmation_ms < reading_ms(table.design)


@dataclass(frozen=True, slots=True)
class _Entered:
    """The standings entered when the input changes to so many volts."""

    volts: Fraction
    way: tuple[Standing, ...]


@dataclass(frozen=True, slots=True)
class _Ways:
    """For inputs in rising order the standings entered; the inputs at which anything changes; whether to detour.

    `forced`: also where only a shorter confirmation would allow it.
    """

    each: Sequence[_Entered]
    ends: Sequence[Fraction]
    detours: bool
    forced: bool


def _from(made: Decisions, begin: Standing, flying: Flying, ways: _Ways) -> Iterator[Response]:
    for way, group in groupby(ways.each, key=lambda one: one.way):
        readings = [one.volts for one in group]
        line = _line(made, begin, _outward(ways.ends, readings[0], readings[-1]))
        if way and line is not None:
            yield _response(made.table, (begin, *way), line, flying)
            stopped = [volts for volts in readings if ways.forced or _can_stop(made.table, begin, volts)]
            for detour, passed in _detours(made, begin, stopped, flying).items() if ways.detours else ():
                part = _line(made, begin, _outward(ways.ends, passed[0], passed[-1]))
                if part is not None:
                    yield _response(made.table, (begin, *detour), part, flying, detour=True)
    if made.table.design.backup is not None and (way := _way(made, begin, Fraction(0))):
        yield _response(made.table, (begin, *way), NOTHING, flying)


def _can_stop(table: ControlTable, begin: Standing, volts: Fraction) -> bool:
    """Whether a reading on its way to an input can be confirmed before it has followed."""
    if not isinstance(begin, InRow):
        return False
    upward = volts > table.rows[begin.number].kept.high
    return table.design.sensing.confirmation_ms(upward=upward) < reading_ms(table.design)


def _way(made: Decisions, begin: Standing, volts: Fraction) -> tuple[Standing, ...]:
    """The standings entered, the last being the one that stays; empty where the stage hunts, or is undefined."""
    found = settled(made, begin, Place(volts))
    undefined = found.standing is AWAY and made.table.design.backup is None
    return () if found.hunting or undefined else found.entered


def _outward(changes: Sequence[Fraction], low: Fraction, high: Fraction) -> Span:
    """A stretch of inputs, an open end taken to its mark."""
    below, above = bisect_right(changes, low), bisect_left(changes, high)
    return Span(changes[below - 1] if below else low, changes[above] if above < len(changes) else high)


def _line(made: Decisions, begin: Standing, inputs: Span) -> Span | None:
    """The true inputs of the mains range that can be read as one of these."""
    table = made.table
    here = table.rows[begin.number] if isinstance(begin, InRow) else table.away
    if here.sensed is None or here.read is None:
        return None
    return table.blur.inputs(inputs.scaled(here.sensed), here.read).meet(table.design.mains.span)


def _detours(
    made: Decisions, begin: Standing, readings: Sequence[Fraction], flying: Flying
) -> dict[tuple[Standing, ...], list[Fraction]]:
    """The ways of readings that stop at another row before they have followed, and the inputs that each is open to.

    Whether a confirmation is that much shorter than the window is for the caller to say.
    """
    found: dict[tuple[Standing, ...], list[Fraction]] = {}
    if made.table.design.sensing.at == "input" and isinstance(begin, InRow):
        for volts in readings:
            for way in dict.fromkeys(_stopping(made, begin, volts, flying)):
                found.setdefault(way, []).append(volts)
    return found


@dataclass(frozen=True, slots=True)
class _Stops:
    """The rows that a reading on its way has stopped at, the first where it began, and what is left of the window."""

    rows: tuple[InRow, ...]
    left_ms: Fraction


def _stopping(made: Decisions, begin: InRow, volts: Fraction, flying: Flying) -> Iterator[tuple[Standing, ...]]:
    """The ways to one input by what each row decides of the readings passed, a dead zone aside.

    Each stop takes its confirmation, and the move there until readings count again; a further one must begin within
    the window. The row of a stop may hold the last reading, or lead on.
    """
    table, straight = made.table, _way(made, begin, volts)
    confirm = table.design.sensing.confirmation_ms(upward=volts > table.rows[begin.number].kept.high)
    waiting = [_Stops((begin,), reading_ms(table.design) - confirm)]
    while waiting:
        before = waiting.pop()
        here = before.rows[-1]
        for stop in _passing(made, here, volts):
            rest = settled(made, stop, Place(volts))
            way = (*before.rows[1:], stop, *rest.entered)
            if rest.hunting or not all(isinstance(one, InRow) for one in way):
                continue
            if way != straight:
                yield way
            taken = flying.of(move_between(table, here, stop)).given.decides_ms + confirm
            if taken < before.left_ms and rest.entered:
                waiting.append(_Stops((*before.rows, stop), before.left_ms - taken))


def _passing(made: Decisions, here: InRow, volts: Fraction) -> list[InRow]:
    """The rows that readings between the end of a row's hold and an input lead to."""
    kept = made.table.rows[here.number].kept
    met = made.node(here).met(kept.high, volts) if volts > kept.high else made.node(here).met(volts, kept.low)
    return [one for one in dict.fromkeys(met) if isinstance(one, InRow) and one != here]


def _response(
    table: ControlTable, standings: Sequence[Standing], line: Span, flying: Flying, *, detour: bool = False
) -> Response:
    legs: list[Leg] = []
    for place, (start, end) in enumerate(pairwise(standings)):
        before = legs[-1].flown.given if legs else None
        left = Fraction(0) if before is None else before.decides_ms - before.settled_ms
        wait = _wait(table, Change(start, end), left, detour_place=place if detour else None)
        legs.append(Leg(start, end, wait, flying.of(move_between(table, start, end))))
    return Response(table, standings[0], line, tuple(standings[1:]), tuple(legs), detour)


def _wait(table: ControlTable, change: Change, blanked: Fraction, *, detour_place: int | None) -> Wait:
    """What passes at the longest until a move is commanded, since the step or since the last relay has settled.

    A reading taken behind the relays jumps with each move, so every move waits for window and confirmation. An
    input reading has followed after one window: a detour's first move begins by then, or not at all, and its second
    has only to be confirmed. Blanking that outlasts the settled relays goes on beside the window.
    """
    window = reading_ms(table.design)
    confirm = _confirmation(table, change)
    windows, confirms = {None: (1, 1), 0: (1, 0)}.get(detour_place, (0, 1))
    if blanked >= windows * window:
        return Wait(0, window, confirms, confirm, blanked)
    return Wait(windows, window, confirms, confirm)


def _confirmation(table: ControlTable, change: Change) -> Fraction:
    """How long readings must stand before the move; coming back, or being switched on, waits as the backup says."""
    start, end = change.start, change.end
    sensing, backup = table.design.sensing, table.design.backup
    if not isinstance(start, InRow):
        return Fraction(0) if backup is None else backup.return_after_ms
    if not isinstance(end, InRow):
        return sensing.longest_confirmation_ms
    return sensing.confirmation_ms(upward=end.number > start.number)
