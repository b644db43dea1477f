"""A board without a drawing, asked reading after reading until its wiring is known."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from random import Random

import pytest

from tapplan.bench.asking import next_reading
from tapplan.bench.heights import KnownWinding
from tapplan.bench.isolation import Reading
from tapplan.bench.learned import Learned, learned, stage_of
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.meter import Meter
from tapplan.bench.phrase import Names
from tapplan.bench.readings import reading_of
from tapplan.bench.values import MOST
from tapplan.bench.words import told
from tapplan.design.file import load
from tapplan.design.model import Design
from tests.bench.undrawn import BenchBoard, MeterError, any_board, listed, sheet_of, wound_on
from tests.examples import SHIPPED, chain, design, pair

F = Fraction
METER = Meter(F(1, 2), F(1, 10))  # 0.5 % and 2 mV on a small source
GOOD = Meter(F(1, 100), F(1, 100))
TEST = KnownWinding("TX", "TY", F(20))
MOST_READINGS = 100
SMALL = [path for path in SHIPPED if len(load(path).relays) <= 3 and path.stem != "shepherds-hut"]  # has its own test


def bench_board(made: Design, seed: str, *, few_ohms: bool = False, error: MeterError | None = None) -> BenchBoard:
    """A board with windings of 0.1 to 30 ohm, or of few ohms all."""
    random, wound = Random(seed), wound_on(made)
    least, most = (0.1, 0.6) if few_ohms or random.random() < 0.4 else (0.6, 30)
    ohms = {section.name: random.uniform(least, most) for section in wound.windings}
    return BenchBoard(wound, random, error or MeterError(), ohms)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a board answered, and what came of it."""

    found: Learned
    readings: list[Reading]
    count: int


def asked_until_settled(made: Design, board: BenchBoard, start: list[Reading], meter: Meter = METER) -> Asked:
    """Takes each reading asked for, none of which makes more than 50 V anywhere, nor feeds a few turns."""
    readings = list(start)
    for count in range(MOST_READINGS + 1):
        found = learned(made, readings, meter, TEST)
        wanted = next_reading(made, readings, meter, found)
        assert found.settled == (wanted is None)
        if wanted is None:
            return Asked(found, readings, count)
        if wanted.condition.power == "low":
            assert board.most_volts(wanted.condition) <= 50
        assert reading_of(f"{told(wanted)} = 1", Names(None, None, (), ("O", "N"))).measure == wanted
        readings.append(board.answer(wanted))
    raise AssertionError(f"not settled after {MOST_READINGS} readings")


def same_ratios(made: Design, board: BenchBoard, found: Learned) -> bool:
    """Whether the design written has the output of the board in every coil state."""
    again = BenchBoard(stage_of(made, found), Random(0), MeterError(), {})
    names = [relay.name for relay in made.relays]
    for count in range(len(names) + 1):
        for coils in map(frozenset, combinations(names, count)):
            here, there = board.ratio(coils), again.ratio(coils)
            if (here is None) != (there is None) or (here and there and abs(here - there) > 0.01):
                return False
    return True


def true_turns_fit(made: Design, found: Learned) -> bool:
    """Whether every section that stands between two neighbours has its turns within those found."""
    assert found.turns is not None
    turns = {section.ends: section.turns for section in made.windings}
    sections = [one for one in found.turns.sections() if (one.low, one.high) in turns]
    wholes = [found.turns.whole_turns(one) for one in sections]
    return all(
        whole is not None and whole.least <= turns[one.low, one.high] <= whole.most
        for one, whole in zip(sections, wholes, strict=True)
    )


@pytest.mark.parametrize("seed", range(12))
def test_a_board_of_which_only_the_names_are_known_is_asked_until_it_is_settled(seed: int) -> None:
    made = any_board(Random(f"board {seed}"))
    board = bench_board(made, f"ohms {seed}")
    asked = asked_until_settled(made, board, listed(board))
    assert same_ratios(made, board, asked.found)
    assert true_turns_fit(made, asked.found)


@pytest.mark.parametrize(
    "made",
    [pair(), chain(2), chain(3), chain(2, side="LINE"), chain(3, side="LINE"), *map(load, SMALL)],
    ids=["pair", "chain 2", "chain 3", "line chain 2", "line chain 3", *(path.stem for path in SMALL)],
)
def test_boards_that_are_known_come_out(made: Design) -> None:
    board = bench_board(made, made.title)
    asked = asked_until_settled(made, board, listed(board))
    assert same_ratios(made, board, asked.found)
    assert true_turns_fit(made, asked.found)


