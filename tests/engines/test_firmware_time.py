"""The firmware in time, called early, late and unevenly, with readings that can and cannot be.

What must follow is written out here from the format's text: `Plain` knows the literal judge, the coils of a band and
the relays' times, and keeps absolute time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil
from pathlib import Path
from random import Random

import pytest

from tapplan.checks.ticked import worse_at_ticks
from tapplan.cli.main import main
from tapplan.control.program import Passing, Program, program
from tapplan.control.table import control_table
from tapplan.control.ticks import times
from tapplan.design.file import parse
from tapplan.errors import UsageError
from tapplan.pages.firmware.directory import firmware
from tests.engines.firmware import WATCHED, Loaded, compiled, put, told
from tests.engines.judging import latest, standings
from tests.engines.test_exports import CASES, Case, case_of
from tests.engines.test_firmware import orders_of
from tests.examples import ROOT
from tests.outside.designs import random_design
from tests.outside.stage import AWAY

F = Fraction
SIGNAL_BOX = (ROOT / "designs/signal-box.toml").read_text()
PUMP = (ROOT / "designs/spring-pump.toml").read_text()


@dataclass
class Plain:
    """The controller by the format's text, in whole ms; a pause begins when the coil before it was really set."""

    case: Case
    now: int = 0
    row: str = AWAY
    since: int | None = None
    ready: int = 0
    coils: int = 0
    left: list[tuple[int, int]] = field(default_factory=list)
    """Masks still to come, each with the ms from the one before it."""

    def __post_init__(self) -> None:
        self.orders = orders_of(self.case)
        self.relays = {relay.name: relay for relay in self.case.design.relays}
        order = self._proven(0, self.case.program.retreats[-1])
        self._go(frozenset(), self.case.energised[AWAY], order)

    def call(self, elapsed: int, reading: int) -> None:
        """So many ms later, with one reading."""
        self.now += elapsed
        while self.left and self.now >= self.ready:
            self.coils, wait = self.left.pop(0)
            self.ready = self.now + wait
        if self.now >= self.ready and not self.left:
            self._judge(reading)

    def _judge(self, reading: int) -> None:
        most = self.case.program.most_reading
        none = reading < 0 or (most is not None and reading > most)
        then = AWAY if none else self.case.decided(self.row, reading)
        if then == self.row:
            self.since = None
            return
        self.since = self.now if self.since is None else self.since
        if self.now - self.since < self._needed(reading):
            return
        made = self.case.program
        old, new = self.case.energised[self.row], self.case.energised[then]
        order = self.orders.get((self.row, then))
        if none and order is None:
            place = made.names.index(self.row)
            order = self._proven(made.coils[place], made.retreats[place])
        self.row, self.since = then, None
        self._go(old, new, order)

    def _needed(self, reading: int) -> int:
        sensing, backup = self.case.design.sensing, self.case.design.backup
        if self.row == AWAY:
            return 0 if backup is None else ceil(backup.return_after_ms)
        low, high = self.case.judge.holds[self.case.judge.places[self.row]]
        above = reading > (low + high) / 2 * self.case.scale
        own = sensing.confirm_up_ms if above else sensing.confirm_down_ms
        return ceil(sensing.confirm_ms if own is None else own)

    def _proven(self, start: int, passing: Passing) -> list[str]:
        """The order of a move that no reading of the table brings about: as the program has it."""
        masks, names = [start, *passing.masks], list(self.relays)
        if any((one ^ other).bit_count() > 1 for one, other in pairwise(masks)):
            return []
        return [names[(one ^ other).bit_length() - 1] for one, other in pairwise(masks) if one != other]

    def _go(self, old: frozenset[str], new: frozenset[str], order: list[str] | None) -> None:
        """Set the first coil now, and write down when the others follow and when readings count."""
        movers = [name for name in self.relays if name in old ^ new]
        sequence = self.case.design.sequence
        single = len(movers) > 1 and order and len(order) == len(movers)
        groups = [[name] for name in order] if single and order else [movers] * bool(movers)
        mask, masks, rests, begins, begin = self.case.mask(old), [], [F(0)], [], F(0)
        for group in groups:
            taken = [latest(self.relays[name], driven=name in new) for name in group]
            mask ^= self.case.mask(frozenset(group))
            masks.append(mask)
            begins.append(begin)
            rests += [begin + one for one in taken]
            begin += max(taken) if sequence.pause_ms is None else sequence.pause_ms
        over = max(*rests, begins[-1] + sequence.blank_ms) if masks else F(0)
        waits = [ceil(later - earlier) for earlier, later in pairwise([*begins, over])]
        self.left = list(zip(masks, waits, strict=True))
        self.ready = self.now
        while self.left and self.ready <= self.now:
            self.coils, wait = self.left.pop(0)
            self.ready = self.now + wait


