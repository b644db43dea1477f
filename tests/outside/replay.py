"""A voltage log through the controller, event by event: a plain loop in whole microseconds and exact volts.

A log is a list of samples (time in microseconds, volts at the inlet), times rising; bad rows are out already. Each
is an error-free reading that stands from its own instant up to the next one's, which is no longer its own. The course
first becomes a list of pieces, each with one row in force and one voltage, and a list of events, one a decision;
every figure is then a sum over these two lists.

Where the format leaves room, this is what is taken here:

- The usual step is half the sum of the two middle distances when their number is even, half a microsecond cut off,
  and 0 for a log of one sample.
- The last sample stands for the usual step even where a gap is stated to be shorter than that.
- Nothing is read at the end of the log: the last sample stands up to there, and no other begins.
- A duration in ms is exact until it meets the log's clock, and is then rounded up to a whole microsecond: a
  confirmation as a whole, and the time from a decision until readings count again as a whole.
- A move that changes no coil takes no time, blanking included: the new row reads the same sample at the same instant.
- A stay away goes on through a gap; its length leaves the gap's time out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, sqrt
from random import Random

from tests.outside import rule
from tests.outside.loop import Orders
from tests.outside.stage import AWAY, DRIVEN, Network, Relay, read

GAP = "gap"
INTERVAL_US = 600_000_000
"""Ten minutes; an interval begins at a whole multiple of it."""

Sample = tuple[int, Fraction]
"""When it was read, in microseconds, and the volts at the inlet."""


class HuntingError(Exception):
    """Rows follow one another for ever at one instant, without any time passing."""


@dataclass(frozen=True, slots=True)
class Event:
    """A decision: when, from which row to which, at which volts of the inlet, and the coils that change, in order."""

    time: int
    before: str
    after: str
    volts: Fraction
    moved: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """A time of the log in which one row was in force and one sample stood; over a gap GAP and None.

    `event` is the place among the events of the decision that was the last one then.
    """

    begin: int
    end: int
    row: str
    volts: Fraction | None
    event: int

    @property
    def us(self) -> int:
        """How long it lasts."""
        return self.end - self.begin


@dataclass(frozen=True, slots=True)
class Stay:
    """Away from one decision to another, or to an end of the log; `us` is without the gaps in it."""

    begin: int
    end: int
    us: int


@dataclass(frozen=True, slots=True)
class Interval:
    """Ten minutes that samples cover whole: the mean of the squared volts, at the inlet and at the output."""

    begin: int
    square_in: Fraction
    square_out: Fraction

    @property
    def rms_in(self) -> float:
        """Volts RMS at the inlet."""
        return sqrt(self.square_in)

    @property
    def rms_out(self) -> float:
        """Volts RMS at the output, with 0 V while away."""
        return sqrt(self.square_out)


@dataclass
class Replay:
    """What a log made the controller do; times in microseconds.

    `events` begins with the first decision, which `changes`, `moves` and `transfers` leave out. `us` has every band,
    AWAY and GAP. `outside_us` holds all of `us[AWAY]`, and nothing of a gap.
    """

    samples: int
    step_us: int
    max_gap_us: int
    begin: int
    end: int
    gaps: int = 0
    events: list[Event] = field(default_factory=list)
    pieces: list[Piece] = field(default_factory=list)
    changes: Counter[tuple[str, str]] = field(default_factory=Counter)
    moves: dict[str, int] = field(default_factory=dict)
    us: dict[str, int] = field(default_factory=dict)
    outside_us: int = 0
    transfers: int = 0
    stays: list[Stay] = field(default_factory=list)
    intervals: list[Interval] = field(default_factory=list)

    @property
    def seconds(self) -> dict[str, Fraction]:
        """How long each band was in force, the load was away, and the log had gaps."""
        return {name: Fraction(us, 1_000_000) for name, us in self.us.items()}

    @property
    def outside_s(self) -> Fraction:
        """Seconds with the output outside its window, or away."""
        return Fraction(self.outside_us, 1_000_000)

    @property
    def longest_away_us(self) -> int:
        """The longest stay away."""
        return max((stay.us for stay in self.stays), default=0)


@dataclass(frozen=True, slots=True)
class Settling:
    """What a move does to the coils, in order, and how long after its decision readings count again."""

    moved: tuple[str, ...]
    us: int


class Machine:
    """The controller of a design file, solved once for any number of logs.

    `orders` gives the relays of each move one after the other where the file says "safest" and nothing of that move.
    """

    def __init__(self, text: str, orders: Orders | None = None) -> None:
        self.stage = read(text)
        self.network = Network(self.stage)
        self.table = rule.table_of(self.stage, self.network)
        self.orders = orders or {}
        self.rows = [row.name for row in self.table.rows]
        self.ratios = {row.name: row.ratio for row in self.table.rows}
        self._answers: dict[tuple[str, Fraction], str] = {}
        self._settlings: dict[tuple[str, str], Settling] = {}

    def run(self, rows: Sequence[Sample], max_gap_us: int | None = None) -> Replay:
        """A whole log; by default a distance of more than 3 usual steps is a gap."""
        if not rows:
            raise ValueError("a log without rows")
        distances = [late - early for (early, _), (late, _) in pairwise(rows)]
        if any(distance <= 0 for distance in distances):
            raise ValueError("times do not rise")
        ordered, half = sorted(distances), len(distances) // 2
        step = (ordered[half] + ordered[-half - 1]) // 2 if distances else 0
        max_gap = 3 * step if max_gap_us is None else max_gap_us
        result = Replay(len(rows), step, max_gap, rows[0][0], rows[-1][0] + step)
        _Course(self, result).through(rows)
        _sum_up(self, result)
        return result

    def answer(self, row: str, volts: Fraction) -> str:
        """The row that follows this one on an error-free reading of these input volts."""
        if (row, volts) not in self._answers:
            self._answers[row, volts] = rule.decide(self.table, row, self.reading(row, volts))
        return self._answers[row, volts]

    def reading(self, row: str, volts: Fraction) -> Fraction:
        """What the controller reads in this row, without load."""
        sensed: Fraction = rule.sensed_in(self.table, row)
        return sensed * volts

    def wait(self, row: str, volts: Fraction) -> int:
        """How long readings must have left the row, by the side of its hold on which this one lies."""
        if row == AWAY:
            return _up(self.stage.backup.return_after) if self.stage.backup else 0
        low, high = self.table.holds[self.table.places[row]]
        upward = self.reading(row, volts) > (low + high) / 2
        return _up(self.stage.sensing.confirm_up if upward else self.stage.sensing.confirm_down)

    def settling(self, before: str, after: str) -> Settling:
        """What the move from one row to another does, worked out once."""
        if (before, after) not in self._settlings:
            self._settlings[before, after] = self._settling(before, after)
        return self._settlings[before, after]

    def _settling(self, before: str, after: str) -> Settling:
        """Coils change at one instant, or one after the other with a pause; each relay then takes its most."""
        old, new = self.stage.standing(before), self.stage.standing(after)
        movers = {
            relay.name: (relay, there == DRIVEN)
            for relay, here, there in zip(self.stage.relays, old, new, strict=True)
            if here != there
        }
        sequence = self.stage.sequence
        order = self._order(before, after) if len(movers) > 1 else None
        moved = [name for name in (movers if order is None else order) if name in movers]
        if set(moved) != set(movers):
            raise ValueError(f"the order from {before} to {after} leaves out {sorted(set(movers) - set(moved))}")
        command = over = Fraction(0)
        for name in moved:
            latest = _latest(*movers[name])
            over = max(over, command + latest, command + _exact(sequence.blank))
            if order is not None:
                command += latest if sequence.pause is None else _exact(sequence.pause)
        return Settling(tuple(moved), ceil(1000 * over))

    def _order(self, before: str, after: str) -> Sequence[str] | None:
        """The relays one after the other, or None for all at one instant."""
        sequence = self.stage.sequence
        if (before, after) in sequence.moves:
            return sequence.moves[before, after]
        if sequence.order == "together":
            return None
        if (before, after) not in self.orders:
            raise ValueError(f"no order was given for the move from {before} to {after}")
        return self.orders[before, after]

    def durations(self) -> set[int]:
        """Every time but 0 that a course can wait for, in microseconds."""
        standings = [AWAY, *self.rows]
        moves = [(before, after) for before in standings for after in standings if before != after]
        settled = {self.settling(before, after).us for before, after in moves}
        sensing, backup = self.stage.sensing, self.stage.backup
        waits = [sensing.confirm_up, sensing.confirm_down, backup.return_after if backup else 0.0]
        return (settled | {_up(wait) for wait in waits}) - {0}


def replayed(
    text: str, rows: Sequence[Sample], max_gap_us: int | None = None, orders: Orders | None = None
) -> Replay:
    """One log through one design file."""
    return Machine(text, orders).run(rows, max_gap_us)


def _exact(ms: float) -> Fraction:
    """The decimal of which a time was read; a float prints any of up to 15 digits as it was written."""
    return Fraction(repr(ms))


def _up(ms: float) -> int:
    return ceil(1000 * _exact(ms))


def _latest(relay: Relay, driven: bool) -> Fraction:
    """Milliseconds from the coil's change until the contact is still, at the most."""
    return _exact(relay.delay(driven).most) + _exact(relay.transfer.most) + _exact(relay.bounce.most)


