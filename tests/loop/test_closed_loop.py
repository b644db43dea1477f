"""A stage in time, with noise, errors and flights at their worst: promises are kept, and no bound is beaten.

Every law counts what it looked at, so that none holds for want of cases. `python -m tests.loop --designs 2000` goes
through as many designs and prints the counts.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import permutations
from pathlib import Path
from random import Random

import numpy as np
import pytest

from tapplan.checks.flight import Flight, flights_of
from tapplan.control.response import Response, Side
from tapplan.control.sudden import responses
from tests.loop.courses import (
    Case,
    Command,
    Level,
    Logged,
    Move,
    Tally,
    amiss,
    at_the_ends,
    beside_the_backup,
    blanked,
    case_of,
    commanded,
    compiled,
    dozing,
    entered,
    leading,
    longest,
    marks,
    planned,
    prelude,
    restless,
    steady_case,
    telling,
    timeline,
    trials,
    trouble,
    whole_table,
    worst_plan,
)
from tests.outside import rule
from tests.outside.designs import DAMAGES, Drawn, random_design
from tests.outside.loop import Record, Settings, Times, line
from tests.outside.stage import AWAY, NOTHING, Positions

SLACK_MS = 0.01  # that flights are open for a moment at least can add so much
TRIALS = 30  # steady inputs tried for a design whose promises are kept
TARGETS = 10  # steps of the line
SHOWN_BY = 120  # and for one with a fault, until it shows
FOUND_FOR = {
    "dead-zone": "dead-zone",
    "touching": "chatter",
    "thin": "chatter",
    "stranded": "stranded",
    "cycling": "backup-cycling",
}


def drawn(count: int, seed: int, damaged: float) -> Iterator[Drawn]:
    chance = Random(seed)
    return (random_design(chance, damaged) for _ in range(count))


# Promises


def promises(one: Drawn, chance: Random, tally: Tally) -> None:
    """What is called kept is never seen broken; what is called broken is seen so, in most designs."""
    case = steady_case(one)
    codes = {fault.code for fault in case.faults}
    tally.count("designs", f"designs {one.damage or 'as they should be'}")
    if codes:
        tally.count("designs with a fault", f"designs {one.damage or 'as they should be'} with a fault")
        _broken(case, chance, tally, codes)
    else:
        tally.count("designs with every promise kept", f"kept, read at {one.sensed}", f"kept, {one.arrangement}")
        if case.stage.source_ohm:
            tally.count("kept, behind a source's resistance")
        _kept(case, chance, tally)
    if one.damage and FOUND_FOR[one.damage] in codes:
        tally.count(f"designs {one.damage}, found as such")


def _kept(case: Case, chance: Random, tally: Tally) -> None:
    every, beside = list(trials(case, chance)), list(beside_the_backup(case))
    for trial in [*chance.sample(every, min(TRIALS, len(every))), *chance.sample(beside, 6), *at_the_ends(case)]:
        if (not trial.promised and case.stage.backup is None) or dozing(case, trial):
            continue  # beyond the last band nothing is promised, not even rest
        seen = trouble(case, trial, chance)
        assert seen is None, (seen, trial, case.text)
        tally.count("steady inputs at rest", *(["steady inputs at rest and in the window"] if trial.promised else []))
    for _ in range(3):
        _kept_after_much(case, chance, tally)


def _kept_after_much(case: Case, chance: Random, tally: Tally) -> None:
    """Ramps, steps, sags and returns, and then a promised input for good."""
    loaded = chance.random() < 0.5
    error = chance.choice((-case.error, case.error, chance.uniform(-case.error, case.error)))
    low, high = case.promised(loaded)
    steady = chance.choice([emf for emf in telling(case, loaded, error) if low <= emf <= high])
    points = prelude(case, chance, 100.0)
    begin, wait = points[-1][0], case.move_ms
    calm = begin + 2 * wait
    end = calm + (len(case.rows) + 2) * wait
    noise = chance.choice(("random", "extremes", "greedy"))
    settings = Settings(
        noise=noise,
        error=error,
        loaded=loaded,
        times=chance.choice(("random", "extremes", "most", "least")),
        bounce=chance.choice(("random", "open", "closed")),
        frequency_hz=chance.choice(case.stage.frequency),
        joins=chance.choice(("decision", "settled")),
        start=chance.choice((AWAY, *case.rows)),
    )
    record = case.course(line(*points, (begin, steady)), end + wait, chance, settings)
    assert not restless(record, calm), (steady, settings, case.text)
    if noise == "greedy":  # what can leave its row does so, so the last move is over
        assert all(move.time < end for move in record.decisions), (steady, settings, case.text)
    assert amiss(case, record, end + wait / 2) is None, (steady, settings, case.text)
    tally.count("courses to a steady input")
    tally.counts["moves in courses to a steady input"] += len(record.moves)
    tally.counts["courses that were away and came back"] += any(one.before == AWAY for one in record.decisions[1:])


def _broken(case: Case, chance: Random, tally: Tally, codes: set[str]) -> None:
    tally.count(*(f"fault {code}" for code in codes))
    seen = None
    for number, trial in enumerate(trials(case, chance)):
        if number >= SHOWN_BY or (seen := trouble(case, trial, chance)):
            break
    if seen:
        tally.count("faulty designs that break", f"break: {seen}", *(f"fault {code}, breaks" for code in codes))
    else:
        tally.count("faulty designs not seen to break")


# Gaps, surges and dips


@dataclass(frozen=True)
class Turn:
    """A move that a first decision makes at a steady inlet, and what is said of it."""

    case: Case
    move: Move
    inlet: float
    flight: Flight

    @property
    def given(self) -> list[Command]:
        return commanded(self.case, self.move)

    @property
    def manner(self) -> str:
        """How the relays are told."""
        given, pause = self.given, self.case.stage.sequence.pause
        if len(given) == 1:
            return "one relay"
        if len({one.at for one in given}) == 1 and pause != 0:
            return "together"
        if pause is None:
            return "one after the other"
        default = max(one.relay.latest(one.driven) for one in given)
        return f"one after the other, {'shorter' if pause < default else 'longer'} pause"

    def flown(self, times: str | Times, bounce: str, chance: Random) -> tuple[Record, Logged]:
        """One course in which it is made first, with its flights as they were drawn."""
        logged = Logged(times, bounce, self.case.brisk)
        settings = Settings(noise="none", loaded=False, start=self.move[0], times=logged, bounce=bounce)
        record = self.case.course(line((0, self.inlet)), 2 * self.case.move_ms, chance, settings)
        assert record.decisions[0].after == self.move[1], (self.move, self.inlet, self.case.text)
        return record, logged


def flights(one: Drawn, chance: Random, tally: Tally, *, brisk: bool | None = None) -> None:
    """No move leaves the load on nothing, or at a level, for longer than is said; and nearly all come near to it."""
    if one.ripple:
        return
    case = case_of(one.text, brisk=chance.random() < 0.5 if brisk is None else brisk)
    for turn in turns(case):
        if turn.flight.ends is None or turn.move[1] == AWAY:  # the load is off, or on nothing before the move
            continue
        tally.count("moves")
        _gap(turn, chance, tally)
        for level in sorted(set(turn.flight.met)):
            if level > max(turn.flight.ends):
                _at_level(turn, level, True, chance, tally)
            elif 0 < level < min(turn.flight.ends):
                _at_level(turn, level, False, chance, tally)


def turns(case: Case) -> Iterator[Turn]:
    """Every move that the literal rule makes at some steady inlet; the package lists them all."""
    named = case.review.decisions.named
    known = {(named(one.move.start), named(one.move.end)): one for one in flights_of(case.review) if one.move.chosen}
    for move in permutations([*case.rows, AWAY], 2):
        inlet = leading(case, move)
        if inlet is None or not commanded(case, move) or (move[1] == AWAY and case.stage.backup is None):
            continue
        assert move in known, (move, inlet, case.text)
        yield Turn(case, move, inlet, known[move])


def _gap(turn: Turn, chance: Random, tally: Tally) -> None:
    """The load on nothing, with the times that a search found worst, and with drawn ones."""
    bound, case = float(turn.flight.gap_ms), turn.case

    def nothing(positions: Positions) -> bool:
        return case.network.outcome(positions).kind in NOTHING

    worst = planned(turn.given, worst_plan(case, turn.move, nothing, bound, chance))
    lengths = []
    for times, bounce in ((worst, "open"), ("random", "random"), ("extremes", "open"), ("extremes", "random")):
        record, _ = turn.flown(times, bounce, chance)
        gaps = [gap.length for gap in record.gaps if (gap.before, gap.after) == turn.move]
        lengths.append(max(gaps, default=0.0))
        tally.count("flights")
    tally.held(f"gap, {turn.manner}", max(lengths), bound, SLACK_MS, (turn.move, case.text))


def _at_level(turn: Turn, level: Fraction, over: bool, chance: Random, tally: Tally) -> None:
    """How long the output is at a ratio or beyond it while the relays of a move fly."""
    bound, case = float(turn.flight.at_least_ms(level) if over else turn.flight.at_most_ms(level)), turn.case
    near = float(level) * (1 - 1e-12 if over else 1 + 1e-12)

    def beyond(ratio: float) -> bool:
        return ratio >= near if over else 0 < ratio <= near

    def stands(positions: Positions) -> bool:
        outcome = case.network.outcome(positions)
        return outcome.kind == "fed" and beyond(float(outcome.ratio or 0))

    worst = planned(turn.given, worst_plan(case, turn.move, stands, bound, chance))
    lengths = []
    for times, bounce in ((worst, "open"), ("extremes", "open"), ("random", "closed")):
        record, logged = turn.flown(times, bounce, chance)
        ends = [*(one.time for one in record.decisions), record.step_ms * len(record.output)]
        lengths.append(longest(timeline(case, record, logged), beyond, ends[0], ends[1]))
    kind = "time in a surge" if over else "time in a dip"
    tally.held(kind, max(lengths), bound, SLACK_MS, (turn.move, level, case.text))


# Sudden steps

STEP_AT = 200.0
STEP_MS = 0.25


def steps(one: Drawn, chance: Random, tally: Tally) -> None:
    """After a sudden step no level lasts longer than is said, and the output is always that of a phase yet to end."""
    if one.ripple:
        return
    text = blanked(one.text) if chance.random() < 0.3 else one.text
    case = case_of(text, brisk=chance.random() < 0.5)
    every = responses(case.review.decisions, case.review.flying)
    tries = [(row, volts) for row in case.rows for volts in _targets(case, every, chance)]
    for row, volts in chance.sample(tries, min(TARGETS, len(tries))):
        _stepped(case, every, _drawn_step(case, row, volts, chance), chance, tally)


def _targets(case: Case, every: Sequence[Response], chance: Random) -> list[float]:
    """Lines beside the marks, at the ends of the responses, anywhere, and none at all."""
    low, high = map(float, case.stage.range)
    known = marks(case, False, 0.0)  # at a mark itself the simulation's rounding would decide
    ends = known + [float(end) for one in every for end in (one.line.low, one.line.high)]
    found = [end * (1 + side) for end in ends for side in (-1e-4, 1e-4)]
    found += [chance.uniform(low, high) for _ in range(4)]
    off = [volts for volts in found if all(abs(volts - mark) > 1e-5 * mark for mark in known)]
    return [0.0, *(volts for volts in off if low <= volts <= high)]


@dataclass(frozen=True)
class Stepped:
    """A course after a step to a line voltage, from a time on; `levels` is its output from event to event."""

    volts: Fraction
    record: Record
    levels: list[Level]
    begin: float

    @property
    def way(self) -> list[str]:
        return entered(self.record, self.begin)

    @property
    def slack(self) -> float:
        """What the readings' steps can add: one for the step itself, one for each move."""
        return (len(self.way) + 1) * self.record.step_ms


