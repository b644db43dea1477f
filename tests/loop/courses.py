"""A design seen from both sides, courses of the line for it, and flights of its relays at their worst.

The verdict and the bounds are the package's; rows, readings, copper and time are those of `tests.outside`. Orders
of relays that a design leaves to be chosen are the package's, for they are part of what it states.
"""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import subprocess
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import ceil, floor
from pathlib import Path
from random import Random

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review
from tapplan.checks.rules import RULES
from tapplan.cli.main import main
from tapplan.control.commands import commands
from tapplan.control.moves import move_between
from tapplan.control.standing import Standing
from tapplan.design.file import parse
from tests.outside import rule
from tests.outside.designs import Drawn
from tests.outside.loop import Emf, Flight, Noise, Record, Settings, Times, line, run
from tests.outside.stage import AWAY, DRIVEN, OPEN, REST, Network, Positions, Relay, Stage, Within, read

KEPT_CODES = ("dead-zone", "out-of-window", "chatter", "hunting", "backup-cycling", "stranded", "blind-reading")
BLANK_MS = 150
LEAST_MS = 0.001  # for so long at least a contact in flight is open, unless flights are brisk
BESIDE_MS = 0.002  # how far an event of a flight is put beside another one

Move = tuple[str, str]


class Orders(dict[Move, list[str]]):
    """For each move the relays in the order that the package commands them, worked out when it is first asked for."""

    def __init__(self, reviewed: Review) -> None:
        super().__init__()
        self._review = reviewed
        self._standings = {
            reviewed.decisions.named(node.standing): node.standing for node in reviewed.decisions.nodes
        }

    def __bool__(self) -> bool:
        return True  # though nothing has been asked yet

    def __missing__(self, move: Move) -> list[str]:
        start, end = (self._standings[name] for name in move)
        given = commands(self._review.table, self._review.mixtures, move_between(self._review.table, start, end))
        self[move] = list(given.order)
        return self[move]


@dataclass(frozen=True)
class Case:
    """One design: as the package sees it, and as the simulation does."""

    text: str
    review: Review
    stage: Stage
    brisk: bool = False

    @cached_property
    def network(self) -> Network:
        return Network(self.stage)

    @cached_property
    def table(self) -> rule.Table:
        return rule.table_of(self.stage, self.network)

    @cached_property
    def quick(self) -> rule.Table:
        return self.table.in_floats()

    @cached_property
    def orders(self) -> Orders:
        return Orders(self.review)

    @cached_property
    def faults(self) -> list[Finding]:
        """The promises that the package calls broken, as the rules find them, without advice on each."""
        rules = [rule for rule in RULES if not rule.meanings.keys().isdisjoint(KEPT_CODES)]
        found = [one for rule in rules for one in rule.check(self.review) if one.code in KEPT_CODES]
        return [one for one in found if one.severity is Severity.FAULT]

    @cached_property
    def standings(self) -> dict[str, Standing]:
        return {self.review.decisions.named(node.standing): node.standing for node in self.review.decisions.nodes}

    @property
    def rows(self) -> list[str]:
        return [row.name for row in self.table.rows]

    @property
    def half(self) -> float:
        return float(self.stage.sensing.noise) / 2

    @property
    def error(self) -> float:
        return float(self.stage.sensing.error)

    def sensed(self, row: str, loaded: bool) -> float:
        """The reading per volt of EMF while this row stands."""
        outcome = self.network.settled(row)
        if loaded and row != AWAY:
            return abs(outcome.loaded_sensed) * self.sag(row, loaded)
        return float(outcome.sensed or 0)

    def sag(self, row: str, loaded: bool) -> float:
        """The inlet's volts per volt of EMF while this row stands."""
        if not loaded or row == AWAY:
            return 1.0
        return 1 / (1 + self.stage.source_ohm * self.network.settled(row).admittance)

    def promised(self, loaded: bool) -> tuple[float, float]:
        """The EMFs at which the inlet is one that is promised, whichever row stands, and away."""
        low, high = map(float, self.stage.range)
        return low / min(self.sag(row, loaded) for row in self.rows), high

    @property
    def move_ms(self) -> float:
        """More than passes between two decisions at a steady line, when the noise does its worst."""
        stage = self.stage
        wait = max(stage.sensing.confirm_up, stage.sensing.confirm_down)
        window = 1000 * float(stage.sensing.cycles) / stage.frequency[0]
        latest = max(max(relay.latest(True), relay.latest(False)) for relay in stage.relays)
        pause = latest if stage.sequence.pause is None else stage.sequence.pause
        settling = latest + len(stage.relays) * pause + stage.sequence.blank
        return 2 * window + max(wait, stage.backup.return_after if stage.backup else 0) + settling

    def course(self, emf: Emf, duration_ms: float, chance: Random, settings: Settings, **more: object) -> Record:
        return run(self.stage, emf, duration_ms, chance, settings, network=self.network, orders=self.orders, **more)