@dataclass(frozen=True)
class Called:
    """One call: whether it begins a course, what it is given, the row before it, and the stage after it."""

    first: bool
    elapsed: int
    reading: int
    before: str
    plain: Plain


def timed_cases() -> list[Case]:
    """Those of the exports, and more that come back from a backup late, or drive coils while away."""
    chance, found = Random(43), list[Case]()
    while len(found) < 12:
        case = Case(f"late {len(found)}", control_table(parse(random_design(chance).text)))
        backup = case.design.backup
        if backup is not None and backup.return_after_ms > 0 and (len(found) % 2 or backup.energised):
            found.append(case)
    return [*CASES, *found]


TIMED = timed_cases()


def readings(case: Case, chance: Random) -> Iterator[int]:
    """Readings that stand for a while, or change at each call; at marks, anywhere, and such as cannot be."""
    while True:
        reading = chance.choice(case.readings[:-1])
        if chance.random() < 0.05:
            reading = chance.choice((-1, -(2**31), 2**31 - 1))
        for _ in range(chance.choice((1, 1, 2, 5, 30))):
            yield reading


def uneven(case: Case) -> Iterator[Called]:
    """Three courses of calls that come late or early, as the text takes them."""
    chance = Random(case.name)
    for _ in range(3):
        plain, every = Plain(case), readings(case, chance)
        spread = chance.choice(((10,), (1,), (0, 1, 5, 10, 11), (3, 7, 100), (0, 20, 5000, 65535)))
        for number in range(700):
            elapsed, reading = chance.choice(spread), next(every)
            before = plain.row
            plain.call(elapsed, reading)
            yield Called(number == 0, elapsed, reading, before, plain)


@pytest.mark.parametrize("case", TIMED, ids=lambda case: case.name)
def test_called_unevenly_it_does_what_the_text_says(case: Case, tmp_path: Path) -> None:
    here, rows, moved = Loaded(tmp_path, firmware(case.program), *WATCHED), standings(case.judge), 0
    for one in uneven(case):
        if one.first:
            here.start()
        mask = here.step(one.elapsed, one.reading)
        assert (rows[here.band], mask) == (one.plain.row, one.plain.coils), (one.plain.now, one.reading)
        moved += one.before != one.plain.row
    assert moved > 5


def test_enough_is_seen_of_uneven_calls() -> None:
    seen: Counter[str] = Counter()
    for case in TIMED:
        for one in uneven(case):
            decided = one.before != one.plain.row
            seen.update(decisions=decided, none=decided and one.reading < 0)
            seen.update(midway=bool(one.plain.left), waiting=one.plain.since is not None)
    assert seen["decisions"] > 4000
    assert seen["none"] > 50
    assert seen["midway"] > 200
    assert seen["waiting"] > 5000


def test_cases_have_all_that_takes_time() -> None:
    """Energised while away, in order, with pauses, blanking, confirmation and return: all are among the cases."""
    assert sum(bool(case.energised[AWAY]) for case in TIMED) >= 6
    assert sum(case.design.sequence.blank_ms > 0 for case in TIMED) > 2
    assert sum(case.design.backup is not None and case.design.backup.return_after_ms > 0 for case in TIMED) >= 6
    assert sum(case.design.sensing.longest_confirmation_ms > 0 for case in TIMED) > 5


