"""Stays with waits before and after a move: against every timing on a grid, and what they do not depend on."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import product
from random import Random

import numpy as np
import pytest

from tapplan.control.flights import FlightStage
from tapplan.control.flown import Flying
from tapplan.control.longest import Box, LongestStays, longest_stays, packed, unpacked
from tapplan.control.moves import Mixtures, move_between
from tapplan.control.standing import InRow
from tapplan.control.table import control_table
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.turns import Gain, Outcome
from tests.control.test_flights import OLD, Grid, cases, flight, random_bad
from tests.examples import PAIR, TAPPED, design

F = Fraction


def bits_of(bad: np.ndarray) -> bytes:
    """The bits of a mask, a box for each bad vector."""
    vectors = (tuple(FlightStage(int(place)) for place in vector) for vector in np.argwhere(bad))
    return packed(([(stage,) for stage in vector] for vector in vectors), bad.ndim)


def test_with_any_wait_before_and_after_no_timing_on_a_grid_stays_longer_and_one_stays_so_long() -> None:
    """The grid steps through the whole of it, waits included; what stands before, or after, is bad where it waits."""
    outcomes: Counter[str] = Counter()
    for chance, flights in cases(12, 100):
        relays, bad = len(flights), random_bad(chance, len(flights))
        bad[(OLD,) * relays] = bad[(FlightStage.NEW,) * relays] = False
        found, grid = LongestStays(tuple(flights), bits_of(bad)), Grid(flights)
        settled = max(one.settled for one in flights)
        for before, after in ((0, 0), (1, 0), (4, 0), (0, 1), (0, 4), (1, 1), (2, 5), (6, 1)):
            stated = bad.copy()
            if before:
                stated[(OLD,) * relays] = True
            if after:
                stated[np.ix_(*[(FlightStage.BOUNCING, FlightStage.NEW)] * relays)] = True
            within = Span(F(-before), settled + after)
            longest = found.ms(F(before), F(after))
            assert longest == grid.longest(stated, within), (flights, bad, before, after)
            outcomes["throughout"] += bool(before and after) and longest == within.high - within.low
            outcomes["joined to one of them"] += max(before, after) < longest < within.high - within.low
            outcomes["a wait alone"] += 0 < longest == max(before, after)
            outcomes["inside"] += before + after > 0 and longest == found.inside > max(before, after)
    assert len(outcomes) == 4
    assert min(outcomes.values()) >= 20, outcomes


def test_waits_by_hand() -> None:
    """One relay opens up to 10 ms after its command, touches 1 to 6 later, bounces up to 4: settled after 20 ms.

    Open: 6 ms. On the old throw before: the wait and up to 10 ms. On the new one after: the touch can come after
    1 ms, so 19 ms and the wait; where being open is as bad, from the command on, and with both it never ends.
    """
    alone = (flight(0, (0, 10), (1, 6), (0, 4)),)
    nothing = LongestStays(alone, packed([], 1))
    opened = LongestStays(alone, packed([[(FlightStage.OPEN,)]], 1))
    assert [nothing.ms(F(before), F(0)) for before in (0, 1, 100)] == [0, 11, 110]
    assert [nothing.ms(F(0), F(after)) for after in (1, 100)] == [20, 119]
    assert [nothing.ms(F(30), F(after)) for after in (1, 100)] == [40, 119]
    assert [opened.ms(F(before), F(0)) for before in (0, 1, 100)] == [6, 17, 116]
    assert opened.ms(F(0), F(100)) == 120
    assert opened.ms(F(30), F(100)) == 30 + 20 + 100


def test_boxes_are_packed_to_the_vectors_that_they_hold() -> None:
    chance = Random(3)
    for relays in (1, 2, 3, 4):
        boxes: list[Box] = []
        for _ in range(3):
            ends = [sorted((chance.randrange(4), chance.randrange(4))) for _ in range(relays)]
            boxes.append([tuple(FlightStage(stage) for stage in range(low, high + 1)) for low, high in ends])
        mask = unpacked(packed(boxes, relays), relays)
        held = {tuple(map(int, vector)) for box in boxes for vector in product(*box)}
        assert {tuple(vector.tolist()) for vector in np.argwhere(mask)} == held


BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]


def higher(made: Design) -> list[Fraction]:
    """For each ordered pair of bands, how long the output stands above both of theirs, in ms."""
    table = control_table(made)
    flying, found = Flying(table, Mixtures(table.circuit)), []
    for start, end in product(range(len(table.rows)), repeat=2):
        ends = [table.rows[number].ratio for number in (start, end)]
        highest = max(ratio for ratio in ends if ratio is not None)

        def above(outcome: Outcome, highest: Fraction = highest) -> bool:
            return isinstance(outcome, Gain) and outcome.ratio > highest

        found.append(flying.of(move_between(table, InRow(start), InRow(end))).level_ms(above))
    return found


def test_a_stay_does_not_depend_on_the_volts() -> None:
    """Other turns, in the same order, give other ratios and the same times; other times of a relay do not."""
    made = design(TAPPED, PAIR, bands=BANDS)
    wider = replace(made, windings=tuple(replace(one, turns=one.turns * 3 + 10) for one in made.windings))
    assert [row.ratio for row in control_table(made).rows] != [row.ratio for row in control_table(wider).rows]
    slower = replace(made, relays=tuple(replace(one, operate_ms=(F(0), F(40))) for one in made.relays))
    assert max(higher(made)) > 0
    assert higher(wider) == higher(made) != higher(slower)


def test_what_was_found_for_one_move_serves_all_with_its_times_and_bad_stages() -> None:
    alone, slow = (flight(0, (0, 10), (0, 6)),), (flight(0, (0, 11), (0, 6)),)
    opened, bouncing = (packed([[(stage,)]], 1) for stage in (FlightStage.OPEN, FlightStage.BOUNCING))
    one = longest_stays(alone, opened)
    assert longest_stays((flight(0, (0, 10), (0, 6)),), bytes(bytearray(opened))) is one
    assert longest_stays(slow, opened) is not one
    assert longest_stays(alone, bouncing) is not one


@pytest.mark.parametrize(("before", "after"), [(1, 0), (0, 1), (7, 3)])
def test_a_longer_wait_lengthens_a_stay_by_no_more_than_itself(before: int, after: int) -> None:
    for chance, flights in cases(13, 60):
        bad = random_bad(chance, len(flights))
        found = LongestStays(tuple(flights), bits_of(bad))
        shorter, longer = found.ms(F(before), F(after)), found.ms(F(2 * before), F(2 * after))
        assert shorter <= longer <= shorter + before + after