@dataclass(frozen=True)
class Step:
    """From a row at rest at one line voltage to another, with how the relays fly."""

    row: str
    before: float
    after: float
    times: str
    bounce: str


def _drawn_step(case: Case, row: str, volts: float, chance: Random) -> Step:
    hold = case.quick.holds[case.quick.places[row]]
    share = case.sensed(row, False)
    inside = [
        max(hold[0], 0.01 * hold[1]) / share * 1.0001,
        hold[1] / share * 0.9999,
        (hold[0] + hold[1]) / 2 / share,
    ]
    times = chance.choice(("most", "most", "most", "least", "extremes", "random"))
    return Step(row, chance.choice(inside), volts, times, chance.choice(("open", "open", "closed")))


def _stepped(case: Case, every: Sequence[Response], step: Step, chance: Random, tally: Tally) -> None:
    logged = Logged(step.times, step.bounce, case.brisk)
    settings = Settings(step_ms=STEP_MS, noise="none", loaded=False, start=step.row, times=logged, bounce=step.bounce)
    lasts = 4 * case.move_ms + STEP_AT
    record = case.course(line((STEP_AT, step.before), (STEP_AT, step.after)), lasts, chance, settings)
    begin = round(STEP_AT / record.step_ms) * record.step_ms
    found = Stepped(Fraction(step.after), record, timeline(case, record, logged), begin)
    last = record.decisions[-1].time if record.decisions else 0.0
    if len(found.way) < 2 or record.decisions[0].time <= begin:
        tally.count("steps: nothing moves, or it moved before")
        return
    if last > lasts - case.move_ms or (found.way[-1] == AWAY and case.stage.backup is None):
        tally.count("steps: no end, or outside all bands")
        return
    told = (step, [(one.time - begin, one.after) for one in record.decisions], case.text)
    _judged(case, every, found, told, tally)


