"""Timed courses for firmware, (elapsed, reading) and the mask that must follow, by a plain reading of the rule.

The stage here knows times only: since when readings have not kept the standing, until when none counts, and at which
instants of a move the coils change. Decisions are looked up in the compiled controller.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from math import ceil
from random import Random

from tapplan.control.program import Passing, Program
from tapplan.control.standing import AWAY, InRow, Standing

LONGEST = 65_535  # ms in one call
EXTREMES = {-(2**31), -1, 0, 2**31 - 1}


class Doing(Enum):
    """What a call comes to."""

    WAITS = "relays settle, the reading does not count"
    KEEPS = "the reading keeps the standing"
    DOUBTS = "the reading leads elsewhere, not for long enough"
    MOVES = "coils change"


@dataclass(frozen=True)
class Step:
    """One call: ms since the one before, the reading, the coils that must be driven after it, what it comes to."""

    elapsed_ms: int
    reading: int
    mask: int
    doing: Doing


Course = tuple[Step, ...]


@dataclass(frozen=True)
class Driven:
    """Coils driven, and the ms until the next, or until readings count."""

    mask: int
    wait_ms: int


@dataclass
class Stage:
    """A controller in whole milliseconds, just switched on with every coil at rest.

    A wait begins when its coils are driven, at a call, and ends at the first call at its end or later. A reading that
    cannot be leads away.
    """

    program: Program
    standing: Standing = AWAY
    now: int = 0
    mask: int = 0
    doubted: int | None = None  # since when readings do not keep the standing
    due: int = 0  # when the next coils are driven, or readings count
    left: list[Driven] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._begin(self.program.retreats[-1])

    def step(self, elapsed_ms: int, reading: int) -> None:
        while elapsed_ms > LONGEST:
            self.step(LONGEST, reading)
            elapsed_ms -= LONGEST
        self.now += elapsed_ms
        before, doing = self.mask, Doing.WAITS
        if self.left and self.now >= self.due:
            self._drive()
        if self.now >= self.due:
            here = self.standing
            self._read(reading)
            doing = Doing.KEEPS if self.doubted is None else Doing.DOUBTS
            doing = Doing.MOVES if self.standing != here else doing
        doing = Doing.MOVES if self.mask != before else doing
        self.steps.append(Step(elapsed_ms, reading, self.mask, doing))

    def _drive(self) -> None:
        """The coils whose turn it is, and those that follow without a wait."""
        self.due = self.now
        while self.left and self.due == self.now:
            driven = self.left.pop(0)
            self.mask, self.due = driven.mask, self.now + driven.wait_ms

    def decided(self, reading: int) -> Standing:
        return AWAY if self._beyond(reading) else self.program.decided(self.standing, reading)

    def _beyond(self, reading: int) -> bool:
        most = self.program.most_reading
        return reading < 0 or (most is not None and reading > most)

    def _read(self, reading: int) -> None:
        then = self.decided(reading)
        if then == self.standing:
            self.doubted = None
            return
        self.doubted = self.now if self.doubted is None else self.doubted
        if self.now - self.doubted >= self.waits(reading):
            made = self.program
            way = (
                made.retreats[made.number(self.standing)] if self._beyond(reading) else made.step(self.standing, then)
            )
            self.standing, self.doubted = then, None
            self._begin(way)

    def waits(self, reading: int) -> int:
        """The ms for which such readings must last, by whether they lie above or below what keeps the standing."""
        design, standing = self.program.table.design, self.standing
        if not isinstance(standing, InRow):
            return ceil(design.backup.return_after_ms) if design.backup is not None else 0
        above = reading > self.program.table.rows[standing.number].kept.high * self.program.per_volt
        return ceil(design.sensing.confirmation_ms(upward=above))

    def _begin(self, way: Passing) -> None:
        self.left = [Driven(mask, ceil(wait)) for mask, wait in zip(way.masks, way.waits_ms, strict=True)]
        self._drive()

    def until_counted(self, reading: int) -> None:
        """At and 1 ms before each change of the coils, and before readings count again."""
        here = self.standing
        while self.standing == here and (self.left or self.due > self.now + 1):
            ahead = self.due - self.now
            if ahead > 1:
                self.step(ahead - 1, reading)
            if not self.left:
                return
            self.step(max(min(ahead, 1), 0), reading)

    def settle(self, reading: int) -> None:
        """A reading for as long as it takes, in few steps."""
        self._come_to_rest(reading)
        wait = self.waits(reading)
        self.step(1, reading)
        self.step(wait, reading)
        self._come_to_rest(reading)

    def _come_to_rest(self, reading: int) -> None:
        here = self.standing
        while self.standing == here and (self.left or self.due > self.now):
            self.step(max(self.due - self.now, 0), reading)


def courses(made: Program) -> list[Course]:
    """Every threshold of every standing at and beside it, confirmed and moved; broken off; and chance."""
    ways = _ways(made)
    found = [one for standing in ways for one in _at_thresholds(made, standing, ways[standing])]
    found += [one for standing in ways for one in _broken_off(made, standing, ways[standing])]
    return [*found, *_by_chance(made)]


Way = tuple[int, ...]  # readings, each until the relays have come to rest


def _ways(made: Program) -> dict[Standing, Way]:
    """How to come into each standing that can be come into, by the fewest readings."""
    ways: dict[Standing, Way] = {AWAY: ()}
    for standing in (waiting := [AWAY]):
        for reading in _between(made, standing):
            stage = _along(made, (*ways[standing], reading))
            if stage.standing not in ways:
                ways[stage.standing] = (*ways[standing], reading)
                waiting.append(stage.standing)
    return ways


def _along(made: Program, readings: Way) -> Stage:
    stage = Stage(made)
    for reading in readings:
        stage.settle(reading)
    return stage


def _between(made: Program, standing: Standing) -> list[int]:
    """A reading for each answer."""
    return [0, *made.nodes[made.number(standing)].firsts]


def _last_counts(made: Program) -> set[int]:
    most = made.most_reading
    return set() if most is None else {most, most + 1}


def _at_thresholds(made: Program, standing: Standing, way: Way) -> Iterator[Course]:
    firsts = made.nodes[made.number(standing)].firsts
    beside = {first + step for first in firsts for step in (-1, 0, 1)}
    wrapped = {2**16 + first for first in firsts[:2]}  # what 16 bits would take for less
    for reading in sorted(beside | wrapped | EXTREMES | _last_counts(made)):
        stage = _along(made, way)
        wait = stage.waits(reading)
        stage.step(1, reading)
        if wait > 1:
            stage.step(wait - 1, reading)
        stage.step(1, reading)
        stage.until_counted(0)
        stage.step(max(stage.due - stage.now, 0), reading)
        stage.step(1, reading)
        yield tuple(stage.steps)


def _broken_off(made: Program, standing: Standing, way: Way) -> Iterator[Course]:
    """A reading that keeps the standing begins the time anew."""
    readings = _between(made, standing)
    leaving = [one for one in readings if made.decided(standing, one) != standing]
    keeping = [one for one in readings if made.decided(standing, one) == standing]
    for away_from in leaving:
        stage = _along(made, way)
        if not keeping or (wait := stage.waits(away_from)) < 2:
            return
        stage.step(1, away_from)
        stage.step(wait - 1, away_from)
        stage.step(0, keeping[0])
        stage.step(0, away_from)
        stage.step(wait - 1, away_from)
        stage.step(1, away_from)
        yield tuple(stage.steps)


def _by_chance(made: Program) -> Iterator[Course]:
    chance = Random("courses")
    near = sorted({first + step for first in made.thresholds for step in (-1, 0, 1)} | {-1})
    for pace in ((0, 1, 2, 5), (1, 7, 20, 40), (10, 100, 1000, LONGEST)):
        stage = Stage(made)
        for _ in range(60):
            reading = chance.choice(near)
            for _ in range(chance.randint(1, 4)):
                stage.step(chance.choice(pace), reading)
        yield tuple(stage.steps)