def case_of(text: str, *, brisk: bool = False) -> Case:
    """A design's text, read twice."""
    return Case(text, review(parse(text, "drawn.toml")), read(text), brisk)


def steady_case(drawn: Drawn) -> Case:
    """The design, blanked until no window holds a flight where a flight can be read.

    What a reading of a flight does is no promise; at the input of a stiff line nothing is read of it.
    """
    first = read(drawn.text)
    aloof = first.sensing.at == "input" and not first.source_ohm
    return case_of(drawn.text if aloof else blanked(drawn.text))


def blanked(text: str) -> str:
    """The same design with so long a blanking that no window holds a flight."""
    text = re.sub(r"\nblank_ms = .*", "", text)
    if "[sequence]\n" not in text:
        return f"{text}[sequence]\nblank_ms = {BLANK_MS}\n"
    return text.replace("[sequence]\n", f"[sequence]\nblank_ms = {BLANK_MS}\n")


# Inputs and courses of the line


def marks(case: Case, loaded: bool, error: float) -> list[float]:
    """The EMFs at which some reading, as low or as high as the noise makes it, meets an end of a hold or a return."""
    found = []
    for row, hold in zip(case.rows, case.quick.holds, strict=True):
        found += [(end, case.sensed(row, loaded)) for end in hold]
    found += [(end, case.sensed(AWAY, loaded)) for end in case.quick.back or ()]
    shifts = (-case.half, 0.0, case.half)
    return sorted({(end + shift) / ((1 + error) * share) for end, share in found for shift in shifts})


def telling(case: Case, loaded: bool, error: float) -> list[float]:
    """EMFs beside every mark and between two that are neighbours, and the ends of what is promised."""
    ends = marks(case, loaded, error)
    beside = [mark * (1 + side) for mark in ends for side in (-1e-5, 1e-5)]
    return [*beside, *((low + high) / 2 for low, high in pairwise(ends)), *case.promised(loaded)]


def prelude(case: Case, chance: Random, start_ms: float) -> list[tuple[float, float]]:
    """Ramps, steps, sags and swells, some to nothing, some far out, as points of an EMF."""
    low, high = map(float, case.stage.range)
    now, volts = start_ms, chance.uniform(low, high)
    points = [(0.0, volts), (now, volts)]
    for _ in range(chance.randint(2, 6)):
        aim = chance.choice((0.0, 0.6 * low, chance.uniform(0.8 * low, low), chance.uniform(low, high), 1.3 * high))
        lasts = chance.choice((chance.uniform(5, 60), chance.uniform(60, 600)))
        match chance.choice(("ramp", "step", "sag")):
            case "ramp":
                points.append((now + lasts, aim))
                volts = aim
            case "step":
                points += [(now, aim), (now + lasts, aim)]
                volts = aim
            case _:
                points += [(now, aim), (now + lasts, aim), (now + lasts, volts), (now + 2 * lasts, volts)]
        now = points[-1][0]
    return points


def entered(record: Record, since: float) -> list[str]:
    """The row in force at a time, and every one after it."""
    return [record.row_at(since), *(one.after for one in record.decisions if one.time > since)]


def restless(record: Record, since: float, visits: int = 2) -> bool:
    """Whether some row is in force so many times over again."""
    return max(Counter(entered(record, since)).values()) >= visits


def towards(case: Case, wanted: Callable[[str], float]) -> Noise:
    """The noise that brings the reading as near as it can to a wanted one."""
    return lambda row, reading: min(max(wanted(row) - reading, -case.half), case.half)


# What breaks the promises of a design, tried out


@dataclass(frozen=True)
class Trial:
    """A steady EMF with all that the simulation is free in."""

    emf: float
    settings: Settings
    promised: bool