def _judged(case: Case, every: Sequence[Response], found: Stepped, told: object, tally: Tally) -> None:
    named, near = case.review.decisions.named, Fraction(1, 10**6)
    alike = [
        one.at_line(found.volts)
        for one in every
        if [named(one.start), named(one.entered[-1])] == [found.way[0], found.way[-1]]
        and one.line.low - near <= found.volts <= one.line.high + near
    ]
    exactly = [one for one in alike if [named(other) for other in one.entered] == found.way[1:]]
    flight_read = case.stage.sensing.at != "input" and not exactly
    if flight_read:  # what a flight in the reading does is told by other findings
        tally.count("steps: another way, a flight is read")
        return
    parted = any(one.overlap < 0 for one in case.review.table.meetings())
    if AWAY in found.way and not exactly and parted:  # on its way the reading met no band
        tally.count("steps: another way, neighbours part on the way")
        return
    assert alike, told
    tally.count("steps", *(["steps by a detour"] if len(found.way) > 2 else []))
    if exactly:
        _phases(case, exactly, found, told, tally)
    else:
        tally.count("steps: a way of its own to the same end")
    _levels(case, alike, found, told, tally)


def _phases(case: Case, exactly: Sequence[Response], found: Stepped, told: object, tally: Tally) -> None:
    """At each time the output is that of a phase that may not be over yet, or of the last row."""
    waits: list[list[float]] = []
    for one in exactly:
        done, here = Fraction(0), []
        for leg in one.legs:
            here.append(float(done + leg.wait.ms))
            done += leg.wait.ms + leg.flown.given.settled_ms
        waits.append(here)
    assert any(_inside_phases(case, one, found) for one in exactly), told
    moves = [one.time - found.begin for one in found.record.decisions]
    for place, (time, bounds) in enumerate(zip(moves, zip(*waits, strict=True), strict=True)):
        tally.held(
            f"time to move {place + 1 if place < 2 else 'three or more'}", time, max(bounds), found.slack, told
        )


