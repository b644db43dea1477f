"""What the load sees after a sudden change of the line, phase by phase, at worst.

The change comes at time 0. Until the reading has followed (one averaging window), has stood for the confirmation
and the relays have begun to move, the old state passes the new line on. Then relays fly, and a mixture of old and
new, or nothing, feeds the output; then the next row does. While relays move, nothing is decided.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby, pairwise
from typing import Literal

from tapplan.control.decisions import Decisions
from tapplan.control.flown import BadOutcome, Flown, Flying
from tapplan.control.lookup import Place, inputs_of_interest, marks, settled
from tapplan.control.moves import move_between
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.control.timing import reading_ms
from tapplan.exact import Span
from tapplan.network.turns import Gain, Outcome

PhaseName = Literal["unnoticed", "in flight", "in between"]
Side = Literal["over", "under"]
NOTHING = Span(Fraction(0), Fraction(0))
LATER = Fraction(10**7)  # ms: longer than any move; a state after it that is as bad lasts on


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of time, at its latest, and the output volts that can occur in it."""

    name: PhaseName
    from_ms: Fraction
    until_ms: Fraction
    output: Span


@dataclass(frozen=True, slots=True)
class Wait:
    """What passes at the longest until a move is commanded: averaging windows, confirmation, blanking left over.

    `spent_ms` of the window has passed before.
    """

    windows: int
    window_ms: Fraction
    confirms: int
    confirm_ms: Fraction
    blanked_ms: Fraction = Fraction(0)
    spent_ms: Fraction = Fraction(0)

    @property
    def ms(self) -> Fraction:
        """All of it."""
        return self.windows * self.window_ms - self.spent_ms + self.confirms * self.confirm_ms + self.blanked_ms


@dataclass(frozen=True, slots=True)
class Level:
    """How long an output is at a level or beyond without a break, and how much of that waits for what."""

    lasts_ms: Fraction = Fraction(0)
    windows: int = 0
    confirms: int = 0

    def and_then(self, wait: Wait) -> Level:
        """The same, and a wait after it."""
        return Level(self.lasts_ms + wait.ms, self.windows + wait.windows, self.confirms + wait.confirms)


@dataclass(frozen=True, slots=True)
class Leg:
    """One move of a response: the wait for it, and how it is flown."""

    start: Standing
    end: Standing
    wait: Wait
    flown: Flown

    @property
    def outcomes(self) -> list[Outcome]:
        """What the stage does in the mixtures met; none are known where there are too many."""
        return [passage.outcome for passage in self.flown.passages] if self.flown.examined else []

    def stay(self, bad: BadOutcome, waited: Level, *, goes_on: bool = False) -> Level:
        """The longest time in what is bad, `waited` before the first command; with `goes_on` to the end."""
        if not self.flown.examined:
            return Level(waited.lasts_ms + self.flown.given.settled_ms, waited.windows, waited.confirms)
        after = LATER if goes_on else Fraction(0)
        with_wait = self.flown.level_ms(bad, waited.lasts_ms, after) - after
        if not waited.lasts_ms:
            return Level(with_wait)
        without = self.flown.level_ms(bad, Fraction(0), after) - after
        return Level(with_wait, waited.windows, waited.confirms) if with_wait > without else Level(without)