def test_a_good_meter_and_a_test_winding_give_the_turns_themselves() -> None:
    board = bench_board(pair(), "good", error=MeterError(0.0001, 0.0002))
    found = asked_until_settled(pair(), board, listed(board), GOOD).found
    assert found.turns is not None
    assert [found.turns.whole_turns(one).nearest for one in found.turns.sections()] == [200, 27, 31]


@pytest.mark.parametrize("few_ohms", [False, True], ids=["many ohms", "few ohms"])
@pytest.mark.parametrize("name", ["hostel-review", "ridge-dispensary", "signal-box", "spring-pump"])
def test_the_test_sheet_alone_settles_a_board_fed_on_line_and_neutral(name: str, few_ohms: bool) -> None:
    """Line or output moves between taps, and a section of few ohms reads like a contact: the volts tell."""
    made = load(next(path for path in SHIPPED if path.stem == name))
    board = bench_board(made, name, few_ohms=few_ohms)
    found = learned(made, sheet_of(board), METER, TEST)
    assert found.settled
    assert same_ratios(made, board, found)
    assert true_turns_fit(made, found)


@pytest.mark.parametrize("seed", range(8))
def test_what_the_sheet_leaves_open_is_asked_for(seed: int) -> None:
    """Never settled wrongly, and after few readings more."""
    made = any_board(Random(f"sheet {seed}"))
    board = bench_board(made, f"sheet {seed}", few_ohms=bool(seed % 2))
    asked = asked_until_settled(made, board, sheet_of(board))
    assert same_ratios(made, board, asked.found)
    assert asked.count <= 15


def test_two_points_that_a_contact_joins_have_no_turn_between_them() -> None:
    """LINE on T3 at rest: the meter reads the two a little apart, and no section of one turn may come of it."""
    taps = (("a", "N", "T1", 200), ("b", "T1", "T2", 20), ("c", "T2", "T3", 30))
    made = design(taps, {"K": ("LINE", "T3", "T2")}, terminals=("LINE", "N", "T1"))
    found = learned(made, sheet_of(bench_board(made, "apart")), METER, TEST)
    assert found.turns is not None
    assert [(one.low, one.high) for one in found.turns.sections()] == [("N", "T1"), ("T1", "T2"), ("T2", "T3")]
    assert found.settled


def test_a_line_that_is_off_at_rest_is_looked_for_and_another_pair_is_fed() -> None:
    """The inlet relay has to be driven: then the highest tap is known, and at rest the source stands on that."""
    made = load(next(path for path in SHIPPED if path.stem == "shepherds-hut"))
    board = bench_board(made, "inlet")
    asked = asked_until_settled(made, board, listed(board))
    fed = {one.measure.condition.fed for one in asked.readings if one.measure.condition.power == "low"}
    assert fed == {("LINE", "NEUTRAL"), ("X", "NEUTRAL")}  # X is on the top, C, at rest
    assert asked.found.turns is not None
    assert [[one.point for one in each] for each in asked.found.turns.others] == [["BAT1", "BAT2"], ["S1", "S2"]]


def test_what_was_twice_not_to_be_had_is_not_asked_for_first() -> None:
    board = bench_board(pair(), "lost")
    start = listed(board)
    first = next_reading(pair(), start, METER, learned(pair(), start, METER, None))
    assert first is not None
    lost = [*start, Reading(first, None), Reading(first, None)]
    assert next_reading(pair(), lost, METER, learned(pair(), lost, METER, None)) not in (None, first)


def test_a_source_that_reaches_nothing_is_given_up_after_its_ohms() -> None:
    source = Condition("low", frozenset(), ("LINE", "N"), F(3))
    start = listed(bench_board(pair(), "dark"))
    start += [Reading(Measure(source, "volts", (point, "N")), F(0)) for point in ("OUT", "A")]
    asked = next_reading(pair(), start, METER, learned(pair(), start, METER, None))
    assert asked == Measure(Condition("off", frozenset()), "ohms", ("LINE", "N"))
    start.append(Reading(asked, MOST))
    asked = next_reading(pair(), start, METER, learned(pair(), start, METER, None))
    assert asked is not None
    assert asked.condition.coils
