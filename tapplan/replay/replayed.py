"""One log through one machine, or through several side by side, in bounded memory."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from tapplan.arrays import Micros
from tapplan.errors import LogError, UsageError
from tapplan.logs.ahead import ahead
from tapplan.logs.samples import BadRows, Chunk, Log
from tapplan.logs.spacing import Spacing, spacing
from tapplan.replay.cells import Stored
from tapplan.replay.clock import DAY
from tapplan.replay.counting import Account, count
from tapplan.replay.course import CarriedOn, StandstillError, Stretch, followed
from tapplan.replay.engines import NUMPY, Backend, Engines
from tapplan.replay.machine import Machine
from tapplan.replay.segments import segments
from tapplan.replay.steps import Distances
from tapplan.replay.tally import Tally

USUAL_GAP = 3  # usual steps
MOST_STANDING = 366 * DAY  # that a sample may stand for
AT_ONCE = 4 * 366 * DAY  # that is counted together
NO_BREAKS = np.zeros(0, np.int64)
NOTHING = Stretch(NO_BREAKS, np.zeros(0, np.float64), NO_BREAKS)


@dataclass(frozen=True, slots=True)
class Running:
    """How a log is run: the gap asked for in microseconds, when to stop, whom to tell how many samples passed.

    `see` is shown each stretch that the first machine has followed, in order of time, as it is counted.
    """

    max_gap: int | None = None
    stop: Callable[[], bool] = lambda: False
    tell: Callable[[int], None] = lambda samples: None
    see: Callable[[Account], None] = lambda account: None
    engines: Engines = field(default_factory=Engines)


@dataclass(frozen=True)
class LogRun:
    """A log that has been run: what of it was read, and a tally for each machine.

    `step`: the usual one; `max_gap`: a longer distance is a gap; times in microseconds. `partial`: stopped before its
    end.
    """

    name: str
    made: str | None
    first: int
    last: int
    step: int
    max_gap: int
    bad: BadRows
    tallies: tuple[Tally, ...]
    partial: bool = False


def replayed(log: Log, machines: Sequence[Machine], running: Running | None = None) -> LogRun:
    """A log through each machine, read once for all of them.

    What a gap is hangs on the median of all steps; the first steps tell it, and where the last ones prove it wrong
    the log is read again.

    Raises:
        LogError: the log cannot be read, or holds no sample.
        UsageError: a controller changes its standing without end at one instant.
    """
    how = running or Running()
    step = None
    while True:
        run = LogPass(log, machines, how, how.max_gap if step is None else USUAL_GAP * step)
        try:
            run.whole()
        except StandstillError as error:
            raise UsageError(stuck(log.name, error)) from None
        if how.max_gap is not None or run.partial or run.gap == USUAL_GAP * run.distances.median:
            return run.ended()
        step = run.distances.median


def stuck(name: str, error: StandstillError) -> str:
    """What is wrong with a course that stands still, in words."""
    return (
        f"{name}: found bands that follow one another without end at {error.time / 1e6:.3f} s, with relays that "
        'take no time; accepted: a design without "chatter" or "hunting", see tapplan check'
    )


class LogPass:
    """A pass over a log, or over a share of one; changed as its chunks come.

    `gap` is None until the first steps tell it. A share is begun from switch-on, as if nothing had come before; after
    its first `head` samples the counts so far are put aside, so that another begin can take their place.
    """

    def __init__(self, log: Log, machines: Sequence[Machine], how: Running, gap: int | None, head: int = 0) -> None:
        self.log, self.how, self.gap = log, how, gap
        self.courses = [LogCourse(one, log.scale) for one in machines]
        self.courses[0].see = how.see
        self.distances, self.bad, self.partial = Distances(), BadRows(), False
        self.samples, self.front = 0, NOTHING
        self.end = NOTHING  # the last sample so far
        self.head = head

    def whole(self) -> None:
        """Every chunk of the log, or all until it is to stop."""
        for chunk in ahead(self.log.chunks()):
            self.bad = self.bad.joined(chunk.bad)
            if len(chunk.times):
                self._take(chunk)
            self.how.tell(self.samples)
            if self.how.stop():
                self.partial = True
                break

    def _take(self, chunk: Chunk) -> None:
        """What stands between the last chunk and this one, then this one."""
        times, readings = chunk.times, stored(chunk.readings)
        parts = [Stretch(times, readings, NO_BREAKS)]
        if not self.samples:
            self.front = Stretch(times[: self.head + 1], readings[: self.head + 1], NO_BREAKS)
            if 0 < self.head < len(times) - 1:
                parts = [self.front, Stretch(times[self.head :], readings[self.head :], NO_BREAKS)]
        else:
            parts.insert(0, between(self.end, parts[0]))
        parts = [piece for part in parts for piece in ([part] if part is self.front else _lasting_years(part))]
        engine = self.how.engines.after(len(times))
        spacings = [self._spaced(one.times, chunk.spacing if one.times is times else None) for one in parts]
        self.samples += len(times)
        self.end = Stretch(times[-1:], readings[-1:], NO_BREAKS)
        if self.gap is None and self.samples > 1:
            self.gap = USUAL_GAP * self.distances.median
        for found, part in zip(spacings, parts, strict=True):
            front = part is self.front
            if found is not None:
                part = replace(part, step=found.least if found.least == found.most else 0)
                self._check(min(found.most, self.gap or 0))
                self._stand(part if found.most <= (self.gap or 0) else broken(part, self.gap or 0), engine)
            if front:
                self._put_aside()

    def _check(self, most: int) -> None:
        """Refuses samples that are to stand for longer than anything is known of the mains.

        Raises:
            LogError: they are.
        """
        if most > MOST_STANDING:
            said = f"found samples {most // DAY} days apart that are no gap"
            raise LogError(
                f"{self.log.name}: {said}; accepted: at most {MOST_STANDING // DAY}, or a shorter --max-gap"
            )

    def _spaced(self, times: Micros, known: Spacing | None) -> Spacing | None:
        """The spacing of some samples, whose distances are counted; None of fewer than two."""
        if len(times) < 2:
            return None
        found = known or spacing(times)
        if found.least == found.most:
            self.distances.add_same(found.least, len(times) - 1)
        else:
            self.distances.add(np.diff(times))
        return found

    def _put_aside(self) -> None:
        for course in self.courses:
            course.put_aside()

    def _stand(self, stretch: Stretch, engine: Backend) -> None:
        for course in self.courses:
            course.take(stretch, engine)

    def ended(self) -> LogRun:
        """The last sample stands for a usual step, and all is told.

        Raises:
            LogError: there is no sample.
        """
        if not self.samples:
            raise LogError(f"{self.log.name}: found no sample; accepted: a log with at least one")
        read = LogRead(self.log.name, self.log.made, self.samples, self.distances, self.gap or 0, self.bad)
        return ended(read, self.front, self.end, self.courses, partial=self.partial)


@dataclass(frozen=True)
class LogRead:
    """What was read of a log."""

    name: str
    made: str | None
    samples: int
    distances: Distances
    gap: int
    bad: BadRows


def ended(read: LogRead, front: Stretch, end: Stretch, courses: Sequence[LogCourse], *, partial: bool) -> LogRun:
    """The log from its first sample to its last, which stands for a usual step."""
    step, last = read.distances.median, int(end.times[0])
    for course in courses:
        if step:
            stands = Stretch(np.array([last, last + step], np.int64), end.readings.repeat(2), NO_BREAKS)
            course.take(stands, NUMPY)
        course.tally.samples = read.samples
        course.tally.finish()
    tallies = tuple(course.tally.trimmed() for course in courses)
    return LogRun(read.name, read.made, int(front.times[0]), last, step, read.gap, read.bad, tallies, partial)


def broken(stretch: Stretch, gap: int) -> Stretch:
    """The same with the samples before a gap marked."""
    return replace(stretch, breaks=np.flatnonzero(np.diff(stretch.times) > gap))


def _lasting_years(stretch: Stretch) -> list[Stretch]:
    """The same in parts of a few years at most, so that what is counted by the clock takes bounded memory."""
    times = stretch.times
    if len(times) < 2 or times[-1] - times[0] <= AT_ONCE:
        return [stretch]
    new = np.flatnonzero(np.diff((times - times[0]) // AT_ONCE)) + 1
    cuts = [0, *new.tolist(), len(times) - 1]
    parts = [slice(low, high + 1) for low, high in pairwise(cuts) if high > low]
    return [Stretch(times[part], stretch.readings[part], NO_BREAKS) for part in parts]


def between(end: Stretch, front: Stretch) -> Stretch:
    """From the last sample of what came before to the first of what comes, which only ends it.

    In the stored kind of the former: in another its decimal would be another.
    """
    times = np.concatenate([end.times, front.times[:1]])
    return Stretch(times, end.readings.repeat(2), NO_BREAKS)


class LogCourse:
    """A machine on its way along a log whose stored readings are worth `scale` volts each."""

    def __init__(self, machine: Machine, scale: Fraction, start: CarriedOn | None = None) -> None:
        self.machine, self.scale = machine, scale
        self.tally, self.head = machine.tally(), machine.tally()
        self.carried = self.at_head = start or CarriedOn()
        self.see: Callable[[Account], None] = lambda account: None

    def take(self, stretch: Stretch, engine: Backend) -> None:
        """Follows a stretch and counts it."""
        machine = self.machine
        cells = machine.cells(self.scale, stretch.readings.dtype)
        found = followed(engine.course, cells, stretch, self.carried)
        parts = segments(stretch, found.pieces, machine.zone)
        factor = machine.grain.factor(self.scale)
        seen = engine.profile(stretch, factor, parts, self.tally.lasting)
        account = Account(stretch, found.pieces, parts, seen, factor, machine.zone)
        count(self.tally, account)
        self.see(account)
        self.carried = found.carried

    def put_aside(self) -> None:
        """What has been counted becomes the head."""
        self.head, self.tally, self.at_head = self.tally, self.machine.tally(), self.carried


def stored(readings: object) -> Stored:
    """Readings in a floating kind that holds each of them exactly; short whole numbers in short ones."""
    found = np.ascontiguousarray(readings)
    if found.dtype in (np.float32, np.float64):
        return found
    return found.astype(np.float32 if found.dtype.itemsize <= 2 else np.float64)
