"""A plain simulation in time of the whole stage: line, source, reading, confirmation, relays in flight, load.

The line is an EMF over time behind the source's resistance. Time goes in equal steps, an exact part of the reading's
window; each ends with a reading (or every so many do). Relays move at exact times of their own: what the output
stands on during a move is known to the instant, volts are known to the step. What the format leaves free, relay
times, bounce, noise, the phase of a window with ripple, is drawn from a `random.Random` or set to an extreme.

The load is a resistance in phase with the line (the "impedance" model at unity power factor). It is on from the
decision that puts a band in force to the decision that leaves for away.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from math import ceil, inf, nan, pi
from random import Random
from typing import Any, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from tests.outside import rule
from tests.outside.stage import AWAY, DRIVEN, NOTHING, OPEN, REST, Network, Positions, Relay, Stage, Within

Floats = NDArray[np.floating[Any]]
Emf = Callable[[Floats], Floats]
"""Volts RMS behind the source at these times in ms; times before 0 are asked too, for the first window."""

Decide = Callable[[str, float], str]
"""From the row in force, or away, and a reading to the row that follows."""

Noise = Callable[[str, float], float]
"""From the row in force and the reading without noise to the noise, in volts at the place sensed."""

Orders = Mapping[tuple[str, str], Sequence[str]]
"""For each move, from and to, the relays one after the other."""

TINY_MS = 1e-7


class Flight(NamedTuple):
    """What one relay takes this time, in ms: until its contact opens, until the other throw closes, until still."""

    delay: float
    transfer: float
    bounce: float


Times = Callable[[Relay, bool, Random], Flight]
"""How a relay's flight is drawn; the flag says whether the coil is driven or let go."""


@dataclass(frozen=True)
class Settings:
    """How one course is run; the free things are drawn at random unless it says otherwise.

    `error`: the static share of the reading, signed, one a course. `noise`: "random", "extremes" (either end at each
    reading), "greedy" (whichever end makes the controller leave its row, if one does), "none", or a callable.
    `times`: "random", "extremes" (either end of each interval), "most", "least", or a callable. `bounce`: "random" in
    each step, "open", "closed". `frequency_hz`: within the stage's span (default: its lowest, the longest window).
    `joins`: the load comes back from away at the "decision", or once the relays have "settled".
    `reading_every_ms`: default, each step.
    """

    step_ms: float = 0.5
    error: float = 0.0
    noise: str | Noise = "random"
    times: str | Times = "random"
    bounce: str = "random"
    frequency_hz: float | None = None
    loaded: bool = True
    joins: str = "decision"
    reading_every_ms: float | None = None
    start: str = AWAY


@dataclass(frozen=True, slots=True)
class Decision:
    """One change of the row in force: when (ms), between which rows, at which reading, and the coils that change."""

    time: float
    before: str
    after: str
    reading: float
    moved: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spell:
    """An interval in ms, and the move in which it began (the row twice when it began in none)."""

    start: float
    end: float
    before: str
    after: str

    @property
    def length(self) -> float:
        """How long it lasts, in ms."""
        return self.end - self.start


@dataclass(frozen=True, slots=True)
class Excursion:
    """A run of steps with the output beyond a level: from and to (ms), and the volts farthest beyond it."""

    start: float
    end: float
    volts: float


@dataclass
class Record:
    """What a course did. `emf`, `inlet` and `output` are volts RMS a step of `step_ms`.

    `output` is nan while the load is off or turns are shorted, 0 on nothing. `gaps`: the load on nothing; `shorts`:
    turns shorted, or line tied to neutral.
    """

    step_ms: float
    start: str
    emf: Floats
    inlet: Floats
    output: Floats
    decisions: list[Decision] = field(default_factory=list)
    gaps: list[Spell] = field(default_factory=list)
    shorts: list[Spell] = field(default_factory=list)
    operations: dict[str, int] = field(default_factory=dict)

    @property
    def moves(self) -> list[Decision]:
        """The decisions that change coils."""
        return [one for one in self.decisions if one.moved]

    @property
    def row(self) -> str:
        """The row at the end."""
        return self.decisions[-1].after if self.decisions else self.start

    def row_at(self, time: float) -> str:
        """The row in force at this time, from its decision on."""
        place = bisect_right([one.time for one in self.decisions], time)
        return self.decisions[place - 1].after if place else self.start

    def highest(self) -> float:
        """The most volts at the connected load, -inf when it never was on."""
        return float(np.max(self.output, initial=-inf, where=~np.isnan(self.output)))

    def lowest(self) -> float:
        """The least volts at the connected load while it stood on something, inf when it never did."""
        return float(np.min(self.output, initial=inf, where=self.output > 0))

    def above(self, level: float) -> list[Excursion]:
        """Every run of steps with the output above a level."""
        return [Excursion(*ends, float(self.output[cut].max())) for ends, cut in self._runs(self.output > level)]

    def below(self, level: float) -> list[Excursion]:
        """Every run of steps with the output below a level, on nothing included."""
        return [Excursion(*ends, float(self.output[cut].min())) for ends, cut in self._runs(self.output < level)]

    def _runs(self, beyond: NDArray[np.bool_]) -> Iterator[tuple[tuple[float, float], slice]]:
        edges = np.flatnonzero(np.diff(np.concatenate(([False], beyond, [False]))))
        for first, end in edges.reshape(-1, 2).tolist():
            yield (first * self.step_ms, end * self.step_ms), slice(first, end)