def box(**changed: str) -> Program:
    """The signal box with other lines; each must be there."""
    text = SIGNAL_BOX
    for key, value in changed.items():
        lines = [line for line in text.splitlines() if line.startswith((f"{key} ", f"{key}="))]
        assert len(lines) >= 1, key
        text = text.replace(lines[0], f"{key} = {value}", 1)
    return program(control_table(parse(text)))


def entered(here: Loaded, reading: int, tick: int = 10) -> None:
    """Into the band of a reading, all over."""
    here.start()
    for _ in range(20):
        here.step(tick, reading)


DIRECT, BOOST, BUCK, OUT = 1, 0, 2, 3
LOW, MIDDLE, HIGH = 950, 1100, 1240
"""Counts of boost, direct and buck; 885 to 1033 lead from away to boost, by the guide's own table."""


@pytest.fixture
def signal_box(tmp_path: Path) -> Loaded:
    return Loaded(tmp_path, firmware(box()))


def test_the_confirmation_is_kept_to_the_tick(signal_box: Loaded) -> None:
    """30 ms: the reading that begins it and three ticks more; a reading that keeps the band begins it anew."""
    entered(signal_box, MIDDLE)
    assert signal_box.band == DIRECT
    bands = []
    for reading in (HIGH, HIGH, HIGH, MIDDLE, HIGH, HIGH, HIGH, HIGH):
        signal_box.step(10, reading)
        bands.append(signal_box.band)
    assert bands == [DIRECT] * 7 + [BUCK]


def test_a_late_call_counts_for_all_that_has_passed(signal_box: Loaded) -> None:
    entered(signal_box, MIDDLE)
    signal_box.step(10, HIGH)
    assert signal_box.band == DIRECT
    signal_box.step(65535, HIGH)
    assert signal_box.band == BUCK


def test_no_time_passes_between_calls_at_one_instant(signal_box: Loaded) -> None:
    entered(signal_box, MIDDLE)
    for _ in range(100):
        signal_box.step(0, HIGH)
    assert signal_box.band == DIRECT


def test_the_answer_that_stands_when_the_time_ends_is_taken(signal_box: Loaded) -> None:
    entered(signal_box, MIDDLE)
    for reading in (HIGH, HIGH, HIGH, LOW):
        signal_box.step(10, reading)
    assert signal_box.band == BOOST


def test_readings_while_relays_fly_do_not_count(signal_box: Loaded) -> None:
    """KA operates within 5, transfers within 5 and bounces for 5 ms at most, by the file: two ticks of 10 ms."""
    entered(signal_box, MIDDLE)
    for _ in range(4):
        signal_box.step(10, LOW)
    assert signal_box.band == BOOST
    for count in range(4):
        signal_box.step(10, MIDDLE)
        assert signal_box.band == BOOST, count
    signal_box.step(10, MIDDLE)  # the second counts, and 30 ms from there
    assert signal_box.band == DIRECT


@pytest.mark.parametrize("none", [-1, -(2**31), 1449, 2**31 - 1])
def test_a_reading_that_cannot_be_leads_away_and_keeps_there(signal_box: Loaded, none: int) -> None:
    entered(signal_box, LOW)
    assert signal_box.step(0, LOW) == 3
    masks = [signal_box.step(10, none) for _ in range(8)]
    assert masks == [3, 3, 3, 0, 0, 0, 0, 0]
    assert signal_box.band == OUT
    for _ in range(5):
        signal_box.step(10, LOW)
    assert signal_box.band == BOOST


def test_until_there_is_a_reading_coils_stay_at_rest(signal_box: Loaded) -> None:
    signal_box.start()
    assert {signal_box.step(10, -1) for _ in range(50)} == {0}
    assert signal_box.band == OUT


def test_coils_driven_while_away_are_set_at_the_start_and_settle_first(tmp_path: Path) -> None:
    """KA takes 9 + 4 + 2 ms at most to come to rest, by the file."""
    head, _, backup = SIGNAL_BOX.partition("[backup]")
    text = head + "[backup]" + backup.replace("energised = []", 'energised = ["KA"]', 1)
    here = Loaded(tmp_path, firmware(program(control_table(parse(text)))))
    assert [(here.step(5, MIDDLE), here.band)[1] for _ in range(3)] == [OUT, OUT, DIRECT]
    here.start()
    assert here.step(0, MIDDLE) == 2  # KB is the first relay of the file, KA the second