def trials(case: Case, chance: Random) -> Iterator[Trial]:
    """Steady inputs at which a broken promise can show, the likeliest for each fault first."""
    for fault in case.faults:
        yield from _aimed(case, fault)
    for loaded in (False, True) if case.stage.load_ohm else (False,):
        low, high = case.promised(loaded)
        for error in sorted({-case.error, case.error}):
            for emf in telling(case, loaded, error):
                for start in (AWAY, chance.choice(case.rows)):
                    noise = chance.choice(("greedy", "greedy", steady(-case.half), steady(case.half)))
                    settings = Settings(noise=noise, error=error, loaded=loaded, start=start)
                    yield Trial(emf, settings, low <= emf <= high)


def steady(volts: float) -> Noise:
    """Noise that never changes."""
    return lambda row, reading: volts


def at_the_ends(case: Case) -> Iterator[Trial]:
    """The ends of what is promised, read as far out as can be, from away and from the outermost rows."""
    for loaded in (False, True) if case.stage.load_ohm else (False,):
        for emf, side, row in zip(case.promised(loaded), (-1, 1), (case.rows[0], case.rows[-1]), strict=True):
            for start in (AWAY, row):
                noise = steady(side * case.half)
                beside = emf * (1 - side * 1e-9)  # a hair inside, for the simulation is rounded
                yield Trial(beside, Settings(noise=noise, error=side * case.error, loaded=loaded, start=start), True)


def dozing(case: Case, trial: Trial) -> bool:
    """Whether noise while away, read elsewhere and with no backup, may be worth too much there for switching on."""
    stage = case.stage
    if trial.settings.start != AWAY or stage.backup is not None or stage.sensing.at == "input":
        return False
    low, high = case.promised(trial.settings.loaded)
    worth = case.half / case.sensed(AWAY, False)
    return not low + worth <= trial.emf <= high - worth


def _aimed(case: Case, fault: Finding) -> Iterator[Trial]:
    """Where the fault's own witness says that it shows."""
    witness = fault.witness
    if fault.code == "dead-zone" and witness.input_v is not None and witness.reading_v is not None:
        for error in (0.0, -case.error, case.error):
            for loaded in (False, True):
                emf, reading = float(witness.input_v), float(witness.reading_v)
                noise = towards(case, lambda row, to=reading, on=loaded: to * case.sensed(row, on))
                for start in (AWAY, *case.rows):
                    yield Trial(emf, Settings(noise=noise, error=error, loaded=loaded, start=start), True)
    if fault.code == "stranded" and witness.input_v is not None and witness.reading_v is not None:
        away = float(witness.reading_v)
        for error in (-case.error, case.error):
            noise = towards(case, lambda row, to=away: to)
            yield Trial(float(witness.input_v), Settings(noise=noise, error=error, start=AWAY), True)
    if fault.code == "backup-cycling":
        yield from beside_the_backup(case)


def beside_the_backup(case: Case) -> Iterator[Trial]:
    """Steady inputs at which an outermost row is only just left for the backup; none is one that is promised."""
    for row, end, side in ((case.rows[0], 0, 1), (case.rows[-1], 1, -1)):
        for loaded in (True, False):
            for error in (0.0, -case.error, case.error):
                leave = case.quick.holds[case.quick.places[row]][end]
                emf = (leave + side * case.half) / ((1 + error) * case.sensed(row, loaded))
                for beside in (1e-5, 1e-3):
                    settings = Settings(noise="greedy", error=error, loaded=loaded, start=row)
                    yield Trial(emf * (1 - side * beside), settings, False)


def trouble(case: Case, trial: Trial, chance: Random) -> str | None:
    """What goes wrong at a steady input: "loops", "away" or "window"; None when the stage comes to rest as promised.

    What can leave its row under such noise does so within `move_ms`, so nothing stirs later than that after a move.
    """
    wait = case.move_ms
    for moves in (3, 2 * len(case.rows) + 6):
        record = case.course(line((0, trial.emf)), moves * wait, chance, trial.settings)
        last = record.decisions[-1].time if record.decisions else 0.0
        if last <= (moves - 1) * wait or restless(record, 0.0):
            break
    if restless(record, 0.0):
        return "loops"
    return amiss(case, record, last + wait) if trial.promised else None


def amiss(case: Case, record: Record, since: float) -> str | None:
    """What is wrong with a stage at rest at a promised input: the load away, or outside the window."""
    if record.row == AWAY:
        return "away"
    output = record.output[int(since / record.step_ms) :]
    low, high = map(float, case.stage.window)
    return None if ((output >= low - 1e-6) & (output <= high + 1e-6)).all() else "window"


# Flights at their worst


@dataclass(frozen=True, slots=True)
class Command:
    """One relay's coil: which, driven or let go, how long after the first of the move."""

    relay: Relay
    number: int
    driven: bool
    at: float


