"""What the firmware must do from call to call, worked out from the program: the course that ships with it.

It goes through all readings, rising and back, and through one that cannot be: so through every band where the line is
read. Read elsewhere, what is read changes with the band, which a course of readings does not follow.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from tapplan.control.program import Passing, Program
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.ticks import settlings, times

NO_READING = -1


@dataclass(frozen=True, slots=True)
class Call:
    """So many calls, a tick apart, with one reading: the band and the coils that must stand after each."""

    count: int
    reading: int
    band: int
    mask: int


def rehearsed(made: Program, tick_ms: int) -> list[Call]:
    """The course of a program, like calls joined."""
    most = _longest(made, tick_ms)
    here, found = _Course(made, tick_ms), list[Call]()
    for reading in _readings(made):
        left = most
        while left > 0:
            here.call(reading)
            alike = left - 1 if here.rests else min(here.alike(reading), left - 1)
            here.pass_by(alike)
            left -= 1 + alike
            now = Call(1 + alike, reading, made.number(here.standing), here.mask)
            if found and replace(found[-1], count=now.count) == now:
                now = replace(now, count=found.pop().count + now.count)
            found.append(now)
    return found


def _longest(made: Program, tick_ms: int) -> int:
    """More calls than any decision and its move take."""
    steps = max(len(one.masks) for one in (*made.passings.values(), *made.retreats))
    most = sum(one.acts_ms(tick_ms) for one in times(made) if one.key != "pause_ms")
    most += steps * max((one.acts_ms(tick_ms) for one in (*times(made), *settlings(made))), default=0)
    return most // tick_ms + 4


def _readings(made: Program) -> Iterator[int]:
    """The middle of what keeps each band, up and down, readings that are none, one too low, and back."""
    middles = [_middle(made, number) for number in range(len(made.nodes) - 1)]
    yield from (NO_READING, *middles, NO_READING, *reversed(middles), 0, middles[len(middles) // 2])


def _middle(made: Program, number: int) -> int:
    node = made.nodes[number]
    place = node.answers.index(InRow(number))
    low = node.firsts[place - 1] if place else 0
    return (low + node.firsts[place] - 1) // 2  # every hold ends


class _Course:
    """A controller that is called every tick; it `rests` while its reading keeps the standing."""

    def __init__(self, made: Program, tick_ms: int) -> None:
        self._made, self._tick = made, tick_ms
        self._since: int | None = None
        self._now = 0
        self._left: list[tuple[int, int]] = []
        self.standing: Standing = AWAY
        self.mask = 0
        self.rests = False
        self._begin(made.retreats[-1])

    def call(self, reading: int) -> None:
        """One tick later, with one reading."""
        self._now += self._tick
        self.rests = False
        while self._left and self._now >= self._due:
            self._next()
        if self._now >= self._due:
            self._judge(reading)

    def alike(self, reading: int) -> int:
        """How many calls follow at which only time passes while this reading stands."""
        until = self._due
        if self._since is not None:
            until = max(until, self._since + ceil(self._needed(reading)))
        return max(-((self._now - until) // self._tick) - 1, 0)

    def pass_by(self, calls: int) -> None:
        """So many calls at which nothing changes."""
        self._now += calls * self._tick

    def _begin(self, passing: Passing) -> None:
        waits = [ceil(wait) for wait in passing.waits_ms]
        self._left = list(zip(passing.masks, waits, strict=True))
        self._due = self._now
        self._next()
        while self._left and self._due == self._now:
            self._next()

    def _next(self) -> None:
        self.mask, wait = self._left.pop(0)
        self._due = self._now + wait

    def _judge(self, reading: int) -> None:
        made, here = self._made, self.standing
        beyond = reading < 0 or (made.most_reading is not None and reading > made.most_reading)
        then = AWAY if beyond else made.decided(here, reading)
        if then == here:
            self._since, self.rests = None, True
            return
        if self._since is None:
            self._since = self._now
        if self._now - self._since < self._needed(reading):
            return
        passing = made.retreats[made.number(here)] if beyond else made.step(here, then)
        self.standing, self._since = then, None
        self._begin(passing)

    def _needed(self, reading: int) -> Fraction:
        """Whole ms: up or down, by the side on which the reading lies of all that keep the band."""
        design, here = self._made.table.design, self.standing
        if not isinstance(here, InRow):
            return Fraction(0) if design.backup is None else Fraction(ceil(design.backup.return_after_ms))
        node = self._made.nodes[here.number]
        place = node.answers.index(here)
        upward = place < len(node.firsts) and reading >= node.firsts[place]
        return Fraction(ceil(design.sensing.confirmation_ms(upward=upward)))