def line(*points: tuple[float, float]) -> Emf:
    """An EMF of straight pieces through (ms, volts), level before and after; two points at one time make a step."""
    times, levels = zip(*points, strict=True)
    return lambda at: np.interp(at, times, levels)


def run(
    stage: Stage,
    emf: Emf,
    duration_ms: float,
    chance: Random,
    settings: Settings | None = None,
    *,
    network: Network | None = None,
    decide: Decide | None = None,
    orders: Orders | None = None,
) -> Record:
    """One course of the stage. `decide` is by default the literal rule; `orders` is needed for order "safest".

    A network given again saves solving each combination of positions anew.
    """
    network = network or Network(stage)
    table = rule.table_of(stage, network).in_floats()
    course = _Course(
        copper=_Copper(network),
        emf=emf,
        duration=duration_ms,
        chance=chance,
        settings=settings or Settings(),
        table=table,
        decide=decide or partial(rule.decide, table),
        orders=orders or {},
    )
    return course.finished()


def in_file_order(stage: Stage) -> dict[tuple[str, str], list[str]]:
    """For every move the relays one after the other as the file lists them: a plain stand-in for advised orders."""
    rows = [AWAY, *(band.name for band in stage.bands)]
    names = [relay.name for relay in stage.relays]
    return {(before, after): names for before in rows for after in rows if before != after}


class _Effect(NamedTuple):
    """What a combination of positions makes of each volt of EMF: inlet, reading, output (nan: load off, shorted)."""

    inlet: float
    sensed: float
    output: float
    kind: str


class _Copper:
    """The effect of each combination of positions, with the load on, on but light, or off."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.stage = network.stage
        self._known: dict[tuple[Positions, bool, bool], _Effect] = {}

    def effect(self, positions: Positions, connected: bool, loaded: bool) -> _Effect:
        """Worked out once: `connected` says whether the load is on, `loaded` whether it then draws its current."""
        key = (positions, connected, loaded)
        if key not in self._known:
            self._known[key] = self._effect(*key)
        return self._known[key]

    def _effect(self, positions: Positions, connected: bool, loaded: bool) -> _Effect:
        outcome = self.network.outcome(positions)
        if outcome.kind == "shorted":
            inlet = 0.0 if self.stage.source_ohm else 1.0
            return _Effect(inlet, inlet if self.stage.sensing.at == "input" else 0.0, nan, outcome.kind)
        if connected and loaded:
            inlet = 1 / (1 + self.stage.source_ohm * outcome.admittance)
            ratio, sensed = outcome.loaded_ratio, outcome.loaded_sensed
        else:
            inlet, ratio, sensed = 1.0, float(outcome.ratio or 0), float(outcome.sensed or 0)
        return _Effect(inlet, abs(sensed) * inlet, abs(ratio) * inlet if connected else nan, outcome.kind)


class _Change(NamedTuple):
    """From this time on (ms) the relays stand so, and the load is on or off."""

    time: float
    positions: Positions
    connected: bool


class _Command(NamedTuple):
    """A coil's change: which relay, driven or let go, at which time in ms."""

    number: int
    driven: bool
    time: float


class _Watch:
    """Collects the spells in which something is so, told of each change in time."""

    def __init__(self) -> None:
        self.spells: list[Spell] = []
        self._since: tuple[float, str, str] | None = None

    def tell(self, time: float, so: bool, move: tuple[str, str]) -> None:
        """From this time on it is so, or not."""
        if so and self._since is None:
            self._since = (time, *move)
        elif not so and self._since is not None:
            start, before, after = self._since
            if time - start > TINY_MS:
                self.spells.append(Spell(start, time, before, after))
            self._since = None