def _inside_phases(case: Case, response: Response, found: Stepped) -> bool:
    last = case.review.decisions.named(response.entered[-1])
    final = 0.0 if last == AWAY else float(case.network.settled(last).ratio or 0)
    volts, near = float(found.volts), 1e-6
    ends = [*(time for time, _ in found.levels[1:]), np.inf]
    for (_, ratio), end in zip(found.levels, ends, strict=True):
        output, until = (ratio or 0.0) * volts, end - found.begin - found.slack
        if until <= 0 or abs(output - final * volts) < near:
            continue
        if not any(
            phase.output.low - near <= output <= phase.output.high + near and until <= phase.until_ms
            for phase in response.phases
        ):
            return False
    return True


def _count(found: Stepped) -> str:
    moves = len(found.way) - 1
    return "one move" if moves == 1 else "two moves" if moves == 2 else "more moves"


def _levels(case: Case, alike: Sequence[Response], found: Stepped, told: object, tally: Tally) -> None:
    """Every level met on some way to the same row, held against the longest that any of these ways allows."""
    last, volts = found.way[-1], float(found.volts)
    final = 0.0 if last == AWAY else float(case.network.settled(last).ratio or 0) * volts
    sides: tuple[Side, ...] = ("over", "under")
    for side in sides:
        sign = 1 if side == "over" else -1
        for level in sorted({level for one in alike for level in one.levels(side)}):
            if (final - float(level)) * sign >= -1e-6:
                continue  # the last row is there itself
            bound = float(max(one.lasting(level, side).lasts_ms for one in alike))
            lasted = longest(
                found.levels,
                lambda ratio, to=float(level), way=sign: (ratio * volts - to) * way >= -1e-6,
                found.begin,
                found.record.step_ms * len(found.record.output),
            )
            tally.held(f"level {side}, {_count(found)}", lasted, bound, found.slack, (side, float(level), *told))