class _Course:
    """The state of a course: the row in force, from when on readings count, since when they have left the row."""

    def __init__(self, machine: Machine, result: Replay) -> None:
        self.machine, self.result = machine, result
        self.row = AWAY
        self.ready = 0
        self.since: int | None = None

    def through(self, rows: Sequence[Sample]) -> None:
        """Sample after sample; over a gap time passes and timers are cleared, and nothing else happens."""
        self._decide(*rows[0])
        for (begin, volts), (end, _) in pairwise(rows):
            if end - begin <= self.result.max_gap_us:
                self._stand(begin, end, volts)
            else:
                self._stand(begin, begin, volts)
                self._passed(begin, end, GAP, None)
                self.result.gaps += 1
                self.since = None
        self._stand(rows[-1][0], self.result.end, rows[-1][1])

    def _stand(self, begin: int, end: int, volts: Fraction) -> None:
        """One sample: read at `begin`, and at every instant before `end` at which something comes due."""
        now = begin
        left: set[str] = set()  # at this very instant; a row left twice was left without waiting, and so for ever
        while True:
            if now < self.ready:
                due: int | None = self.ready
            elif self.machine.answer(self.row, volts) == self.row:
                due = self.since = None
            else:
                self.since = now if self.since is None else self.since
                due = self.since + self.machine.wait(self.row, volts)
                if due <= now:
                    if self.row in left:
                        raise HuntingError(f"{sorted(left)} at {float(volts)} V")
                    left.add(self.row)
                    self._decide(now, volts)
                    continue
            if due is None or due >= end:
                self._passed(now, end, self.row, volts)
                return
            self._passed(now, due, self.row, volts)
            now, left = due, set()

    def _decide(self, now: int, volts: Fraction) -> None:
        """The answer to the sample that stands now is in force from now on, and its relays are told."""
        answer = self.machine.answer(self.row, volts)
        settling = self.machine.settling(self.row, answer)
        self.result.events.append(Event(now, self.row, answer, volts, settling.moved))
        self.row, self.ready, self.since = answer, now + settling.us, None

    def _passed(self, begin: int, end: int, row: str, volts: Fraction | None) -> None:
        if end > begin:
            self.result.pieces.append(Piece(begin, end, row, volts, len(self.result.events) - 1))