def commanded(case: Case, move: Move) -> list[Command]:
    """The coil changes of a move, one after the other where the design says so."""
    stage = case.stage
    old, new = (stage.standing(row) for row in move)
    movers = {
        relay.name: Command(relay, number, new[number] == DRIVEN, 0.0)
        for number, relay in enumerate(stage.relays)
        if old[number] != new[number]
    }
    stated = stage.sequence.moves.get(move)
    if len(movers) < 2 or (stated is None and stage.sequence.order != "safest"):
        return list(movers.values())
    found, now = [], 0.0
    for name in [name for name in stated or case.orders[move] if name in movers]:
        found.append(replace(movers[name], at=now))
        pause = stage.sequence.pause
        now += found[-1].relay.latest(found[-1].driven) if pause is None else pause
    return found


Plan = dict[str, Flight]
"""One flight a relay; its bounce is for how long the contact, once touched, is open still."""

Bad = Callable[[Positions], bool]


def events(given: Sequence[Command], flights: Sequence[Flight], bounce: str = "open") -> list[tuple[float, int, int]]:
    """What the contacts of a move do, in ms since its first command: time, relay, position; in order.

    A flight that takes no time at all leaves nothing open; two contacts that change at one instant do so one by one.
    """
    found = []
    for one, flight in zip(given, flights, strict=True):
        opens = one.at + flight.delay
        closes = opens + flight.transfer + (flight.bounce if bounce == "open" else 0.0)
        if closes > opens:
            found.append((opens, one.number, OPEN))
        found.append((closes, one.number, DRIVEN if one.driven else REST))
    return sorted(found, key=lambda event: event[0])


def lasting(flight: Flight, brisk: bool) -> Flight:
    """The flight, its contact open for a moment at least; or, brisk, for none where it can be over in less."""
    if not brisk:
        return flight._replace(transfer=max(flight.transfer, LEAST_MS))
    return flight._replace(
        transfer=flight.transfer if flight.transfer > LEAST_MS else 0.0,
        bounce=flight.bounce if flight.bounce > LEAST_MS else 0.0,
    )


def stays(case: Case, move: Move, given: Sequence[Command], plan: Plan, bad: Bad) -> float:
    """The longest time in ms in bad combinations of positions, those before and after the move left out."""
    positions = list(case.stage.standing(move[0]))
    happens = events(given, [lasting(plan[one.relay.name], case.brisk) for one in given])
    longest, since = 0.0, None
    for place, (time, number, position) in enumerate(happens):
        positions[number] = position
        so = place + 1 < len(happens) and bad(tuple(positions))
        if so and since is None:
            since = time
        elif not so and since is not None:
            longest, since = max(longest, time - since), None
    return longest


def most(span: Within) -> float:
    """The most that a time can be, but for a hair, so that no two events fall together by the ends of their spans."""
    return span.most - 1e-5 * (span.most - span.least)


def least(span: Within) -> float:
    """The least, as near."""
    return span.least + 1e-5 * (span.most - span.least)


def worst_plan(case: Case, move: Move, bad: Bad, bound_ms: float, chance: Random) -> Plan:
    """Times of the relays with a long stay in what is bad; looked for longer while it is far from the bound."""
    best: Plan = {}
    for tries in (160, 800, 3200):
        best, stay = _searched(case, move, bad, chance, tries)
        if stay >= 0.95 * bound_ms:
            break
    return best


def _searched(case: Case, move: Move, bad: Bad, chance: Random, tries: int) -> tuple[Plan, float]:
    """A search that changes one relay's times and another's, and puts events beside one another."""
    given = commanded(case, move)
    known: dict[Positions, bool] = {}

    def bad_once(positions: Positions) -> bool:
        if positions not in known:
            known[positions] = bad(positions)
        return known[positions]

    def stay(plan: Plan) -> float:
        return stays(case, move, given, plan, bad_once)

    ends = [most, least]
    plans = [{one.relay.name: _flown(one, end, end) for one in given} for end in ends]
    plans += [
        {one.relay.name: _flown(one, ends[place == other], ends[0]) for other, one in enumerate(given)}
        for place in range(len(given))
    ]
    plans += [
        {one.relay.name: _flown(one, *(chance.choice(ends) for _ in range(2))) for one in given} for _ in range(4)
    ]
    best = max(plans, key=stay)
    longest_stay = stay(best)
    for _ in range(tries if len(given) > 1 else 0):
        tried = _nudged(given, best, chance)
        if chance.random() < 0.3:
            tried = _nudged(given, tried, chance)
        if (found := stay(tried)) >= longest_stay:
            best, longest_stay = tried, found
    return best, longest_stay