# The exported header in the loop


def headers(batch: Sequence[Drawn], folder: Path, chance: Random, tally: Tally) -> None:
    """Designs with the decisions of their C, all of one library, and with the literal rule at the C's thresholds."""
    texts = [one.text.replace("Drawn at random", f"Drawn at random {number}") for number, one in enumerate(batch)]
    given = [(f"drawn_{number}", text) for number, text in enumerate(texts)]
    for text, following in zip(texts, compiled(folder, given), strict=True):
        _one_header(case_of(text), following, chance, tally)


def _one_header(case: Case, following: Callable[[int, int], int], chance: Random, tally: Tally) -> None:
    whole = whole_table(case.table)
    names = [*case.rows, AWAY]
    numbers = {name: number for number, name in enumerate(names)}

    def by_header(row: str, reading: float) -> str:
        return names[following(numbers[row], round(reading * 1000))]

    def by_rule(row: str, reading: float) -> str:
        return rule.decide(whole, row, Fraction(round(reading * 1000)))

    seed, points = chance.getrandbits(32), prelude(case, chance, 50.0)
    error = chance.choice((-case.error, case.error))
    settings = Settings(noise=chance.choice(("random", "greedy", "extremes")), error=error, step_ms=1.0)
    lasts = points[-1][0] + 300
    ours, theirs = (
        case.course(line(*points), lasts, Random(seed), settings, decide=decide) for decide in (by_header, by_rule)
    )
    assert ours.decisions == theirs.decisions, case.text
    assert ours.operations == theirs.operations
    tally.count("courses by the header")
    tally.counts["moves by the header"] += len(ours.moves)


# What pytest runs


@pytest.fixture(scope="module")
def promised() -> Tally:
    tally = Tally()
    for number, one in enumerate(drawn(90, 1, 0.4)):
        promises(one, Random(number), tally)
    return tally


def test_promises_called_kept_are_kept(promised: Tally) -> None:
    """The load settles inside the window and stays, whatever noise, error, flights and the line before did."""
    counts = promised.counts
    assert counts["designs with every promise kept"] > 45
    assert counts["steady inputs at rest and in the window"] > 1000
    assert counts["courses to a steady input"] > 140
    assert counts["moves in courses to a steady input"] > 600
    assert counts["courses that were away and came back"] > 80
    assert min(counts[f"kept, read at {place}"] for place in ("input", "output", "winding")) > 9
    assert counts["kept, behind a source's resistance"] > 6


def test_damage_is_found_and_nearly_all_of_it_breaks(promised: Tally) -> None:
    counts = promised.counts
    for damage in DAMAGES:  # one that rounding or the want of noise undid is a design like any other, and kept
        assert counts[f"designs {damage}, found as such"] > 0, damage
    assert counts["faulty designs that break"] > 0.8 * counts["designs with a fault"] > 20
    assert min(counts[f"break: {kind}"] for kind in ("loops", "away")) > 6