@dataclass(frozen=True, slots=True)
class Response:
    """From one standing, a sudden change to any line voltage of `line`, and the standings then entered.

    `phases` end when the last row is in force and its relays have settled. `detour`: the reading, on its way, stops
    at another row first, which only a confirmation shorter than the window lets it.
    """

    table: ControlTable
    start: Standing
    line: Span
    entered: tuple[Standing, ...]
    legs: tuple[Leg, ...]
    detour: bool = False

    @property
    def phases(self) -> tuple[Phase, ...]:
        """What the load sees, phase by phase, each at its latest, until the last relay has settled."""
        return _phases(self.table, self.legs, self.line)

    @property
    def settled_ms(self) -> Fraction:
        """When the last relay has settled, at the latest."""
        return sum((leg.wait.ms + leg.flown.given.settled_ms for leg in self.legs), Fraction(0))

    @property
    def most_ms(self) -> Fraction:
        """No level lasts longer: every wait and every move, one after the other, with the window for each stop."""
        return sum((leg.wait.ms + leg.wait.window_ms + leg.flown.given.settled_ms for leg in self.legs), Fraction(0))

    def at_line(self, volts: Fraction) -> Response:
        """The same response for one line voltage alone."""
        return replace(self, line=Span(volts, volts))

    def levels(self, side: Side) -> list[Fraction]:
        """Every output met on the way at the worst line of one side, in volts, each once."""
        return sorted({volts for leg in self.legs for volts in self._met(leg, side)})

    def _met(self, leg: Leg, side: Side) -> Iterator[Fraction]:
        yield self._standing(leg.start, side)
        for outcome in leg.outcomes:
            yield self._output(outcome, side)

    def _standing(self, standing: Standing, side: Side) -> Fraction:
        span = _output(self.table, standing, self.line)
        return span.high if side == "over" else span.low

    def _output(self, outcome: Outcome, side: Side) -> Fraction:
        volts = self.line.high if side == "over" else self.line.low
        return outcome.ratio * volts if isinstance(outcome, Gain) else Fraction(0)

    def lasting(self, level: Fraction, side: Side) -> Level:
        """The longest time at a level or beyond it without a break; the last row's own output does not count."""
        sign = 1 if side == "over" else -1

        def beyond(volts: Fraction) -> bool:
            return (volts - level) * sign >= 0

        def bad(outcome: Outcome) -> bool:
            return beyond(self._output(outcome, side))

        longest, carried = Level(), Level()  # the second: what a leg leaves standing at the level when it ends
        for place, leg in enumerate(self.legs):
            waited = (
                carried.and_then(self._waiting(place, carried))
                if beyond(self._standing(leg.start, side))
                else Level()
            )
            longest = max(longest, leg.stay(bad, waited), key=lambda one: one.lasts_ms)
            goes_on = place + 1 < len(self.legs) and beyond(self._standing(leg.end, side))
            carried = leg.stay(bad, waited, goes_on=True) if goes_on else Level()
        return longest

    def _waiting(self, place: int, carried: Level) -> Wait:
        """The wait before a leg, where it has to be counted from what is `carried` into it.

        A row that a detour passes may be entered long before the reading has followed. Where the level begins with
        that row, and not with the step, the rest of the window can pass in it: the window less the first move.
        """
        wait = self.legs[place].wait
        if not self.detour or place == 0 or carried.windows:
            return wait
        spent = self.legs[place - 1].flown.given.settled_ms
        if wait.window_ms - spent <= wait.blanked_ms:
            return wait
        return replace(wait, windows=1, blanked_ms=Fraction(0), spent_ms=spent)


def responses(made: Decisions, flying: Flying, *, detours: bool = False) -> list[Response]:
    """Every sudden change that another row follows, from every row and, without a backup, from switch-on.

    With a backup, the loss of the line is one of them: its output is nothing until the load has left. With `detours`
    those that only a shorter confirmation would allow are there as well.

    Changes that lead to the same rows are one response; its line covers every true input, within the mains range,
    that some reading of can lead there.
    """
    table = made.table
    begins: list[Standing] = [InRow(number) for number in range(len(table.rows))]
    if table.design.backup is None:
        begins.append(AWAY)
    always = detours or table.design.sensing.shortest_confirmation_ms < reading_ms(table.design)
    inputs, ends = inputs_of_interest(made), marks(made)
    found: list[Response] = []
    for begin in begins:
        ways = [(volt, _way(made, begin, volt)) for volt in inputs]
        found += _from(made, begin, flying, _Ways(ways, ends, always))
    return found


@dataclass(frozen=True, slots=True)
class _Ways:
    """For inputs in rising order the standings entered; the inputs at which anything changes; whether to detour."""

    each: Sequence[tuple[Fraction, tuple[Standing, ...]]]
    ends: Sequence[Fraction]
    detours: bool


def _from(made: Decisions, begin: Standing, flying: Flying, ways: _Ways) -> Iterator[Response]:
    for way, group in groupby(ways.each, key=lambda one: one[1]):
        readings = [volt for volt, _ in group]
        line = _line(made, begin, _outward(ways.ends, readings[0], readings[-1]))
        if way and line is not None:
            yield _response(made.table, (begin, *way), line, flying)
            for detour, passed in _detours(made, begin, readings, flying).items() if ways.detours else ():
                part = _line(made, begin, _outward(ways.ends, passed[0], passed[-1]))
                if part is not None:
                    yield _response(made.table, (begin, *detour), part, flying, detour=True)
    if made.table.design.backup is not None and (way := _way(made, begin, Fraction(0))):
        yield _response(made.table, (begin, *way), NOTHING, flying)


def _way(made: Decisions, begin: Standing, volts: Fraction) -> tuple[Standing, ...]:
    """The standings entered, the last being the one that stays; empty where the stage hunts, or is undefined."""
    found = settled(made, begin, Place(volts))
    undefined = found.standing is AWAY and made.table.design.backup is None
    return () if found.hunting or undefined else found.entered


def _outward(ends: Sequence[Fraction], low: Fraction, high: Fraction) -> Span:
    """A stretch of inputs, an open end taken to its mark."""
    below, above = bisect_right(ends, low), bisect_left(ends, high)
    return Span(ends[below - 1] if below else low, ends[above] if above < len(ends) else high)


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