End = Callable[[Within], float]


def _flown(one: Command, delay: End, rest: End) -> Flight:
    return Flight(
        delay(one.relay.delay(one.driven)),
        rest(one.relay.transfer),
        most(one.relay.bounce) if rest is most else 0.0,
    )


def _nudged(given: Sequence[Command], plan: Plan, chance: Random) -> Plan:
    """One relay's times changed: to an end of their spans, or so that an event falls beside another relay's."""
    one = chance.choice(given)
    flight = plan[one.relay.name]
    spans = (one.relay.delay(one.driven), one.relay.transfer, Within(0.0, one.relay.bounce.most))
    if chance.random() < 0.4:
        times = [chance.choice((least(span), most(span), kept)) for span, kept in zip(spans, flight, strict=True)]
        return {**plan, one.relay.name: Flight(*times)}
    others = [other for other in given if other is not one]
    other = chance.choice(others)
    there = plan[other.relay.name]
    opens = other.at + there.delay
    aim = chance.choice((opens, opens + there.transfer + there.bounce)) + chance.choice((-BESIDE_MS, BESIDE_MS))
    lasts = flight.transfer + flight.bounce
    delay = aim - one.at - (lasts if chance.random() < 0.5 else 0.0)
    return {**plan, one.relay.name: flight._replace(delay=min(max(delay, least(spans[0])), most(spans[0])))}


def planned(given: Sequence[Command], plan: Plan) -> Times:
    """These flights of a move in the simulation; in any other move a relay takes the most."""
    driven_now = {one.relay.name: one.driven for one in given}

    def times(relay: Relay, driven: bool, _chance: Random) -> Flight:
        if driven_now.get(relay.name) == driven:
            return plan[relay.name]
        return Flight(relay.delay(driven).most, relay.transfer.most, relay.bounce.most)

    return times


class Logged:
    """Times drawn by name or by a plan, each kept as it was drawn: every relay of a move in its order."""

    def __init__(self, kind: str | Times, bounce: str, brisk: bool) -> None:
        self.kind, self.bounce, self.brisk = kind, bounce, brisk
        self.flights: list[Flight] = []

    def __call__(self, relay: Relay, driven: bool, chance: Random) -> Flight:
        self.flights.append(lasting(self._drawn(relay, driven, chance), self.brisk))
        return self.flights[-1]

    def _drawn(self, relay: Relay, driven: bool, chance: Random) -> Flight:
        if not isinstance(self.kind, str):
            return self.kind(relay, driven, chance)
        spans = (relay.delay(driven), relay.transfer, relay.bounce)
        drawn = {
            "most": most,
            "least": least,
            "extremes": lambda span: chance.choice((least, most))(span),
            "random": lambda span: chance.uniform(span.least, span.most),
        }[self.kind]
        return Flight(*map(drawn, spans))


Level = tuple[float, float | None]
"""From this time in ms on, the output for each volt of the line, 0 on nothing; None while the load is off."""


def timeline(case: Case, record: Record, logged: Logged) -> list[Level]:
    """The output, from event to event, exact where the simulation's own volts are known by the step."""

    def ratio(positions: Sequence[int], row: str) -> float | None:
        if row == AWAY:
            return None
        outcome = case.network.outcome(tuple(positions))
        return float(outcome.ratio or 0) if outcome.kind == "fed" else 0.0

    positions = list(case.stage.standing(record.start))
    found: list[Level] = [(0.0, ratio(positions, record.start))]
    flights = iter(logged.flights)
    for one in record.decisions:
        found.append((one.time, ratio(positions, one.after)))
        given = commanded(case, (one.before, one.after))
        for time, number, position in events(given, [next(flights) for _ in given], logged.bounce):
            positions[number] = position
            found.append((one.time + time, ratio(positions, one.after)))
    return found


def longest(levels: Sequence[Level], beyond: Callable[[float], bool], begin: float, end: float) -> float:
    """The longest time for which the output is beyond a level without a break; off, it counts as nothing."""
    ends = [*(time for time, _ in levels[1:]), end]
    most, since = 0.0, None
    for (start, ratio), stop in zip(levels, ends, strict=True):
        first, last = max(start, begin), min(stop, end)
        if last < first:
            continue
        if not beyond(ratio or 0.0):
            since = None
            continue
        since = first if since is None else since
        most = max(most, last - since)
    return most