def test_sensed_at_the_output_a_reading_that_cannot_be_does_not_walk_by_way_of_the_bands(tmp_path: Path) -> None:
    """From the upper band a low reading leads to the lower one; none at all leads away."""
    here = Loaded(tmp_path, firmware(program(control_table(parse(PUMP)))))
    for reading in (230_000,) * 30:
        here.step(10, reading)
    assert here.band == 1
    assert here.next(1, 0) == 0
    assert here.next(1, -1) == 2
    here.step(10, -1)
    assert here.band == 2


def test_a_wait_of_more_than_65_seconds_is_counted_in_32_bits(tmp_path: Path) -> None:
    made = box(leave_v="[180, 268]\nreturn_after_ms = 300000")
    texts = firmware(made)
    assert "uint32_t held" in texts["tapplan_signal_box.h"]
    here = Loaded(tmp_path, texts)
    for _ in range(30000):
        here.step(10, MIDDLE)
    assert here.band == OUT
    here.step(10, MIDDLE)
    assert here.band == DIRECT


@pytest.mark.parametrize("return_after", [300_000, 3_600_000])
def test_the_program_that_comes_with_it_waits_for_minutes(return_after: int, tmp_path: Path) -> None:
    """A reading that leads back is first judged at one call; at the call after so many ms the band is in force."""
    texts = firmware(box(leave_v=f"[180, 268]\nreturn_after_ms = {return_after}"))
    put(tmp_path, texts)
    compiled(tmp_path, ["vectors.c", "tapplan_signal_box.c"])
    assert told(tmp_path)[-1].endswith(" 0 wrong")
    waits = f"{{{return_after // 10}UL, "
    assert texts["vectors.c"].count(waits) == 3  # after each of the readings that lead away
    for changed in (return_after // 10 - 1, return_after // 10 + 1):
        put(tmp_path, {"vectors.c": texts["vectors.c"].replace(waits, f"{{{changed}UL, ", 1)})
        compiled(tmp_path, ["vectors.c", "tapplan_signal_box.c"])
        with pytest.raises(AssertionError):
            told(tmp_path)


def test_a_time_counter_stops_at_its_most(tmp_path: Path) -> None:
    """Readings that lead elsewhere for hours: with 16 bits, ticks of 60 s and a confirmation of 65 s."""
    here = Loaded(tmp_path, firmware(box(confirm_ms="65000"), tick_ms=60000))
    entered(here, MIDDLE, 60000)
    assert here.band == DIRECT
    bands = []
    for _ in range(3):
        here.step(60000, HIGH)
        bands.append(here.band)
    assert bands == [DIRECT, DIRECT, BUCK]


@pytest.mark.parametrize("name", ["signal-box", "river-kiosk in order", "orchard-cold-room in order", "output 1"])
def test_from_any_damage_of_its_memory_it_comes_back(name: str, tmp_path: Path) -> None:
    """Whatever the state holds: after the longest wait the coils are those of a band, and then of the right one."""
    case, chance = case_of(name), Random(name)
    here, rows = Loaded(tmp_path, firmware(case.program), *WATCHED), standings(case.judge)
    coils = [case.mask(case.energised[row]) for row in rows]
    steady = [reading for reading in case.readings if case.decided(case.decided(AWAY, reading), reading) != AWAY]
    for _ in range(500):
        here.damage(chance.randbytes(12))
        reading = chance.choice(steady)
        for _ in range(4 * len(rows)):
            here.step(65535, reading)
        mask = here.step(65535, reading)
        assert here.band < len(rows)
        assert mask in {coils[here.band], *(code for one in case.program.passings.values() for code in one.masks)}
        settled = here.band
        if rows[settled] != AWAY and case.decided(rows[settled], reading) == rows[settled]:
            assert mask == coils[settled]


DAMAGED_BITS = range(8 * 16)
"""Of every state here, and of the memory after it, where they change nothing."""


@dataclass
class Lawful:
    """The coils that may be driven: those of the band in force, and of each step of the last move into it."""

    case: Case
    band: int

    def __post_init__(self) -> None:
        made = self.case.program
        self.moves = {
            (made.number(change.start), made.number(change.end)): {*one.masks}
            for change, one in made.passings.items()
        }
        self.coils = [self.case.mask(self.case.energised[row]) for row in standings(self.case.judge)]
        self.masks = {self.coils[self.band]}

    def after(self, band: int) -> set[int]:
        """Away may be reached from every band, and from the start, which damage leads back to."""
        retreats = self.case.program.retreats
        if band != self.band:
            self.masks = {self.coils[band], *self.moves.get((self.band, band), ())}
        if band == len(self.coils) - 1:
            self.masks = self.masks | {*retreats[self.band].masks, *retreats[-1].masks}
        self.band = band
        return self.masks


FLIPPED = ["signal-box", "river-kiosk in order", "orchard-cold-room in order", "output 1", "late 1", "late 3"]


@pytest.mark.parametrize("name", FLIPPED)
def test_a_flipped_bit_of_its_memory_drives_no_coils_of_another_move(name: str, tmp_path: Path) -> None:
    """At rest and midway, each bit: the coils stay those of the band, or it starts anew; what follows is lawful."""
    case = next(one for one in TIMED if one.name == name)
    here, chance = Loaded(tmp_path, firmware(case.program), *WATCHED), Random(name)
    found: Counter[int] = Counter()
    for _ in range(40):
        here.start()
        lawful = Lawful(case, len(standings(case.judge)) - 1)
        for _ in range(chance.randint(1, 6)):
            reading = chance.choice(case.readings)
            for _ in range(chance.choice((1, 3, 80))):
                assert here.step(10, reading) in lawful.after(here.band)
        memory, then = here.memory, chance.choice(case.readings)
        for bit in DAMAGED_BITS:
            place, damaged = bit // 8, bytearray(memory)
            damaged[place] ^= 1 << bit % 8
            here.damage(bytes(damaged))
            watched = copy(lawful)
            for follows in [reading] * 6 + [then] * 12:
                mask = here.step(10, follows)
                assert mask in watched.after(here.band), (place, bit % 8, follows)
            found[watched.band] += 1
    assert len(found) > 2


def test_memory_that_was_never_started_starts(tmp_path: Path) -> None:
    """Whatever the memory held, as nought or ones, no coil is driven that is not driven while away."""
    here = Loaded(tmp_path, firmware(box()))
    for content in (b"\x00" * 16, b"\xff" * 16):
        here.damage(content)
        assert (here.step(10, MIDDLE), here.band) == (0, OUT)


# Ticks


def test_the_tick_is_10_ms_or_what_the_shortest_time_allows() -> None:
    def tick(made: Program, asked: int | None = None) -> str:
        (line,) = [
            one for one in firmware(made, tick_ms=asked)["tapplan_signal_box.h"].splitlines() if "_TICK_MS" in one
        ]
        return line.split()[2]

    assert tick(box()) == "10U"
    assert tick(box(confirm_ms="7.5")) == "7U"
    assert tick(box(confirm_ms="0")) == "10U"
    assert tick(box(), 30) == "30U"


@pytest.mark.parametrize(
    ("changed", "tick", "told"),
    [
        (
            {},
            31,
            "found --tick-ms 31 with confirm_ms = 30; accepted: 1 to 30, for a shorter time would last a whole tick",
        ),
        (
            {"confirm_ms": "0.4"},
            None,
            "found confirm_ms = 0.4; accepted in firmware, which counts whole ms: 0, or 1 and more",
        ),
        ({"confirm_ms": "5000000000"}, None, "accepted: up to"),
    ],
)
def test_a_time_that_a_tick_cannot_keep_is_refused(changed: dict[str, str], tick: int | None, told: str) -> None:
    try:
        made = box(**changed)
    except Exception:  # the file's own limit comes first
        assert changed["confirm_ms"] == "5000000000"
        return
    with pytest.raises(UsageError) as refused:
        firmware(made, tick_ms=tick)
    assert told in str(refused.value)


@pytest.mark.parametrize("tick", [1, 7, 10, 25, 30])
def test_what_the_readme_says_a_time_is_at_a_tick(tick: int, tmp_path: Path) -> None:
    """The calls from the first reading that leads elsewhere to the one at which the coils change, in ms."""
    made = box()
    texts = firmware(made, tick_ms=tick)
    here = Loaded(tmp_path, texts)
    entered(here, MIDDLE, tick=30)
    calls = 0
    while here.band == DIRECT:
        here.step(tick, HIGH)
        calls += 1
    (line,) = [one for one in texts["README.txt"].splitlines() if "confirm_ms" in one]
    acts = (calls - 1) * tick
    assert line == "  confirm_ms: 30 ms" + (f"; with a call each {tick} ms: {acts} ms" if acts != 30 else "")


def test_pauses_are_among_the_times() -> None:
    """Shorter than a tick, a stated pause would be longer, and other overlaps would come than those proven."""
    case = case_of("ridge-dispensary in order")
    sequence = replace(case.design.sequence, pause_ms=F(4))
    short = Case("short", replace(case.table, design=replace(case.design, sequence=sequence)))
    assert [(one.key, one.ms) for one in times(short.program)] == [("pause_ms", F(4))]
    with pytest.raises(UsageError, match=r"found --tick-ms 5 with pause_ms = 4; accepted: 1 to 4"):
        firmware(short.program, tick_ms=5)


SLOW = """
format = 1
title = "Slow, 230 V"
mains = { nominal_v = 230, range_v = [190, 250] }
output = { nominal_v = 230, window_v = [205, 255], tolerance_curve = "iti-2000" }
terminals = { line = "L", neutral = "N", output = "O" }
winding = [{ name = "a", ends = ["N", "L"], turns = 100 }, { name = "b", ends = ["L", "T"], turns = 10 }]
relay = [{ name = "K", com = "O", nc = "L", no = "T" }]
sensing = { confirm_ms = CONFIRM }
band = [
  { name = "boost", energised = ["K"], hold_v = [185, 224] },
  { name = "direct", energised = [], hold_v = [212, 255] },
]
"""


def slow(confirm: int) -> Program:
    return program(control_table(parse(SLOW.replace("CONFIRM", str(confirm)))))


@pytest.mark.parametrize(
    ("confirm", "tick", "lasts"),
    [(400, 50, None), (400, 67, None), (400, 68, 506), (400, 100, 530), (450, 10, None), (450, 25, 505)],
)
def test_what_a_tick_makes_worse_is_told(confirm: int, tick: int, lasts: int | None) -> None:
    """A jump to 250 V puts 1.1 times that, 120 % of nominal, on the load, which the curve bears for 500 ms.

    It lasts until a window of 20 ms has gone by, a tick has come, the confirmation has ended at a tick, and K has let
    go within 10 ms: 20 + 10 + the tick + the confirmation in whole ticks.
    """
    found = worse_at_ticks(slow(confirm), tick)
    assert [one.code for one in found] == ["slow-recovery"] * (lasts is not None)
    for one in found:
        assert f"for up to {lasts} ms" in one.message


def test_the_call_and_the_readme_say_what_a_tick_makes_worse(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "slow.toml"
    file.write_text(SLOW.replace("CONFIRM", "400"))
    for tick, worse in ((10, False), (100, True)):
        at = tmp_path / str(tick)
        assert main(["export", str(file), "--to", "firmware", "-o", str(at), "--tick-ms", str(tick)]) == 0
        said = "with a call each 100 ms there is found besides: slow-recovery (README.txt)\n"
        assert capsys.readouterr().out.endswith(said) == worse
        plain = " ".join((at / "README.txt").read_text().split())
        assert ('- fault, slow-recovery, from "boost" to "direct"' in plain) == worse
        assert ("nothing is found that the times alone do not bring" in plain) == (not worse)


@pytest.mark.parametrize("case", CASES[:16], ids=lambda case: case.name)
def test_a_millisecond_of_tick_makes_no_shipped_design_worse(case: Case) -> None:
    assert worse_at_ticks(case.program, 1) == ()