class _Meter:
    """The reading over a window of whole steps, from running sums of what the sensed volts contribute.

    Over whole half cycles of the line the sums are of RMS volts; over any other window the sine itself is summed,
    from a phase drawn for the course, each step's share worked out exactly.
    """

    def __init__(self, stage: Stage, settings: Settings, steps: Callable[[float], int], phase: float) -> None:
        hertz = settings.frequency_hz or stage.frequency[0]
        window = 1000 * float(stage.sensing.cycles) / hertz
        self.window = max(1, round(window / settings.step_ms))
        self.step_ms = window / self.window
        self.detector = stage.sensing.detector
        count = steps(self.step_ms) + self.window
        angle = 2 * pi * hertz / 1000 * self.step_ms
        ripples = (2 * stage.sensing.cycles).denominator != 1
        self._shape = _shape(self.detector, phase + angle * np.arange(count + 1), angle) if ripples else None
        self._sums = np.zeros(count + 1)
        self._shares = np.zeros(count)

    def take(self, first: int, volts: Floats) -> None:
        """Sensed volts RMS of the steps from this one on, counted from the start of the first window."""
        share = volts * volts if self.detector == "rms" else volts
        end = first + len(volts)
        if self._shape is not None:
            share = share * self._shape[first:end]
        self._shares[first:end] = share
        np.cumsum(share, out=self._sums[first + 1 : end + 1])
        self._sums[first + 1 : end + 1] += self._sums[first]

    def readings(self, first: int, end: int) -> Floats:
        """The reading at the end of each of these steps, without error and noise."""
        if self.detector == "peak":
            windows = sliding_window_view(self._shares[first - self.window + 1 : end], self.window)
            return np.asarray(windows.max(axis=1))
        sums = self._sums
        mean = (sums[first + 1 : end + 1] - sums[first + 1 - self.window : end + 1 - self.window]) / self.window
        return np.sqrt(np.maximum(mean, 0)) if self.detector == "rms" else mean


def _shape(detector: str, angles: Floats, angle: float) -> Floats:
    """What each step of a sine of 1 V RMS contributes, between these angles, as calibrated for a sine."""
    if detector == "rms":  # the mean of 2 sin^2
        return 1 - np.diff(np.sin(2 * angles)) / (2 * angle)
    if detector == "average":  # the mean of |sin|, times pi/2; its integral climbs by 2 each half turn
        turns = np.floor(angles / pi)
        return np.asarray(np.diff(2 * turns + 1 - np.cos(angles - turns * pi)) / angle * pi / 2)
    crests = np.diff(np.floor(angles / pi - 0.5)) > 0
    return np.where(crests, 1.0, np.maximum(np.abs(np.sin(angles[:-1])), np.abs(np.sin(angles[1:]))))