def returning_near(case: Case) -> str | None:
    """The design with a return that the load's own sag reaches, and without the load nothing does."""
    if not case.stage.source_ohm or case.stage.backup is None:
        return None
    leave, away = case.quick.holds[0][0], case.sensed(AWAY, False)
    bare, loaded = (
        away * (leave + case.half) / case.sensed(case.rows[0], on) + case.half + 0.01 for on in (False, True)
    )
    back = bare + 0.6 * (loaded - bare)
    if loaded - bare < 0.5 or back >= case.quick.back[1]:
        return None
    return re.sub(r"return_v = \[.*,", f"return_v = [{back:.4f},", case.text)


def test_a_return_nearer_than_the_source_sags_is_found_and_cycles() -> None:
    chance, tried = Random(6), 0
    for one in drawn(250, 6, 0.0):
        text = returning_near(steady_case(one)) if "source_ohm" in one.text and not one.ripple else None
        if text is None:
            continue
        case, tried = case_of(text), tried + 1
        assert "backup-cycling" in {fault.code for fault in case.faults}, text
        beside = [trial for trial in beside_the_backup(case) if trial.settings.loaded]
        assert any(trouble(case, trial, chance) == "loops" for trial in beside), text
    assert tried > 4


def test_a_return_short_by_a_quarter_of_the_noise_is_found_and_strands() -> None:
    chance, tried = Random(7), 0
    for one in drawn(60, 7, 0.0):
        case = steady_case(one)
        if one.ripple or case.stage.backup is None or not case.half:
            continue
        for side in (-1, 1):
            end = case.stage.range[0 if side < 0 else 1] * (1 + side * case.stage.sensing.error)
            back = float(case.table.away_sensed * end) + side * case.half / 2
            found = r"return_v = \[[^,]*," if side < 0 else r"(return_v = .*, )[^\]]*\]"
            text = re.sub(found, f"return_v = [{back:.5f}," if side < 0 else rf"\g<1>{back:.5f}]", case.text)
            short = case_of(text)
            tried += 1
            assert "stranded" in {fault.code for fault in short.faults}, text
            assert any(trouble(short, trial, chance) == "away" for trial in at_the_ends(short)), text
    assert tried > 30


SWITCH_ON = """
format = 1
title = "A winding read that shows less while away than in the first band"
mains = { nominal_v = 220, range_v = [180, 235] }
output = { nominal_v = 220, window_v = [176, 246] }
terminals = { line = "LINE", neutral = "N", output = "T2" }
winding = [
    { name = "lower", ends = ["N", "T1"], turns = 516 },
    { name = "upper", ends = ["T1", "T2"], turns = 124 },
    { name = "read", ends = ["R1", "R2"], turns = 40 },
]
relay = [{ name = "K", com = "LINE", nc = "T2", no = "T1" }]
sensing = { at = ["R2", "R1"], noise_v = 0.4 }
band = [
    { name = "boost", energised = ["K"], hold_v = [13.75, 15.1] },
    { name = "direct", energised = [], hold_v = [11.3, 15] },
]
"""


def test_a_stage_read_elsewhere_may_stay_at_rest_after_switch_on_at_the_very_ends() -> None:
    """Away, noise is worth 40/516 to 40/640 more than in the band, which without a backup no promise counts."""
    case, chance = case_of(SWITCH_ON), Random(1)
    seen = [trouble(case, trial, chance) for trial in at_the_ends(case)]
    assert not case.faults
    assert set(seen) == {None, "away"}
    assert not any(found for trial, found in zip(at_the_ends(case), seen, strict=True) if not dozing(case, trial))


@pytest.fixture(scope="module")
def flown() -> Tally:
    tally = Tally()
    for number, one in enumerate(drawn(50, 2, 0.1)):
        flights(one, Random(number), tally)
    return tally


def test_no_gap_and_no_level_of_a_move_outlasts_its_bound(flown: Tally) -> None:
    """Each bound is reached within 5 % by some course, and nearly all of a kind are.

    Over 2,000 designs 99.7 to 100 % of the gaps are, and 99.2 % of surges and dips. The rest of these are moves of
    three relays whose bound lets a contact change over in no time, drawn with flights of a moment at least.
    """
    assert flown.counts["moves"] > 400
    kinds = [*(f"gap, {manner}" for manner in MANNERS), "time in a dip", "time in a surge"]
    for kind in kinds:
        assert len(flown.shares[kind]) > 3, kind
        assert max(flown.shares[kind]) > 0.999, kind
        assert flown.reached(kind) > 0.95, kind


