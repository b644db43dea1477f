"""A board without a drawing: its own wiring and turns come out of readings again."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations
from pathlib import Path
from random import Random

import pytest

from tapplan.bench.continuity import Unprobed, contacts
from tapplan.bench.distances import Unclear
from tapplan.bench.heights import KnownWinding, turns
from tapplan.bench.isolation import Reading
from tapplan.bench.learned import learned, stage_of
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.meter import Meter
from tapplan.bench.poles import joins
from tapplan.bench.values import MOST
from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.circuit import circuit_of
from tapplan.network.states import each_state
from tests.bench.stages import table
from tests.bench.undrawn import BenchBoard, MeterError
from tests.examples import SHIPPED, chain, design, pair

F = Fraction
TEST = ("A1", "A2")
MILD = Meter(F(1), F(1, 2), F(1), F(1))


def board_of(made: Design, ohm: float = 40) -> BenchBoard:
    """The design on the bench, each winding of so many ohms, read without error."""
    return BenchBoard(made, Random(0), MeterError(0, 0, 0), dict.fromkeys((one.name for one in made.windings), ohm))


def continuity(stage: ControlTable, *, every_state: bool = True) -> list[Reading]:
    """Every pair of points in every coil state, as contacts and windings of 40 ohm read."""
    board, found = board_of(stage.design), []
    relays = stage.circuit.relays
    states = range(1 << len(relays)) if every_state else [0, *(1 << n for n in range(len(relays)))]
    for number in states:
        coils = frozenset(relay for place, relay in enumerate(relays) if number >> place & 1)
        for ends in combinations(stage.circuit.points, 2):
            found.append(board.answer(Measure(Condition("off", coils), "ohms", ends)))
    return found


def ratios(stage: ControlTable, test_turns: int, random: Random | None = None) -> list[Reading]:
    """Volts between all points of the winding, fed over all of it, with a test winding; the meter errs at random."""
    heights = {"N": 0}
    for section in stage.design.windings:
        heights[section.ends[1]] = heights[section.ends[0]] + int(section.turns)
    top, low = max(heights, key=heights.get), min(heights, key=heights.get)
    condition = Condition("low", frozenset(), (top, low), F(12))
    per_turn = F(12) / (heights[top] - heights[low])
    distances = [(pair, abs(heights[pair[0]] - heights[pair[1]])) for pair in combinations(sorted(heights), 2)]
    found = []
    for ends, distance in [*distances, (TEST, test_turns)]:
        measure = Measure(condition, "volts", ends)
        value = distance * per_turn
        (around,) = MILD.widened(measure, (Span(value, value),))
        share = F(random.randrange(101), 100) if random else F(1, 2)
        found.append(Reading(measure, value if random is None else around.low + (around.high - around.low) * share))
    return found


@pytest.mark.parametrize("made", [pair(), chain(3), chain(2, side="LINE")], ids=["pair", "chain", "line chain"])
def test_the_wiring_of_a_board_comes_out_again(made: Design) -> None:
    stage = control_table(made)
    found = contacts(continuity(stage), stage.circuit.relays)
    circuit = stage.circuit
    assert found.wirings
    for number in range(1 << len(circuit.relays)):
        coils = frozenset(relay for place, relay in enumerate(circuit.relays) if number >> place & 1)
        groups = joins(found.wirings[0], found.relays, coils)
        for one, two in combinations(circuit.points, 2):
            joined = board_of(made).resistance(coils, one, two) < 1
            assert (groups.get(one, one) == groups.get(two, two)) == joined


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_boards_too(path: Path) -> None:
    stage = table(path)
    if len(stage.circuit.relays) > 3:
        pytest.skip("more coil states than a person would go through")
    assert contacts(continuity(stage), stage.circuit.relays).wirings


def test_few_readings_leave_several_and_name_what_would_settle() -> None:
    stage = control_table(chain(2))
    few = continuity(stage, every_state=False)
    rest_only = [one for one in few if not one.measure.condition.coils]
    found = contacts(rest_only, stage.circuit.relays)
    assert len(found.wirings) > 1
    assert found.settling is not None
    assert 0 < found.settling.joined < found.settling.of


def test_a_wire_is_no_contact() -> None:
    stage = control_table(pair())
    readings = continuity(stage)
    coils = [frozenset(), frozenset({"KL"}), frozenset({"KO"}), frozenset({"KL", "KO"})]
    twin = [Reading(Measure(Condition("off", one), "ohms", ("X9", "A")), F(1, 10)) for one in coils]
    found = contacts([*readings, *twin], stage.circuit.relays, ("A",))
    assert found.wires == (("A", "X9"),)
    assert len(found.wirings) == 1


def test_contradictory_continuity_has_no_wiring() -> None:
    rest, drive = Condition("off", frozenset()), Condition("off", frozenset({"K"}))
    readings = [
        Reading(Measure(rest, "ohms", ("A", "B")), F(0)),
        Reading(Measure(rest, "ohms", ("B", "C")), F(0)),
        Reading(Measure(rest, "ohms", ("A", "C")), MOST),
        Reading(Measure(drive, "ohms", ("A", "B")), MOST),
    ]
    assert contacts(readings, ("K",)).wirings == ()


def test_turns_come_out_of_ratios() -> None:
    """200, 27 and 31 turns, with 20 turns wound on: 12 V over 258 turns is 46.5 mV a turn, 0.930 V over 20."""
    stage = control_table(pair())
    found = turns(ratios(stage, 20), Meter(F(1, 10), F(1, 100), F(1), F(1)), KnownWinding(*TEST, F(20)))
    assert found is not None
    assert found.unclear == ()
    assert [found.whole_turns(one).nearest for one in found.sections()] == [200, 27, 31]


def test_the_true_turns_are_always_within_the_error() -> None:
    random = Random("turns")
    for _ in range(60):
        made = design(
            (
                ("a", "N", "P", random.randint(100, 300)),
                ("b", "P", "Q", random.randint(5, 60)),
                ("c", "Q", "R", random.randint(5, 60)),
            ),
            {"K": ("LINE", "P", "R")},
            terminals=("LINE", "N", "Q"),
        )
        found = turns(ratios(control_table(made), 25, random), MILD, KnownWinding(*TEST, F(25)))
        assert found is not None
        sections = {(one.low, one.high): found.whole_turns(one) for one in found.sections()}
        for one in made.windings:
            if one.ends in sections:
                whole = sections[one.ends]
                assert whole.least <= one.turns <= whole.most


def test_one_distance_leaves_two_sides() -> None:
    condition = Condition("low", frozenset(), ("B", "A"), F(6))
    readings = [Reading(Measure(condition, "volts", ("C", "A")), F(2))]
    found = turns(readings, Meter(), None)
    assert found is not None
    assert found.unclear == (Unclear("C", "B"),)


def test_the_design_written_behaves_like_the_board() -> None:
    made = pair()
    stage = control_table(made)
    meter = Meter(F(1, 10), F(1, 100), F(1), F(1))
    found = learned(made, [*continuity(stage), *ratios(stage, 20)], meter, KnownWinding(*TEST, F(20)))
    assert found.settled
    again = stage_of(made, found)
    ours = [state.outcome for state in each_state(circuit_of(again))]
    assert ours == [state.outcome for state in each_state(stage.circuit)]


def test_a_throw_that_was_not_looked_for_is_open() -> None:
    stage = control_table(pair())
    part = [
        one
        for one in continuity(stage)
        if not ("OUT" in one.measure.at and "KO" in (one.measure.condition.coils or ()))
    ]
    found = contacts(part, stage.circuit.relays)
    assert Unprobed("KO", True, "OUT", "C") in found.unprobed


def test_a_source_across_other_points_counts_once_they_are_placed() -> None:
    stage = control_table(pair())
    first = [one for one in ratios(stage, 20) if one.measure.at != TEST]
    other = Condition("low", frozenset(), ("A", "N"), F(6))
    test = Reading(Measure(other, "volts", TEST), F(6) * 20 / 200)
    lost = Reading(Measure(Condition("low", frozenset(), ("Z1", "Z2"), F(6)), "volts", ("Z3", "Z4")), F(1), "lost")
    found = turns([*first, test, lost], Meter(F(1, 10), F(1, 100), F(1), F(1)), KnownWinding(*TEST, F(20)))
    assert found is not None
    assert [found.whole_turns(one).nearest for one in found.sections()] == [200, 27, 31]
    assert found.unused == ("lost",)