def leading(case: Case, move: Move) -> float | None:
    """A steady inlet, error-free, at which the first decision makes this move; None where there is none."""
    share = case.sensed(move[0], loaded=False)
    ends = {end for hold in case.quick.holds for end in hold} | set(case.quick.back or ())
    ends |= {
        end / case.sensed(row, False) * share
        for row, hold in zip(case.rows, case.quick.holds, strict=True)
        for end in hold
    }
    ends |= {
        2 * case.quick.nominal / (one.ratio + other.ratio) * share
        for one in case.quick.rows
        for other in case.quick.rows
    }
    ordered = [0.0, *sorted(ends), 1.5 * max(ends)]
    for low, high in pairwise(ordered):
        reading = (low + high) / 2
        if high - low > 1e-5 * high and rule.decide(case.quick, move[0], reading) == move[1]:
            return reading / share
    return None


# What is counted


@dataclass
class Tally:
    """Counts by name, and for each kind of bound how near a course came to it, as shares of the bound.

    Unless `strict`, a bound that is beaten is counted and no more.
    """

    counts: Counter[str] = field(default_factory=Counter)
    shares: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    strict: bool = True

    def count(self, *names: str) -> None:
        self.counts.update(names)

    def held(self, kind: str, measured: float, bound: float, slack: float, told: object) -> None:
        """Not above the bound, but for what the steps of the simulation add."""
        if not self.strict and measured > bound + slack:
            self.count(f"BEATEN: {kind}")
            return
        assert measured <= bound + slack, (kind, measured, bound, told)
        if bound > 0:
            self.shares[kind].append(min(measured / bound, 1.0))

    def reached(self, kind: str, share: float = 0.95) -> float:
        """The part of the bounds of a kind that some course came near to."""
        found = self.shares[kind]
        return sum(one >= share for one in found) / len(found)

    def lines(self) -> list[str]:
        """All of it as text."""
        told = [f"{number:>9,d}  {name}" for name, number in sorted(self.counts.items())]
        for kind, found in sorted(self.shares.items()):
            told.append(
                f"{len(found):>9,d}  {kind}: best {max(found):.4f} of the bound, {self.reached(kind):.1%} within 5 %"
            )
        return told


# The exported header as a shared library


Next = Callable[[int, int], int]


def compiled(folder: Path, designs: Sequence[tuple[str, str]]) -> list[Next]:
    """The decision of each design, (name, text), from the C that the command exports, all in one library."""
    if shutil.which("gcc") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("gcc is not installed, and CI must not go without it")
        pytest.skip("gcc is not installed: apt-get install gcc")
    includes, functions = [], []
    for number, (name, text) in enumerate(designs):
        design, header = folder / f"{name}.toml", folder / f"{name}.h"
        design.write_text(text)
        assert main(["export", str(design), "--to", "c", "-o", str(header), "--force"]) == 0
        (found,) = re.findall(r"static inline int (\w+)_next\(", header.read_text())
        includes.append(f'#include "{header.name}"')
        functions.append(f"int next_{number}(int band, int32_t reading) {{ return {found}_next(band, reading); }}")
    (folder / "all.c").write_text("\n".join([*includes, *functions, ""]))
    flags = ["-std=c99", "-O1", "-shared", "-fPIC", "-Wall", "-Wextra", "-Wno-unused-const-variable"]
    library = folder / f"all_{len(list(folder.glob('*.so')))}.so"  # one that is loaded must not be written again
    subprocess.run(["gcc", *flags, "-Werror", "-o", library, "all.c"], cwd=folder, check=True)
    loaded = ctypes.CDLL(str(library))
    return [getattr(loaded, f"next_{number}") for number in range(len(designs))]


MV = 1000


def whole_table(table: rule.Table) -> rule.Table:
    """The table in millivolts, ends between bands rounded inward, the two outermost outward, the return inward."""
    last = len(table.rows) - 1
    rows = []
    for place, (row, (low, high)) in enumerate(zip(table.rows, table.holds, strict=True)):
        first = floor(low * MV) if place == 0 else ceil(low * MV)
        rows.append(
            replace(row, hold=(Fraction(first), Fraction(ceil(high * MV) if place == last else floor(high * MV))))
        )
    back = None if table.back is None else (Fraction(ceil(table.back[0] * MV)), Fraction(floor(table.back[1] * MV)))
    return replace(table, rows=tuple(rows), nominal=table.nominal * MV, leave=None, back=back)