MANNERS = ("one relay", "together", "one after the other, shorter pause", "one after the other, longer pause")


def test_no_level_after_a_step_outlasts_its_bound() -> None:
    """Every kind of bound is met by some course, few courses meet theirs: lines and flights are drawn, not searched.

    Over 2,000 designs the best are 1.0000 of the bound for every kind of level and for first and second moves, and
    0.9917 for the times of third moves and later ones, whose readings all have to pass their marks at the very last.
    """
    tally = Tally()
    for number, one in enumerate(drawn(100, 3, 0.1)):
        steps(one, Random(number), tally)
    assert tally.counts["steps"] > 350
    assert tally.counts["steps by a detour"] > 80
    for kind in [f"level {side}, {moves}" for side in ("over", "under") for moves in ("one move", "two moves")]:
        assert len(tally.shares[kind]) > 50, kind
        assert max(tally.shares[kind]) > 0.95, kind
    assert max(tally.shares["time to move 1"]) > 0.99
    assert max(tally.shares["time to move 2"]) > 0.9


SLOW_WINDOW = """
format = 1
title = "A window of two cycles, longer than moves and confirmation take"
mains = { nominal_v = 110, range_v = [81, 139], frequency_hz = 47 }
output = { nominal_v = 110, window_v = [102, 118] }
terminals = { line = "LINE", neutral = "N", output = "OUT" }
winding = [
    { name = "one", ends = ["N", "T0"], turns = 298 },
    { name = "two", ends = ["T0", "T1"], turns = 19 },
    { name = "three", ends = ["T1", "T2"], turns = 46 },
    { name = "four", ends = ["T2", "T3"], turns = 48 },
]
sensing = { at = "input", noise_v = 0.23, window_cycles = 2, confirm_ms = 5 }
backup = { leave_v = [78.38, 141.7], return_v = [80.23, 139.85] }

[[relay]]
name = "KL"
com = "LINE"
nc = "T2"
no = "T1"
operate_ms = [2.5, 10]
release_ms = 7
bounce_ms = [2, 3.5]
[[relay]]
name = "KO"
com = "OUT"
nc = "T0"
no = "K1"
release_ms = 7
transfer_ms = [5, 11.5]
bounce_ms = 3
[[relay]]
name = "KP"
com = "K1"
nc = "T2"
no = "T3"
operate_ms = 5
release_ms = [8, 12.5]
bounce_ms = [1, 2]

[[band]]
name = "b0"
energised = ["KL", "KO", "KP"]
hold_v = [78.38, 90.55]
[[band]]
name = "b1"
energised = ["KL", "KO"]
hold_v = [89.74, 102.85]
[[band]]
name = "b2"
energised = ["KO"]
hold_v = [102.2, 117.44]
[[band]]
name = "b3"
energised = ["KL"]
hold_v = [115.78, 125.24]
[[band]]
name = "b4"
energised = []
hold_v = [124.68, 141.7]
"""


def test_a_reading_on_its_way_can_stop_more_than_once() -> None:
    """b1 at 12 ms, b2 at 42, b3 at 67; between the last two both relays of the output fly, 16.5 ms on nothing."""
    case, tally = case_of(SLOW_WINDOW), Tally()
    assert case.faults == []
    every = responses(case.review.decisions, case.review.flying)
    _stepped(case, every, Step("b0", 84.465, 117.5432445, "most", "open"), Random(1), tally)
    assert tally.shares["level under, more moves"]
    assert tally.counts["steps"] == 1


def test_a_flight_that_takes_no_time_breaks_no_stay() -> None:
    """The least of a time may be 0: a contact that changes over in no time leaves the load where it is."""
    tally = Tally()
    for number, one in list(enumerate(drawn(40, 2, 0.1)))[20:]:
        flights(one, Random(number), tally, brisk=True)
    assert len(tally.shares["time in a dip"]) > 10


def test_the_header_in_the_loop_is_the_literal_rule(tmp_path: Path) -> None:
    tally = Tally()
    headers(list(drawn(80, 4, 0.3)), tmp_path, Random(4), tally)
    assert tally.counts["courses by the header"] == 80
    assert tally.counts["moves by the header"] > 300