# Figures, each a sum over pieces or events


def _sum_up(machine: Machine, result: Replay) -> None:
    counted = result.events[1:]
    result.changes = Counter((event.before, event.after) for event in counted)
    result.moves = {relay.name: 0 for relay in machine.stage.relays}
    for event in counted:
        for name in event.moved:
            result.moves[name] += 1
    result.transfers = sum(event.before != AWAY and event.after == AWAY for event in counted)
    result.us = dict.fromkeys([*machine.rows, AWAY, GAP], 0)
    for piece in result.pieces:
        result.us[piece.row] += piece.us
    result.outside_us = sum(us for at, us in _spent(result.pieces).items() if _outside(machine, at))
    result.stays = _stays(result)
    result.intervals = _intervals(machine, result.pieces)


@dataclass(frozen=True, slots=True)
class Point:
    """A row in force, or AWAY, and the volts at the inlet."""

    row: str
    volts: Fraction


def _spent(pieces: Sequence[Piece]) -> Counter[Point]:
    """How long the course stood at each point."""
    spent = Counter[Point]()
    for piece in pieces:
        if piece.volts is not None:
            spent[Point(piece.row, piece.volts)] += piece.us
    return spent


def _output(machine: Machine, at: Point) -> Fraction:
    """Volts at the output: ratio times sample, without drop; none while away."""
    ratio: Fraction = Fraction(0) if at.row == AWAY else machine.ratios[at.row]
    return ratio * at.volts


