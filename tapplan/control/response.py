"""What the load sees after a sudden step, phase by phase, at worst.

The change comes at time 0. Until the reading has followed (one averaging window), has stood for the confirmation
and the relays have begun to move, the old state passes the new line on. Then relays fly, and a mixture of old and
new, or nothing, feeds the output; then the next row does. While relays move, nothing is decided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from tapplan.control.flown import Flown
from tapplan.control.standing import InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.exact import Span

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
    """How long an output is at a level or beyond without a break, and how much of that waits for what.

    `confirmed_ms` is what its confirmations take: those upward and downward may differ.
    """

    lasts_ms: Fraction = Fraction(0)
    windows: int = 0
    confirms: int = 0
    confirmed_ms: Fraction = Fraction(0)

    def and_then(self, wait: Wait) -> Level:
        """The same, and a wait after it."""
        confirmed_ms = self.confirmed_ms + wait.confirms * wait.confirm_ms
        return Level(
            self.lasts_ms + wait.ms, self.windows + wait.windows, self.confirms + wait.confirms, confirmed_ms
        )


@dataclass(frozen=True, slots=True)
class Leg:
    """One move of a response: the wait for it, and how it is flown."""

    start: Standing
    end: Standing
    wait: Wait
    flown: Flown

    def stay(self, bad: frozenset[int], waited: Level, *, goes_on: bool = False) -> Level:
        """The longest time in the passages that are bad, `waited` before the first command.

        With `goes_on`, to the end.
        """
        if not self.flown.examined:
            return replace(waited, lasts_ms=waited.lasts_ms + self.flown.given.settled_ms)
        after = LATER if goes_on else Fraction(0)
        with_wait = self.flown.stay_ms(bad, waited.lasts_ms, after) - after
        if not waited.lasts_ms:
            return Level(with_wait)
        without = self.flown.stay_ms(bad, Fraction(0), after) - after
        return replace(waited, lasts_ms=with_wait) if with_wait > without else Level(without)


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
        return WorstLine.of(self, side).levels

    def lasting(self, level: Fraction, side: Side) -> Level:
        """The longest time at a level or beyond it without a break; the last row's own output does not count."""
        return WorstLine.of(self, side).lasting(level)

    def waiting(self, place: int, standing_before: Level) -> Wait:
        """The wait before a leg, where it has to be counted from what is `standing_before` into it.

        A row that a detour passes may be entered long before the reading has followed. Where the level begins with
        that row, and not with the step, the rest of the window can pass in it: the window less the first move.
        """
        wait = self.legs[place].wait
        if not self.detour or place == 0 or standing_before.windows:
            return wait
        spent = self.legs[place - 1].flown.given.settled_ms
        if wait.window_ms - spent <= wait.blanked_ms:
            return wait
        return replace(wait, windows=1, blanked_ms=Fraction(0), spent_ms=spent)


@dataclass(frozen=True, slots=True)
class WorstLine:
    """A response at the line that is worst for one side; `standings` are the outputs of its rows there, in turn."""

    response: Response
    side: Side
    line_v: Fraction
    standings: tuple[Fraction, ...]

    @classmethod
    def of(cls, response: Response, side: Side) -> WorstLine:
        """The line at that end of the response's span."""
        rows = (response.start, *response.entered)
        spans = [_output(response.table, one, response.line) for one in rows]
        if side == "over":
            return cls(response, side, response.line.high, tuple(one.high for one in spans))
        return cls(response, side, response.line.low, tuple(one.low for one in spans))

    @property
    def levels(self) -> list[Fraction]:
        """Every output met on the way, in volts, each once, in rising order."""
        rungs = {rung for leg in self.response.legs for rung in leg.flown.heights.rungs}
        return sorted({*self.standings[:-1], *(rung * self.line_v for rung in rungs)})

    def lasting(self, level: Fraction) -> Level:
        """The longest time at a level or beyond it without a break; the last row's own output does not count."""
        legs, beyond = self.response.legs, [self._beyond(volts, level) for volts in self.standings[:-1]]
        longest, carried = Level(), Level()  # the second: what a leg leaves standing at the level when it ends
        for place, leg in enumerate(legs):
            bad = self._bad(leg, level)
            waited = carried.and_then(self.response.waiting(place, carried)) if beyond[place] else Level()
            longest = max(longest, leg.stay(bad, waited), key=lambda one: one.lasts_ms)
            goes_on = place + 1 < len(legs) and beyond[place + 1]
            carried = leg.stay(bad, waited, goes_on=True) if goes_on else Level()
        return longest

    def _beyond(self, volts: Fraction, level: Fraction) -> bool:
        return volts >= level if self.side == "over" else volts <= level

    def _bad(self, leg: Leg, level: Fraction) -> frozenset[int]:
        """The passages of a leg at a level or beyond it; without a line, all of them or none."""
        heights = leg.flown.heights
        if not self.line_v:
            return heights.to_rung[-1] if self._beyond(Fraction(0), level) else frozenset()
        height = level / self.line_v
        return heights.at_least(height) if self.side == "over" else heights.at_most(height)


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
    """The output over every mixture of positions that a move meets; 0 where the output is on nothing.

    Where none is met, relays that change over in no time, it is what stands before and after that instant.
    """
    before = _output(table, leg.start, line)
    if not leg.flown.examined:
        return before
    rungs = leg.flown.heights.rungs
    if not rungs:
        after = _output(table, leg.end, line)
        return Span(min(before.low, after.low), max(before.high, after.high))
    return _spanned([rungs[0], rungs[-1]], line)


def _spanned(ratios: list[Fraction], line: Span) -> Span:
    ends = [ratio * volt for ratio in ratios for volt in (line.low, line.high)]
    return Span(min(ends), max(ends))