def _stopping(made: Decisions, begin: InRow, volts: Fraction, flying: Flying) -> Iterator[tuple[Standing, ...]]:
    """The ways to one input by what each row decides of the readings passed, a dead zone aside.

    Each stop takes its confirmation, and the move there until readings count again; a further one must begin within
    the window. The row of a stop may hold the last reading, or lead on.
    """
    table, straight = made.table, _way(made, begin, volts)
    confirm = table.design.sensing.confirmation_ms(upward=volts > table.rows[begin.number].kept.high)
    waiting: list[tuple[tuple[InRow, ...], Fraction]] = [((begin,), reading_ms(table.design) - confirm)]
    while waiting:
        passed, left = waiting.pop()
        for stop in _passing(made, passed[-1], volts):
            rest = settled(made, stop, Place(volts))
            way = (*passed[1:], stop, *rest.entered)
            if rest.hunting or not all(isinstance(one, InRow) for one in way):
                continue
            if way != straight:
                yield way
            taken = flying.of(move_between(table, passed[-1], stop)).given.decides_ms + confirm
            if taken < left and rest.entered:
                waiting.append(((*passed, stop), left - taken))


def _passing(made: Decisions, row: InRow, volts: Fraction) -> list[InRow]:
    """The rows that readings between the end of a row's hold and an input lead to."""
    kept = made.table.rows[row.number].kept
    met = made.node(row).met(kept.high, volts) if volts > kept.high else made.node(row).met(volts, kept.low)
    return [one for one in dict.fromkeys(met) if isinstance(one, InRow) and one != row]


def _response(
    table: ControlTable, standings: Sequence[Standing], line: Span, flying: Flying, *, detour: bool = False
) -> Response:
    legs: list[Leg] = []
    for place, (start, end) in enumerate(pairwise(standings)):
        before = legs[-1].flown.given if legs else None
        left = Fraction(0) if before is None else before.decides_ms - before.settled_ms
        wait = _wait(table, (start, end), left, detour=place if detour else None)
        legs.append(Leg(start, end, wait, flying.of(move_between(table, start, end))))
    return Response(table, standings[0], line, tuple(standings[1:]), tuple(legs), detour)


def _wait(table: ControlTable, move: tuple[Standing, Standing], blanked: Fraction, *, detour: int | None) -> Wait:
    """What passes at the longest until a move is commanded, since the step or since the last relay has settled.

    A reading taken behind the relays jumps with each move, so every move waits for window and confirmation. An
    input reading has followed after one window: a detour's first move begins by then, or not at all, and its second
    has only to be confirmed. Blanking that outlasts the settled relays goes on beside the window.
    """
    window = reading_ms(table.design)
    confirm = _confirmation(table, move)
    windows, confirms = {None: (1, 1), 0: (1, 0)}.get(detour, (0, 1))
    if blanked >= windows * window:
        return Wait(0, window, confirms, confirm, blanked)
    return Wait(windows, window, confirms, confirm)


def _confirmation(table: ControlTable, move: tuple[Standing, Standing]) -> Fraction:
    """How long readings must stand before the move; coming back, or being switched on, waits as the backup says."""
    start, end = move
    sensing, backup = table.design.sensing, table.design.backup
    if not isinstance(start, InRow):
        return Fraction(0) if backup is None else backup.return_after_ms
    if not isinstance(end, InRow):
        return sensing.longest_confirmation_ms
    return sensing.confirmation_ms(upward=end.number > start.number)


def _phases(table: ControlTable, legs: Sequence[Leg], line: Span) -> tuple[Phase, ...]:
    phases: list[Phase] = []
    now = Fraction(0)
    for place, leg in enumerate(legs):
        given = leg.flown.given
        opens, settles = now + leg.wait.ms + given.opens_ms, now + leg.wait.ms + given.settled_ms
        name: PhaseName = "in between" if place else "unnoticed"
        phases.append(Phase(name, now, opens, _output(table, leg.start, line)))
        phases.append(Phase("in flight", opens, settles, _flying(table, leg, line)))
        now = settles
    return tuple(phases)


def _output(table: ControlTable, standing: Standing, line: Span) -> Span:
    """The output of a row, or with every coil off, over these inputs; 0 where it has no ratio, or on the backup."""
    if isinstance(standing, InRow):
        return table.rows[standing.number].output_over(line) or NOTHING
    ratio = table.away.state.ratio if table.design.backup is None else None
    return NOTHING if ratio is None else _spanned([ratio], line)


def _flying(table: ControlTable, leg: Leg, line: Span) -> Span:
    """The output over every mixture of positions that a move meets; 0 where the output is on nothing."""
    if not leg.flown.examined:
        return _output(table, leg.start, line)
    return _spanned(
        [one.ratio if isinstance(one, Gain) else Fraction(0) for one in leg.outcomes] or [Fraction(0)], line
    )


def _spanned(ratios: list[Fraction], line: Span) -> Span:
    ends = [ratio * volt for ratio in ratios for volt in (line.low, line.high)]
    return Span(min(ends), max(ends))