class _Course:
    """The state of a course while it runs."""

    def __init__(
        self,
        *,
        copper: _Copper,
        emf: Emf,
        duration: float,
        chance: Random,
        settings: Settings,
        table: rule.Table,
        decide: Decide,
        orders: Orders,
    ) -> None:
        self.copper, self.stage = copper, copper.stage
        self.chance, self.settings, self.orders = chance, settings, orders
        self.table, self.decide = table, decide
        self.meter = _Meter(self.stage, settings, lambda step: ceil(duration / step), chance.uniform(0, 2 * pi))
        self.step_ms, self.past = self.meter.step_ms, self.meter.window
        self.steps = ceil(duration / self.step_ms)
        self.emf = np.asarray(emf((np.arange(-self.past, self.steps) + 0.5) * self.step_ms), dtype=np.float64)
        self.every = max(1, round((settings.reading_every_ms or 0) / self.step_ms))
        self.half_noise = float(self.stage.sensing.noise) / 2
        self.noise = self._noise()
        self.inlet, self.output = np.empty(self.steps), np.empty(self.steps)
        self.row, self.positions = settings.start, self.stage.standing(settings.start)
        self.connected = self.row != AWAY
        self.ready = self.step_ms
        self.since: float | None = None
        self.changes: deque[_Change] = deque()
        self.decisions: list[Decision] = []
        self.operations = {relay.name: 0 for relay in self.stage.relays}
        self.gaps, self.shorts = _Watch(), _Watch()

    def _noise(self) -> Floats | Noise:
        """The noise of each step's reading, or what finds it once row and reading are known."""
        kind, dice = self.settings.noise, np.random.default_rng(self.chance.getrandbits(63))
        if not isinstance(kind, str):
            return kind
        match kind:
            case "random":
                return dice.uniform(-self.half_noise, self.half_noise, self.steps)
            case "extremes":
                return self.half_noise * (2.0 * dice.integers(0, 2, self.steps) - 1)
            case "greedy":
                return self._greedy
            case "none":
                return np.zeros(self.steps)
            case _:
                raise ValueError(f"noise {kind!r}")

    def _greedy(self, row: str, reading: float) -> float:
        side = self.chance.choice((-self.half_noise, self.half_noise))
        return side if self.decide(row, reading + side) != row else -side

    def finished(self) -> Record:
        """The whole course."""
        self._start()
        step, chunk = 0, 32
        while step < self.steps:
            self._turn_to(step)
            end = min(step + chunk, self.steps, self._next_change())
            self._fill(step, end)
            taken = self._scan(step, end)
            step, chunk = (taken, 32) if taken is not None else (end, min(2 * chunk, 2048))
        over = self.steps * self.step_ms
        for watch in (self.gaps, self.shorts):
            watch.tell(over, False, (self.row, self.row))
        return Record(
            step_ms=self.step_ms,
            start=self.settings.start,
            emf=self.emf[self.past :],
            inlet=self.inlet,
            output=self.output,
            decisions=self.decisions,
            gaps=self.gaps.spells,
            shorts=self.shorts.spells,
            operations=self.operations,
        )

    def _start(self) -> None:
        """The first window: the line as it was, the stage as it stands at the start."""
        effect = self._effect(self.positions, self.connected)
        self.meter.take(0, self.emf[: self.past] * effect.sensed)
        self._watch(_Change(0.0, self.positions, self.connected), (self.row, self.row))

    def _effect(self, positions: Positions, connected: bool) -> _Effect:
        return self.copper.effect(positions, connected, self.settings.loaded)

    def _watch(self, change: _Change, move: tuple[str, str]) -> None:
        kind = self._effect(change.positions, change.connected).kind
        self.gaps.tell(change.time, change.connected and kind in NOTHING, move)
        self.shorts.tell(change.time, kind == "shorted", move)

    def _step_of(self, change: _Change) -> int:
        """The first step whose middle lies at the change or after it."""
        return ceil(change.time / self.step_ms - 0.5)

    def _turn_to(self, step: int) -> None:
        while self.changes and self._step_of(self.changes[0]) <= step:
            _, self.positions, self.connected = self.changes.popleft()

    def _next_change(self) -> int:
        return self._step_of(self.changes[0]) if self.changes else self.steps

    def _fill(self, first: int, end: int) -> None:
        """The volts of these steps, all with the relays as they stand now."""
        effect = self._effect(self.positions, self.connected)
        emf = self.emf[self.past + first : self.past + end]
        np.multiply(emf, effect.inlet, out=self.inlet[first:end])
        np.multiply(emf, effect.output, out=self.output[first:end])
        self.meter.take(self.past + first, emf * effect.sensed)

    def _scan(self, first: int, end: int) -> int | None:
        """Ask the controller at each reading that counts; the step after a decision, or None when there is none."""
        first = max(first, ceil((self.ready - TINY_MS) / self.step_ms) - 1)
        first += -(first + 1) % self.every
        if first >= end:
            return None
        readings = self.meter.readings(self.past + first, self.past + end)[:: self.every]
        readings = readings * (1 + self.settings.error)
        if callable(self.noise):
            taken = self._first_taken(first, readings.tolist(), self.noise)
        else:
            readings += self.noise[first : end : self.every]
            taken = self._first_taken(first, readings.tolist(), None)
        if taken is None:
            return None
        step, decision = taken
        after = min(max(step + 1, ceil(decision.time / self.step_ms - 0.5)), self.steps)
        # Every relay is still by now, even where its last change lies nearer to the middle of the next step.
        self._turn_to(step + 1)
        self._fill(step + 1, after)
        self._begin(decision)
        return after

    def _first_taken(self, first: int, readings: list[float], noise: Noise | None) -> tuple[int, Decision] | None:
        """The first decision among these readings, and the step of its reading."""
        row, decide, spacing = self.row, self.decide, self.every * self.step_ms - TINY_MS
        for place, reading in enumerate(readings):
            if noise is not None:
                reading += noise(row, reading)
            answer = decide(row, reading)
            if answer == row:
                self.since = None
                continue
            step = first + place * self.every
            now = (step + 1) * self.step_ms
            if self.since is None:
                self.since = now
            due = self.since + self._wait(reading)
            if due < now + spacing:  # the answer that stands when the time ends: no later reading comes before
                return step, Decision(max(due, now), row, answer, reading, ())
        return None

    def _wait(self, reading: float) -> float:
        """How long readings must have left the row: by the side on which this one lies."""
        if self.row == AWAY:
            return self.stage.backup.return_after if self.stage.backup else 0.0
        low, high = self.table.holds[self.table.places[self.row]]
        upward = reading > (low + high) / 2
        return self.stage.sensing.confirm_up if upward else self.stage.sensing.confirm_down

    def _begin(self, decision: Decision) -> None:
        """Command the relays; all that follows until every one is still is known from here."""
        move = (decision.before, decision.after)
        commands = self._commands(move, decision.time)
        self.ready = self._settled(commands, decision.time)
        for change in self._changes(commands, decision):
            self.changes.append(change)
            self._watch(change, move)
        moved = tuple(self.stage.relays[one.number].name for one in commands)
        for name in moved:
            self.operations[name] += 1
        self.decisions.append(Decision(decision.time, *move, decision.reading, moved))
        self.row, self.since = decision.after, None

    def _commands(self, move: tuple[str, str], time: float) -> list[_Command]:
        target = self.stage.standing(move[1])
        movers = {
            relay.name: _Command(number, target[number] == DRIVEN, time)
            for number, relay in enumerate(self.stage.relays)
            if target[number] != self.positions[number]
        }
        order = self._order(move, len(movers))
        if order is None:
            return list(movers.values())
        ordered = []
        for name in (name for name in order if name in movers):
            ordered.append(movers.pop(name)._replace(time=time))
            pause = self.stage.sequence.pause
            last = self.stage.relays[ordered[-1].number]
            time += last.latest(ordered[-1].driven) if pause is None else pause
        if movers:
            raise ValueError(f"the order of {move} leaves out {sorted(movers)}")
        return ordered

    def _order(self, move: tuple[str, str], movers: int) -> Sequence[str] | None:
        """The relays one after the other, or None for all at one instant."""
        sequence = self.stage.sequence
        if movers < 2:
            return None
        if move in sequence.moves:
            return sequence.moves[move]
        return self.orders[move] if sequence.order == "safest" else None

    def _settled(self, commands: list[_Command], time: float) -> float:
        """From when on readings count: every relay still at its latest, and the blanking over."""
        still = [one.time + self.stage.relays[one.number].latest(one.driven) for one in commands]
        blanked = [one.time + self.stage.sequence.blank for one in commands]
        return max([time, *still, *blanked])

    def _changes(self, commands: list[_Command], decision: Decision) -> Iterator[_Change]:
        """The combinations of positions that the move passes through, each with its exact time."""
        connected = decision.after != AWAY
        late = connected and decision.before == AWAY and self.settings.joins == "settled"
        events = [event for command in commands for event in self._flight(command)]
        positions = list(self.positions)
        yield _Change(decision.time, self.positions, connected and not late)
        for time, number, position in sorted(events, key=lambda event: event[0]):
            positions[number] = position
            yield _Change(time, tuple(positions), connected and not late)
        if late:
            yield _Change(self.ready, tuple(positions), connected)

    def _flight(self, command: _Command) -> Iterator[tuple[float, int, int]]:
        """One relay's contact: time, relay, position; open in flight, then bouncing, then still."""
        relay = self.stage.relays[command.number]
        flight = _drawn(relay, command.driven, self.settings.times, self.chance)
        there = DRIVEN if command.driven else REST
        opens = command.time + flight.delay
        closes = opens + flight.transfer
        still = closes + flight.bounce
        yield opens, command.number, OPEN
        match self.settings.bounce:
            case "closed":
                yield closes, command.number, there
            case "random":
                while closes < still:
                    yield closes, command.number, self.chance.choice((OPEN, there))
                    closes += self.step_ms
        yield still, command.number, there


def _drawn(relay: Relay, driven: bool, times: str | Times, chance: Random) -> Flight:
    """What this relay takes this time."""
    if not isinstance(times, str):
        return times(relay, driven, chance)
    spans = (relay.delay(driven), relay.transfer, relay.bounce)
    return Flight(*(_within(span, times, chance) for span in spans))


def _within(span: Within, times: str, chance: Random) -> float:
    match times:
        case "random":
            return chance.uniform(span.least, span.most)
        case "extremes":
            return chance.choice((span.least, span.most))
        case "least":
            return span.least
        case "most":
            return span.most
        case _:
            raise ValueError(f"times {times!r}")