def _outside(machine: Machine, at: Point) -> bool:
    low, high = machine.stage.window
    return at.row == AWAY or not low <= _output(machine, at) <= high


def _stays(result: Replay) -> list[Stay]:
    """From each decision for away to the next decision; the first look-up counts as one."""
    lengths = Counter[int]()
    for piece in result.pieces:
        lengths[piece.event] += piece.us if piece.row == AWAY else 0
    ends = [event.time for event in result.events[1:]] + [result.end]
    return [
        Stay(event.time, end, lengths[number])
        for number, (event, end) in enumerate(zip(result.events, ends, strict=True))
        if event.after == AWAY
    ]


def _intervals(machine: Machine, pieces: Sequence[Piece]) -> list[Interval]:
    """Each ten minutes of the clock that samples cover without a hole."""
    inside: dict[int, list[Piece]] = {}
    for piece in pieces:
        for number in range(piece.begin // INTERVAL_US, (piece.end - 1) // INTERVAL_US + 1):
            begin, end = number * INTERVAL_US, (number + 1) * INTERVAL_US
            cut = replace(piece, begin=max(piece.begin, begin), end=min(piece.end, end))
            inside.setdefault(number, []).append(cut)
    intervals = []
    for number in sorted(inside):
        spent = _spent(inside[number])
        if sum(spent.values()) == INTERVAL_US:
            squares_in = sum(us * at.volts**2 for at, us in spent.items())
            squares_out = sum(us * _output(machine, at) ** 2 for at, us in spent.items())
            means = squares_in / Fraction(INTERVAL_US), squares_out / Fraction(INTERVAL_US)
            intervals.append(Interval(number * INTERVAL_US, *means))
    return intervals


# Designs varied and logs drawn at random


def varied(chance: Random, text: str) -> str:
    """A design of `designs.random_design` in which more can happen: rows apart or over one another, odd times.

    Its rows keep their order and the outer ends of their holds. Relays take their times, or none, or times of whole
    microseconds; confirmations and the return wait as they did, or for nothing, or for parts of a microsecond too.
    """
    if chance.random() < 0.6:
        other = _moved_holds(chance, text)
        text = other if _in_same_order(other, text) else text
    relays, waits = (chance.choice(("as they are", "as they are", "none", "fine")) for _ in range(2))
    if chance.random() < 0.1:
        relays = waits = "none"
    if relays != "as they are":
        text = _relay_times(text, lambda: "0" if relays == "none" else f"{chance.randint(500, 9000) / 1000}")
    if waits != "as they are":
        text = re.sub(
            WAITS, lambda _: "0" if waits == "none" else f"{chance.randint(50_000, 400_000) / 10_000}", text
        )
    return text


WAITS = r"(?<=confirm_ms = ).*|(?<=confirm_up_ms = ).*|(?<=confirm_down_ms = ).*|(?<=return_after_ms = ).*"
TRAVELS = ("operate_ms", "release_ms", "transfer_ms", "bounce_ms")


def _relay_times(text: str, drawn: Callable[[], str]) -> str:
    text = re.sub(rf"({'|'.join(TRAVELS)}) = .*\n", "", text)
    return re.sub(
        r"\[\[relay\]\]", lambda head: "\n".join([head[0], *(f"{key} = {drawn()}" for key in TRAVELS)]), text
    )


def _moved_holds(chance: Random, text: str) -> str:
    """Every end of a hold but the two outermost, by up to a share of itself."""
    share = chance.choice((0.001, 0.01, 0.05))
    holds = re.findall(r"(?<=\nhold_v = )\[(.*), (.*)\]", text)
    ends = [Fraction(end) for hold in holds for end in hold]
    for place in range(1, len(ends) - 1):
        ends[place] = Fraction(f"{float(ends[place]) * (1 + chance.uniform(-share, share)):.3f}")
    written = iter([f"[{float(low)}, {float(high)}]" for low, high in zip(ends[::2], ends[1::2], strict=True)])
    return re.sub(r"(?<=\nhold_v = ).*", lambda _: next(written), text)


def _in_same_order(other: str, text: str) -> bool:
    if any(one.hold[0] >= one.hold[1] for one in read(other).bands):
        return False
    rows, before = rule.table_of(read(other)).rows, rule.table_of(read(text)).rows
    middles = [(row.hold[0] + row.hold[1]) / row.sensed for row in rows]
    return [row.name for row in rows] == [row.name for row in before] and middles == sorted(set(middles))


def marks(machine: Machine) -> list[Fraction]:
    """Input volts at which a decision or the window's verdict changes, without load."""
    table = machine.table
    ends = {end / row.sensed for row, hold in zip(table.rows, table.holds, strict=True) for end in hold}
    ends |= {end / table.away_sensed for end in table.back or ()}
    ends |= {end / row.ratio for row in table.rows if row.ratio > 0 for end in machine.stage.window}
    ties = {2 * table.nominal / (one.ratio + other.ratio) for one in table.rows for other in table.rows}
    return sorted(ends | ties)


def random_log(
    chance: Random, machine: Machine, grain: Fraction = Fraction(1, 10), most_rows: int = 300
) -> list[Sample]:
    """A trace that makes the controller work; volts are whole multiples of `grain`, times whole microseconds."""
    count = chance.randint(1, chance.choice((3, 20, 80, most_rows)))
    volts = _random_volts(chance, machine, grain, count)
    now = _random_begin(chance)
    times = [now]
    for distance in _random_distances(chance, machine, count - 1):
        now += distance
        times.append(now)
    return list(zip(times, volts, strict=True))


def random_max_gap(chance: Random, rows: Sequence[Sample]) -> int | None:
    """The default, or a distance of the log itself, or one beside it: what is just as long is no gap."""
    distances = sorted({late - early for (early, _), (late, _) in pairwise(rows)})
    if not distances or chance.random() < 0.4:
        return None
    return max(1, chance.choice(distances) + chance.choice((-1, 0, 0, 1)))


def _random_volts(chance: Random, machine: Machine, grain: Fraction, count: int) -> list[Fraction]:
    """Stretches of one sort after another: beside thresholds, a walk, a jump, a rest, nothing at all."""
    thresholds = marks(machine)
    low, high = thresholds[0] * Fraction(9, 10), thresholds[-1] * Fraction(11, 10)
    here = chance.choice(thresholds)
    volts: list[Fraction] = []
    while len(volts) < count:
        sort = chance.choice(("beside", "beside", "rest", "walk", "jump", "none"))
        length = chance.randint(1, chance.choice((1, 3, 12)))
        if sort == "jump":
            here = low + Fraction(chance.randint(0, 1000), 1000) * (high - low)
        reach = chance.choice((1, 5, 30))
        for _ in range(length):
            if sort == "beside":
                near = chance.choice(thresholds)
                here = floor(near / grain) * grain + chance.choice((-1, 0, 0, 0, 1, 2)) * grain
            elif sort == "walk":
                here += chance.randint(-reach, reach) * Fraction(1, 10)
            volts.append(Fraction(0) if sort == "none" else max(Fraction(0), floor(here / grain) * grain))
    return volts[:count]


def _random_begin(chance: Random) -> int:
    """A day of this century: on a whole ten minutes, on a whole second, or on any microsecond."""
    begin = chance.randint(1_600_000_000, 1_800_000_000)
    match chance.choice(("interval", "second", "any")):
        case "interval":
            return begin * 1_000_000 // INTERVAL_US * INTERVAL_US
        case "second":
            return begin * 1_000_000
        case _:
            return begin * 1_000_000 + chance.randrange(1_000_000)


def _random_distances(chance: Random, machine: Machine, count: int) -> list[int]:
    """Regular ones, any, or those at which a time of the design ends on a sample, just before or just after it."""
    gaps = chance.choice((0.0, 0.0, 0.03, 0.15))
    sort = chance.choice(("regular", "regular", "any", "timed", "timed", "timed"))
    regular = chance.choice((10_000, 20_000, 1_000_000, 60_000_000))
    waits = sorted(machine.durations()) or [10_000]
    distances = []
    for _ in range(count):
        if sort == "regular":
            distance = regular
        elif sort == "any":
            distance = floor(1000 * 10 ** chance.uniform(0, 3.3))
        else:
            distance = _timed(chance, waits)
        if chance.random() < gaps:
            distance *= chance.choice((2, 3, 4, 10, 100))
        distances.append(distance)
    return distances


def _timed(chance: Random, waits: Sequence[int]) -> int:
    """A wait of the design, the distance between two, a part of one, or a few ms; often just beside."""
    wait, other = chance.choice(waits), chance.choice(waits)
    distance = chance.choice((wait, wait, abs(wait - other), wait // 2, 1000 * chance.randint(1, 12)))
    return max(1, distance + chance.choice((0, 0, 0, -1, 1, 1000)))
