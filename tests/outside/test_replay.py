"""The plain replay of logs: each sentence of its rules by hand, the same course in ticks, a simulation in time."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, sqrt
from random import Random

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view

from tests.outside.designs import random_design
from tests.outside.loop import Emf, Settings, in_file_order, line, run
from tests.outside.replay import (
    GAP,
    INTERVAL_US,
    Event,
    HuntingError,
    Machine,
    Replay,
    Sample,
    Stay,
    marks,
    random_log,
    random_max_gap,
    replayed,
    varied,
)
from tests.outside.stage import AWAY, read

F = Fraction
MS = 1000
S = 1_000_000

KIOSK = """
title = "a boost of 5 to 4, a buck of 4 to 5; K1 takes 14 ms when driven and 12 let go, K2 by default 30 and 25"
mains = { nominal_v = 200, range_v = [160, 280] }
output = { nominal_v = 200, window_v = [180, 235] }
terminals = { line = "L", neutral = "N", output = "O" }
winding = [{ name = "a", ends = ["N", "P"], turns = 100 }, { name = "b", ends = ["P", "Q"], turns = 25 }]
relay = [
    { name = "K1", com = "O", nc = "P", no = "Q", operate_ms = 8, release_ms = 6, transfer_ms = 4, bounce_ms = 2 },
    { name = "K2", com = "L", nc = "P", no = "Q" },
]
sensing = { confirm_up_ms = 50, confirm_down_ms = 30 }
band = [
    { name = "boost", energised = ["K1"], hold_v = [150, 190] },
    { name = "direct", energised = [], hold_v = [180, 230] },
    { name = "buck", energised = ["K2"], hold_v = [220, 290] },
]
backup = { leave_v = [145, 295], return_v = [155, 285], return_after_ms = 100 }
"""
AT_OUTPUT = KIOSK.replace("sensing = {", 'sensing = { at = "output",').replace("[150, 190]", "[185, 240]")
AT_OUTPUT = AT_OUTPUT.replace("[220, 290]", "[175, 235]").replace("[145, 295]", "[180, 240]")
"""Boost is held from 180 to 240 V of output, direct from 180 to 230, buck from 175 to 240: the outer ends leave."""


def log(*rows: tuple[float, str]) -> list[Sample]:
    """Milliseconds and volts, as printed."""
    return [(round(MS * ms), F(volts)) for ms, volts in rows]


def course(text: str, *rows: tuple[float, str], until: float = 1000) -> Replay:
    """One log, no distance of which is a gap; the last volts are read once more, `until` ms."""
    return replayed(text, log(*rows, (until, rows[-1][1])), max_gap_us=10**9)


def told(replay: Replay) -> list[tuple[float, str]]:
    """When each decision fell, in ms, and for which row."""
    return [(event.time / MS, event.after) for event in replay.events]


# The first decision


def test_the_course_begins_away_and_the_first_look_up_waits_for_nothing() -> None:
    """200 V lies in return_v and in the hold of direct alone; coming back later would take 100 ms."""
    replay = course(KIOSK, (7, "200"))
    assert [(event.time, event.before, event.after) for event in replay.events] == [(7 * MS, AWAY, "direct")]
    assert replay.us[AWAY] == 0


def test_the_first_look_up_is_away_s_own_and_takes_the_output_nearest_nominal() -> None:
    """At 185 V boost gives 231.25 and direct 185: direct is nearer to 200. At 160 only boost holds."""
    assert told(course(KIOSK, (0, "185"))) == [(0, "direct")]
    assert told(course(KIOSK, (0, "160"))) == [(0, "boost")]
    # 152 V lies in the hold of boost, not in return_v
    assert told(course(KIOSK, (0, "152"))) == [(0, AWAY)]


def test_the_first_decision_is_not_counted() -> None:
    replay = course(KIOSK, (0, "160"))
    assert replay.events[0].moved == ("K1",)
    assert (replay.changes, replay.moves, replay.transfers) == (Counter(), {"K1": 0, "K2": 0}, 0)


def test_relays_of_the_first_decision_settle_before_anything_else_is_read() -> None:
    """K1 is driven at 0 and still at 8 + 4 + 2 = 14 ms; 200 V, there from 5, counts from 14, and 50 later falls."""
    assert told(course(KIOSK, (0, "160"), (5, "200"))) == [(0, "boost"), (64, "direct")]


def test_a_first_look_up_that_answers_away_is_the_first_decision_too() -> None:
    """140 V: nothing. What follows is counted, and waits its 100 ms."""
    replay = course(KIOSK, (0, "140"), (10, "200"))
    assert told(replay) == [(0, AWAY), (110, "direct")]
    assert replay.changes == {(AWAY, "direct"): 1}
    assert replay.moves == {"K1": 0, "K2": 0}  # both rest in either


# Confirmation


def test_a_confirmation_runs_from_the_first_reading_that_leaves_the_row() -> None:
    """Below 180: 30 ms. Above 230: 50 ms. Both ends of a hold are closed."""
    assert told(course(KIOSK, (0, "200"), (100, "179.9"))) == [(0, "direct"), (130, "boost")]
    assert told(course(KIOSK, (0, "200"), (100, "230.1"))) == [(0, "direct"), (150, "buck")]
    assert told(course(KIOSK, (0, "200"), (100, "180"), (200, "230"))) == [(0, "direct")]


def test_a_reading_that_keeps_the_row_clears_the_timer() -> None:
    short = course(KIOSK, (0, "200"), (100, "175"), (129.999, "200"), (130, "175"))
    assert told(short) == [(0, "direct"), (160, "boost")]


def test_a_sample_that_begins_at_the_very_end_of_a_confirmation_is_the_one_that_stands() -> None:
    """The 30 ms end at 130: what begins there decides; what begins a microsecond later does not."""
    assert told(course(KIOSK, (0, "200"), (100, "175"), (130, "200"))) == [(0, "direct")]
    assert told(course(KIOSK, (0, "200"), (100, "175"), (130, "140")))[1:] == [(130, AWAY)]
    late = course(KIOSK, (0, "200"), (100, "175"), (130.001, "140"))
    assert told(late)[1] == (130, "boost")


def test_the_answer_at_the_end_of_a_confirmation_is_taken() -> None:
    """175 V alone would lead to boost; at 130 ms 140 V stands, which no band holds."""
    assert told(course(KIOSK, (0, "200"), (100, "175"), (120, "140"))) == [(0, "direct"), (130, AWAY)]


def test_the_side_of_the_reading_says_which_confirmation_counts() -> None:
    """One timer, from 100. 240 V at 120 waits for 50 ms of it; 175 V at 140 finds its own 30 ms over."""
    up = course(KIOSK, (0, "200"), (100, "175"), (120, "240"))
    assert told(up) == [(0, "direct"), (150, "buck")]
    down = course(KIOSK, (0, "200"), (100, "240"), (140, "175"))
    assert told(down) == [(0, "direct"), (140, "boost")]


def test_without_a_confirmation_a_sample_decides_at_its_own_instant() -> None:
    text = KIOSK.replace("sensing = { confirm_up_ms = 50, confirm_down_ms = 30 }", "")
    assert told(course(text, (0, "200"), (100, "175"), (110, "240"))) == [
        (0, "direct"),
        (100, "boost"),
        (114, "buck"),  # K1 is still, and 240 V is what stands
    ]


def test_away_waits_for_its_own_time_only() -> None:
    """140 V leaves after 30 ms; 200 V, from 200 on, comes back after 100, not 50; 150 V between begins it anew."""
    assert told(course(KIOSK, (0, "200"), (100, "140"), (200, "200")))[1:] == [(130, AWAY), (300, "direct")]
    broken = course(KIOSK, (0, "200"), (100, "140"), (200, "200"), (290, "150"), (291, "200"))
    assert told(broken)[1:] == [(130, AWAY), (391, "direct")]
    text = re.sub("backup = .*", "", KIOSK)
    # no backup: at once. 140 V leaves direct for nothing, then 200 V returns at its own instant
    assert told(course(text, (0, "200"), (100, "140"), (200, "200")))[1:] == [(130, AWAY), (200, "direct")]


# Moves


def test_after_a_move_the_timer_begins_when_readings_count_again() -> None:
    """Buck at 150, K2 still at 180. 160 V, there since 160, counts from 180; 30 ms later boost, which alone holds it.

    The rows of boost and buck begin at their decisions. The last sample, of 1000, stands for the usual 100 ms.
    """
    replay = course(KIOSK, (0, "200"), (100, "240"), (160, "160"))
    assert told(replay) == [(0, "direct"), (150, "buck"), (210, "boost")]
    assert replay.events[2].moved == ("K1", "K2")
    assert replay.us == {"direct": 150 * MS, "buck": 60 * MS, "boost": 890 * MS, AWAY: 0, GAP: 0}


def test_a_sample_that_begins_when_the_relays_are_still_is_the_first_that_counts() -> None:
    """K2 is still at 180: 160 V that has gone by then was never read, and what begins there is."""
    assert told(course(KIOSK, (0, "200"), (100, "240"), (160, "160"), (180, "240")))[2:] == []
    assert told(course(KIOSK, (0, "200"), (100, "240"), (180, "160")))[2:] == [(210, "boost")]
    assert told(course(KIOSK, (0, "200"), (100, "240"), (160, "160"), (209.999, "240")))[2:] == []


def test_several_moves_follow_within_one_sample() -> None:
    """Read at the output, one band at a time: 260 V reads 325 in boost, then 260 in direct, then 208 in buck."""
    replay = course(AT_OUTPUT, (0, "160"), (100, "260"))
    # up after 50 ms; K1 let go is still after 12; up again after 50
    assert told(replay) == [(0, "boost"), (150, "direct"), (212, "buck")]
    assert replay.moves == {"K1": 1, "K2": 1}


def test_a_reading_is_that_of_the_row_in_force() -> None:
    """Boost reads 5/4 of the inlet and is held to 240 V: to just 192 at the inlet. Away reads the inlet itself."""
    assert told(course(AT_OUTPUT, (0, "160"), (100, "192"))) == [(0, "boost")]
    assert told(course(AT_OUTPUT, (0, "160"), (100, "192.1"))) == [(0, "boost"), (150, "direct")]
    # from boost 140 V reads 175: away. 150 V is then short of return_v, though boost would read 187.5
    assert told(course(AT_OUTPUT, (0, "160"), (100, "140"), (200, "150"), (300, "155")))[1:] == [
        (130, AWAY),
        (400, "boost"),
    ]


def test_blanking_runs_from_the_last_coil_change() -> None:
    """Buck at 150; 160 V counts from 150 + 77, and 30 ms later boost follows; blanked for less than 30 ms, at 210."""
    for blank, falls in ((77, 257), (12, 210)):
        text = KIOSK + f"[sequence]\nblank_ms = {blank}\n"
        assert told(course(text, (0, "200"), (100, "240"), (160, "160")))[2] == (falls, "boost")


def test_relays_in_order_take_their_pauses() -> None:
    """Buck to boost lets K2 go (25 ms) and drives K1 (14 ms); 240 V counts then, and 50 ms later buck follows."""
    move = '[[sequence.move]]\nfrom = "buck"\nto = "boost"\norder = ["K2", "K1"]\n'
    rows = [(0, "240"), (100, "160"), (131, "240")]
    for sequence, counts in (
        ("[sequence]\n", 130 + 25),  # no order: together
        ("[sequence]\n" + move, 130 + 25 + 14),  # K1 at 25, when K2 is still
        ("[sequence]\npause_ms = 5\n" + move, 130 + 25),  # K1 at 5, still at 19
        ("[sequence]\npause_ms = 20\n" + move, 130 + 20 + 14),
        ("[sequence]\npause_ms = 20\nblank_ms = 30\n" + move, 130 + 20 + 30),
    ):
        replay = course(KIOSK + sequence, *rows)
        assert told(replay)[1:3] == [(130, "boost"), (counts + 50, "buck")], sequence
        assert replay.events[1].moved == (("K2", "K1") if move in sequence else ("K1", "K2"))


def test_safest_takes_the_order_that_it_is_given() -> None:
    text = KIOSK + '[sequence]\norder = "safest"\n'
    orders = {("buck", "boost"): ["K2", "K1"], ("boost", "buck"): ["K1", "K2"]}
    rows = log((0, "240"), (100, "160"), (131, "240"), (1000, "240"))
    replay = replayed(text, rows, 10**9, orders)
    # 130 + 25 + 14 = 169, + 50; K1 is then let go (12 ms), and K2 driven
    assert told(replay) == [(0, "buck"), (130, "boost"), (219, "buck")]
    with pytest.raises(ValueError, match="no order"):
        replayed(text, rows, 10**9)


SAME = """
title = "two rows of the same relays, read at the output: 155 V is above the first and below the second"
mains = {{ nominal_v = 150, range_v = [100, 200] }}
output = {{ nominal_v = 150, window_v = [100, 200] }}
terminals = {{ line = "L", neutral = "N", output = "O" }}
winding = [{{ name = "a", ends = ["N", "L"], turns = 100 }}]
relay = [{{ name = "K", com = "O", nc = "L" }}]
sensing = {{ at = "output", confirm_ms = {confirm} }}
band = [
    {{ name = "low", energised = [], hold_v = [100, 150] }},
    {{ name = "high", energised = [], hold_v = [160, 200] }},
]
"""


def test_rows_that_follow_one_another_without_time_are_refused() -> None:
    with pytest.raises(HuntingError):
        course(SAME.format(confirm=0), (0, "140"), (100, "155"))


def test_a_move_without_coils_takes_no_time_and_reads_on_at_once() -> None:
    """Each confirmation of 10 ms begins as the last one ends: at 110, 120, 130, 140; 145 V then keeps the low row."""
    replay = course(SAME.format(confirm=10), (0, "140"), (100, "155"), (145, "145"))
    assert told(replay)[1:] == [(110, "high"), (120, "low"), (130, "high"), (140, "low")]
    assert replay.moves == {"K": 0}
    # 300 V is above both: out of the low row after 10 ms, out of the high one after 10 more, for nothing
    assert told(course(SAME.format(confirm=10), (0, "140"), (100, "300")))[1:] == [(110, "high"), (120, AWAY)]
    assert told(course(SAME.format(confirm=0), (0, "140"), (100, "300")))[1:] == [(100, "high"), (100, AWAY)]


def test_rows_can_follow_one_another_for_ever_if_that_takes_time() -> None:
    """Nothing waits, but K1 flies for 12 ms up and 14 down: 170 V reads 212.5 in boost, and 170 in direct.

    Boost is held up to 210 V here, and from 180 on direct.
    """
    text = re.sub("sensing = .*", 'sensing = { at = "output" }', AT_OUTPUT.replace("[185, 240]", "[185, 210]"))
    replay = course(text, (0, "160"), (100, "170"), until=160)
    wanted = [(100 + 26 * turn + late, row) for turn in range(6) for late, row in ((0, "direct"), (12, "boost"))]
    assert told(replay) == [(0, "boost"), *(one for one in wanted if one[0] < 240)]
    assert replay.end == 240 * MS


def test_times_are_rounded_up_to_whole_microseconds_and_no_further() -> None:
    for written, us in (("30.0001", 30_001), ("15.3", 15_300), ("0.0004", 1), ("4.03", 4_030)):
        text = KIOSK.replace("confirm_down_ms = 30", f"confirm_down_ms = {written}")
        assert course(text, (0, "200"), (100, "175")).events[1].time == 100 * MS + us
    # K1 is still after 14.0012 ms, rounded up as a whole: 200 V counts from then on
    text = KIOSK.replace("operate_ms = 8", "operate_ms = 8.0004")
    text = text.replace("transfer_ms = 4, bounce_ms = 2", "transfer_ms = 4.0004, bounce_ms = 2.0004")
    assert course(text, (0, "160"), (5, "200")).events[1].time == 64_002


# Gaps, steps and the ends


def test_more_than_three_usual_steps_is_a_gap_and_just_three_is_none() -> None:
    """Samples each 10 ms. 175 V from 30 on: with none until 60 it falls at 60; with none until 61, 30 ms after 61."""
    before = [(0, "200"), (10, "200"), (20, "200"), (30, "175")]
    kept = replayed(KIOSK, log(*before, (60, "175"), (70, "175")))
    assert (kept.step_us, kept.gaps, told(kept)[1]) == (10 * MS, 0, (60, "boost"))
    broken = replayed(KIOSK, log(*before, (61, "175"), (71, "175"), (81, "175"), (91, "175")))
    assert (broken.gaps, told(broken)[1]) == (1, (91, "boost"))
    assert broken.us == {"direct": 60 * MS, GAP: 31 * MS, "boost": 10 * MS, "buck": 0, AWAY: 0}


def test_a_gap_keeps_the_row_and_counts_whole() -> None:
    """Boost, with 185 V before and after, at which a look-up from away would take direct: it is not asked anew.

    The sample at 10 ms stands for no time, so that boost has 10 ms before the gap, and 20 after it.
    """
    replay = replayed(KIOSK, log((0, "175"), (10, "185"), (1010, "185"), (1020, "185")))
    assert told(replay) == [(0, "boost")]
    assert (replay.gaps, replay.us) == (1, {"boost": 30 * MS, GAP: S, "direct": 0, "buck": 0, AWAY: 0})
    assert sum(replay.seconds.values()) == F("1.03")


STEADY = [(0, "200"), (10, "175"), (20, "175"), (30, "175"), (40, "175")]


def test_the_sample_before_a_gap_is_read_at_its_instant_and_stands_for_no_time() -> None:
    """175 V since 10: the 30 ms are over just at 40, the last sample before the gap. One at 39 would be too early."""
    replay = replayed(KIOSK, log(*STEADY, (1040, "175"), (1050, "175")))
    assert told(replay) == [(0, "direct"), (40, "boost")]
    assert replay.us == {"direct": 40 * MS, GAP: S, "boost": 20 * MS, "buck": 0, AWAY: 0}
    early = replayed(KIOSK, log(*STEADY[:-1], (39, "175"), (1040, "175"), (1050, "175"), (1060, "175")))
    assert told(early) == [(0, "direct")]  # the timer is cleared, and begins anew at 1040: over at the end, 1070
    late = replayed(KIOSK, log(*STEADY[:-1], (39, "175"), *((1040 + 10 * k, "175") for k in range(4))))
    assert told(late) == [(0, "direct"), (1070, "boost")]


def test_settling_and_blanking_run_on_through_a_gap() -> None:
    """Boost at 40, blanked to 117. 200 V that a gap leaves at 100 counts from 117, at 200 from 200; then 50 ms."""
    text = KIOSK + "[sequence]\nblank_ms = 77\n"
    for back, falls in ((100, 167), (117, 167), (118, 168), (200, 250)):
        rows = [(back + 10 * k, "200") for k in range(8)]
        replay = replayed(text, log(*STEADY, *rows))
        assert replay.gaps == 1
        assert told(replay)[1:] == [(40, "boost"), (falls, "direct")], back


def test_a_gap_clears_the_return_too() -> None:
    """Away; 200 V from 20 on would come back at 120, and does so only 100 ms after the gap."""
    before = [(0, "140"), (10, "140"), *((10 * k, "200") for k in range(2, 11))]
    kept = replayed(KIOSK, log(*before, *((130 + 10 * k, "200") for k in range(20))))
    assert (kept.gaps, told(kept)[1]) == (0, (120, "direct"))
    broken = replayed(KIOSK, log(*before, *((131 + 10 * k, "200") for k in range(20))))
    assert (broken.gaps, told(broken)[1]) == (1, (231, "direct"))


def test_the_longest_distance_can_be_stated() -> None:
    rows = log((0, "200"), (10, "175"), (60, "175"))
    assert told(replayed(KIOSK, rows, 50 * MS)) == [(0, "direct"), (40, "boost")]
    broken = replayed(KIOSK, rows, 50 * MS - 1)
    assert (told(broken), broken.gaps, broken.us[GAP]) == ([(0, "direct")], 1, 50 * MS)


def test_the_usual_step_is_the_median_and_half_way_between_two() -> None:
    """Of 10, 20, 30 and 40 ms it is 25; of 1 and 2 microseconds 1, half of one cut off."""
    for times, us in (
        ([0, 10, 30, 60], 20_000),
        ([0, 10, 30, 60, 100], 25_000),
        ([0, 40, 70, 90, 100], 25_000),
        ([0, 0.001, 0.003], 1),
        ([0, 70], 70_000),
        ([5], 0),
    ):
        replay = replayed(KIOSK, log(*((ms, "200") for ms in times)), 10**9)
        assert replay.step_us == us
        assert replay.end == MS * times[-1] + us
        assert replay.us["direct"] == replay.end - replay.begin


def test_the_last_sample_stands_for_the_usual_step_and_its_end_is_not_read() -> None:
    """175 V from 31 to 62: a confirmation of 30 ms ends in it, one of 31 only where nothing stands any more."""
    rows = log((0, "200"), (31, "175"))
    assert told(replayed(KIOSK, rows)) == [(0, "direct"), (61, "boost")]
    assert told(replayed(KIOSK.replace("down_ms = 30", "down_ms = 31"), rows)) == [(0, "direct")]


def test_a_log_of_one_sample_is_looked_up_and_takes_no_time() -> None:
    replay = replayed(KIOSK, log((0, "160")))
    assert (told(replay), set(replay.us.values()), replay.intervals) == ([(0, "boost")], {0}, [])


# What is counted


def test_time_outside_is_that_beyond_the_closed_window_and_all_time_away() -> None:
    """Direct gives 180 V at 180: inside. 175 V is outside for the 30 ms until boost makes 218.75 of it.

    188 V, boosted, is 235: inside. 188.1 is 235.125: outside, 100 ms until 500. 140 V is outside in boost for 30 ms,
    and then away, to the end at 1100.
    """
    rows = [(0, "180"), (100, "175"), (200, "188"), (400, "188.1"), (500, "140")]
    replay = course(KIOSK, *rows)
    assert told(replay) == [(0, "direct"), (130, "boost"), (530, AWAY)]
    assert replay.step_us == 100 * MS
    assert replay.us[AWAY] == (1100 - 530) * MS
    assert replay.outside_s == F(30 + 100 + 30 + 570, 1000)


def test_time_of_a_gap_is_not_outside() -> None:
    replay = replayed(KIOSK, log((0, "140"), (10, "140"), (500, "140"), (510, "140")))
    assert (replay.us[AWAY], replay.us[GAP], replay.outside_us) == (30 * MS, 490 * MS, 30 * MS)


def test_changes_transfers_and_moves_count_what_follows_the_first_decision() -> None:
    """Direct rests, away rests too: leaving and coming back there moves nothing. Boost to away lets K1 go."""
    rows = [(0, "200"), (100, "140"), (200, "200"), (400, "175"), (500, "140"), (600, "160"), (800, "240")]
    replay = course(KIOSK, *rows)
    assert told(replay) == [
        (0, "direct"),
        (130, AWAY),
        (300, "direct"),
        (430, "boost"),
        (530, AWAY),
        (700, "boost"),
        (850, "buck"),
    ]
    assert replay.changes == {
        ("direct", AWAY): 1,
        (AWAY, "direct"): 1,
        ("direct", "boost"): 1,
        ("boost", AWAY): 1,
        (AWAY, "boost"): 1,
        ("boost", "buck"): 1,
    }
    assert replay.moves == {"K1": 4, "K2": 1}
    assert replay.transfers == 2
    assert replay.stays == [Stay(130 * MS, 300 * MS, 170 * MS), Stay(530 * MS, 700 * MS, 170 * MS)]
    assert replay.longest_away_us == 170 * MS


def test_a_stay_away_goes_on_through_a_gap_without_its_time() -> None:
    replay = replayed(KIOSK, log(*((10 * k, "140") for k in range(5)), *((940 + 10 * k, "200") for k in range(12))))
    # 0 to 40, and 940 to 1040
    assert replay.stays == [Stay(0, 1040 * MS, 140 * MS)]


def minutes(*volts: str, begin: int = 3 * INTERVAL_US) -> list[Sample]:
    return [(begin + 60 * S * number, F(one)) for number, one in enumerate(volts)]


def test_ten_minutes_of_the_clock_have_their_mean_squares() -> None:
    """Direct, 5 minutes of 200 and 5 of 220 V: (40000 + 48400) / 2. The next ten are cut short by a minute."""
    replay = replayed(KIOSK, minutes(*["200"] * 5, *["220"] * 5, *["200"] * 9))
    (interval,) = replay.intervals
    assert interval.begin == 3 * INTERVAL_US
    assert interval.square_in == interval.square_out == 44200
    assert interval.rms_in == interval.rms_out == sqrt(44200)
    assert [one.begin // INTERVAL_US for one in replayed(KIOSK, minutes(*["200"] * 20)).intervals] == [3, 4]
    late = minutes(*["200"] * 20, begin=3 * INTERVAL_US + 1)
    assert [one.begin // INTERVAL_US for one in replayed(KIOSK, late).intervals] == [4]


def test_ten_minutes_at_the_output_follow_the_row_and_are_nothing_while_away() -> None:
    """160 V boosted is 200; 9 minutes of it, and one of 140 V: boosted to 175 for 30 ms, then nothing."""
    (interval,) = replayed(KIOSK, minutes(*["160"] * 9, "140")).intervals
    assert interval.square_in == F(9 * 160**2 + 140**2, 10)
    assert interval.square_out == F(9 * 200**2, 10) + F(30, 600_000) * 175**2


def test_ten_minutes_with_a_gap_are_left_out() -> None:
    whole = minutes(*["200"] * 30)
    assert len(replayed(KIOSK, whole).intervals) == 3
    assert len(replayed(KIOSK, whole[:12] + whole[14:]).intervals) == 3  # 3 minutes: no gap
    assert [one.begin // INTERVAL_US for one in replayed(KIOSK, whole[:12] + whole[15:]).intervals] == [3, 5]


def test_a_sample_can_stand_for_several_intervals() -> None:
    rows = [(0, F(200)), (2 * INTERVAL_US, F(210))]
    assert [one.square_in for one in replayed(KIOSK, rows).intervals] == [40000, 40000, 44100, 44100]


def test_logs_and_designs_that_cannot_be_replayed_are_refused() -> None:
    with pytest.raises(ValueError, match="without rows"):
        replayed(KIOSK, [])
    with pytest.raises(ValueError, match="do not rise"):
        replayed(KIOSK, log((0, "200"), (0, "210")))
    with pytest.raises(ValueError, match="blind"):
        Machine(KIOSK.replace("sensing = {", 'sensing = { at = ["N", "P"],'))
    blind = KIOSK.replace('com = "L", nc = "P"', 'com = "L"')  # at rest the line is on nothing
    with pytest.raises(ValueError, match="boost is unfed"):
        Machine(blind)


# Random logs on random designs


def ordered(text: str) -> Machine:
    """Relays one after the other as the file lists them, where it says "safest"."""
    return Machine(text, in_file_order(read(text)))


def machine_of(chance: Random) -> Machine:
    return ordered(varied(chance, random_design(chance, 0.5).text))


def test_figures_of_random_logs_add_up_and_every_sort_of_event_is_met() -> None:
    chance, seen = Random(50), Counter[str]()
    for _ in range(300):
        machine = machine_of(chance)
        for _ in range(2):
            rows = random_log(chance, machine, grain=F(1, chance.choice((10, 10, 100))))
            try:
                replay = machine.run(rows, random_max_gap(chance, rows))
            except HuntingError:
                seen["hunting"] += 1
                continue
            sums_hold(machine, rows, replay)
            seen.update(met(machine, rows, replay))
    for sort, least in LEAST.items():
        assert seen[sort] >= least, (sort, seen)


LEAST = {
    "logs": 550,
    "first into a row": 300,
    "first away": 150,
    "one up": 800,
    "one down": 800,
    "several up": 100,
    "several down": 100,
    "left": 500,
    "came back": 500,
    "no coil": 200,
    "just at a sample": 2000,
    "within a sample": 1000,
    "again in one sample": 300,
    "again at one instant": 50,
    "settling in a gap": 500,
    "read just before a gap": 300,
    "on a threshold": 700,
    "whole ten minutes": 60,
    "hunting": 1,
}


def sums_hold(machine: Machine, rows: list[Sample], replay: Replay) -> None:
    """Laws that a course obeys however it went."""
    assert sum(replay.us.values()) == replay.end - replay.begin
    assert sum(stay.us for stay in replay.stays) == replay.us[AWAY] <= replay.outside_us
    assert replay.outside_us <= replay.end - replay.begin - replay.us[GAP]
    assert sum(replay.changes.values()) == len(replay.events) - 1
    assert replay.events[0].time == rows[0][0]
    volts = dict(rows)
    times = sorted(volts)
    for early, late in pairwise(replay.events):
        assert early.after == late.before != late.after
        assert late.time >= counts_from(machine, early)
        assert late.volts == volts[times[bisect_right(times, late.time) - 1]]
        assert machine.answer(late.before, late.volts) == late.after
    first, last = (machine.stage.standing(replay.events[place].after) for place in (0, -1))
    for relay, before, after in zip(machine.stage.relays, first, last, strict=True):
        assert replay.moves[relay.name] % 2 == (before != after)
    for interval in replay.intervals:
        inside = [at for at in times if interval.begin <= at < interval.begin + INTERVAL_US]
        within = [volts[at] for at in inside] + [volts[times[max(0, bisect_right(times, interval.begin) - 1)]]]
        assert min(within) ** 2 <= interval.square_in <= max(within) ** 2


def met(machine: Machine, rows: list[Sample], replay: Replay) -> Counter[str]:
    """What happened in a course, by sort."""
    times, thresholds = [at for at, _ in rows], set(marks(machine))
    gaps = {piece.begin: piece for piece in replay.pieces if piece.row == GAP}
    seen = Counter({"logs": 1, "whole ten minutes": len(replay.intervals)})
    seen["first away" if replay.events[0].after == AWAY else "first into a row"] += 1
    seen["on a threshold"] += sum(volts in thresholds for _, volts in rows)
    seen["settling in a gap"] += sum(
        gap.begin < counts_from(machine, replay.events[gap.event]) for gap in gaps.values()
    )
    for early, late in pairwise(replay.events):
        seen[sort_of(machine, late)] += 1
        seen["no coil"] += not late.moved
        seen["just at a sample" if late.time in times else "within a sample"] += 1
        seen["read just before a gap"] += late.time in gaps
        seen["again in one sample"] += bisect_right(times, early.time) == bisect_right(times, late.time)
        seen["again at one instant"] += early.time == late.time
    return seen


def counts_from(machine: Machine, event: Event) -> int:
    """When readings count again after a decision."""
    return event.time + machine.settling(event.before, event.after).us


def sort_of(machine: Machine, event: Event) -> str:
    if AWAY in (event.before, event.after):
        return "left" if event.after == AWAY else "came back"
    way = machine.table.places[event.after] - machine.table.places[event.before]
    return f"{'one' if abs(way) == 1 else 'several'} {'up' if way > 0 else 'down'}"


def ticked(machine: Machine, rows: list[Sample], max_gap: int | None, tick: int) -> Replay:
    """The same course without looking ahead: the controller is asked at every tick, whatever comes due when."""
    distances = sorted(late - early for (early, _), (late, _) in pairwise(rows))
    step = (distances[len(distances) // 2] + distances[(len(distances) - 1) // 2]) // 2
    max_gap = 3 * step if max_gap is None else max_gap
    result = Replay(len(rows), step, max_gap, rows[0][0], rows[-1][0] + step)
    result.us = dict.fromkeys([*machine.rows, AWAY, GAP], 0)
    row = machine.answer(AWAY, rows[0][1])
    ready = rows[0][0] + machine.settling(AWAY, row).us
    since, at = None, 0
    for now in range(result.begin, result.end, tick):
        while at + 1 < len(rows) and rows[at + 1][0] <= now:
            at += 1
        begin, volts = rows[at]
        in_gap = at + 1 < len(rows) and rows[at + 1][0] - begin > max_gap
        since = None if in_gap and now > begin else since
        decided = 0
        while now >= ready and not (in_gap and now > begin):
            answer = machine.answer(row, volts)
            since = None if answer == row else now if since is None else since
            if since is None or now - since < machine.wait(row, volts):
                break
            result.changes[row, answer] += 1
            ready, row, since = now + machine.settling(row, answer).us, answer, None
            decided += 1
            if decided > 100:
                raise HuntingError
        result.us[GAP if in_gap else row] += min(tick, result.end - now)
    return result


def on_ticks(rows: list[Sample], tick: int) -> list[Sample]:
    return list({at // tick * tick: (at // tick * tick, volts) for at, volts in rows}.values())


def test_the_course_is_that_of_a_controller_asked_at_every_half_millisecond() -> None:
    """Where all times are whole halves of a millisecond, nothing can happen between two ticks."""
    chance, seen = Random(51), Counter[str]()
    tick = 500
    while seen["logs"] < 300:
        machine = machine_of(chance)
        if any(us % tick for us in machine.durations()):
            continue
        for _ in range(4):
            rows = on_ticks(random_log(chance, machine, most_rows=120), tick)
            max_gap = random_max_gap(chance, rows)
            if rows[-1][0] - rows[0][0] > 10 * S or len(rows) < 2:
                continue
            try:
                replay = machine.run(rows, max_gap)
            except HuntingError:
                with pytest.raises(HuntingError):
                    ticked(machine, rows, max_gap, tick)
                seen["hunting"] += 1
                continue
            other = ticked(machine, rows, max_gap, tick)
            assert (replay.changes, replay.us) == (other.changes, other.us), (machine.stage, rows, max_gap)
            seen["logs"] += 1
            seen["changes"] += sum(replay.changes.values())
            seen["gaps"] += replay.gaps > 0
            seen["moved much"] += len(replay.events) > 10
    assert seen["changes"] > 1000
    assert seen["gaps"] > 100
    assert seen["moved much"] > 30
    assert seen["hunting"] > 0


def test_a_sample_read_twice_changes_nothing() -> None:
    chance, seen = Random(52), Counter[str]()
    while seen["logs"] < 300:
        machine = machine_of(chance)
        rows = random_log(chance, machine)
        finer = [
            (at, volts)
            for (begin, volts), (end, _) in zip(rows, [*rows[1:], rows[-1]], strict=True)
            for at in sorted({begin, *(chance.randint(begin, max(begin, end - 1)) for _ in range(2))})
        ]
        try:
            replay, other = machine.run(rows, 10**18), machine.run(finer, 10**18)
        except HuntingError:
            continue
        last = rows[-1][0]
        assert [one for one in replay.events if one.time < last] == [one for one in other.events if one.time < last]
        assert time_in_rows(replay, last) == time_in_rows(other, last)
        seen["logs"] += 1
        seen["changes"] += sum(replay.changes.values())
    assert seen["changes"] > 3000


def time_in_rows(replay: Replay, until: int) -> Counter[str]:
    times = Counter[str]()
    for piece in replay.pieces:
        times[piece.row] += max(0, min(piece.end, until) - piece.begin)
    return times


# The simulation in time

DURATION_MS = 2500


def test_the_replay_of_what_its_meter_reads_repeats_the_simulation() -> None:
    """The same decisions at the same instants, of the same coils, with all times of the design on whole readings."""
    seen = compared(120, 53, 0.5, lambda text: text) + compared(80, 54, 5.0, coarse)
    for kind, least in {"input": 50, "output": 50, "winding": 50, "first away": 50, "first into a row": 50}.items():
        assert seen[kind] >= least, (kind, seen)
    assert seen["decisions"] > 1500
    assert seen["no coil"] > 50
    assert seen["agree"] == seen["courses"] == 200


def test_only_where_readings_are_too_coarse_does_the_simulation_decide_otherwise() -> None:
    """The simulation waits for the first reading after the relays are still; the replay takes the one that stands.

    So with readings each 2 ms both go the same way up to a move that ends between two readings, and not always on.
    """
    chance, seen = Random(55), Counter[str]()
    for text in designs(60, chance):
        machine = ordered(text)
        simulated, logged = both(machine, chance, 2.0)
        seen["agree" if simulated == logged else "differ"] += 1
        if simulated != logged:
            same = next(at for at, (one, other) in enumerate(zip(simulated, logged, strict=False)) if one != other)
            last = simulated[same - 1]
            assert same > 0
            assert (last.time + machine.settling(last.before, last.after).us) % 2000 != 0
    assert seen["agree"] > 10
    assert seen["differ"] > 10


def designs(count: int, chance: Random) -> Iterator[str]:
    """At 50 Hz, behind a source without resistance: the inlet is the EMF, and windows are whole steps.

    Read elsewhere than at the inlet, readings count 100 ms after the last coil change: no window of up to 40 ms then
    holds a flight of up to 38.
    """
    while count:
        one = random_design(chance, 0.3)
        if not one.ripple:
            text = re.sub("frequency_hz = .*", "frequency_hz = 50", re.sub("source_ohm = .*\n", "", one.text))
            yield text if one.sensed == "input" else blanked(text)
            count -= 1


def blanked(text: str) -> str:
    text = re.sub("blank_ms = .*\n", "", text)
    text = text if "[sequence]\n" in text else text + "[sequence]\n"
    return text.replace("[sequence]\n", "[sequence]\nblank_ms = 100\n")


def coarse(text: str) -> str:
    """All times of the design up to whole 5 ms; those that a file leaves out are so by themselves."""
    return re.sub("(?<=_ms = ).*", lambda given: re.sub("[0-9.]+", up_to_fives, given[0]), text)


def up_to_fives(number: re.Match[str]) -> str:
    return str(5 * ceil(F(number[0]) / 5))


def compared(count: int, seed: int, step_ms: float, made: Callable[[str], str]) -> Counter[str]:
    """How many courses of random designs agree, by where they read, and how much they moved."""
    chance, seen = Random(seed), Counter[str]()
    for text in designs(count, chance):
        machine = ordered(made(text))
        simulated, logged = both(machine, chance, step_ms)
        sensed = machine.stage.sensing.at
        seen["courses"] += 1
        seen[sensed if isinstance(sensed, str) else "winding"] += 1
        seen["agree"] += simulated == logged
        seen["decisions"] += len(simulated)
        seen["no coil"] += sum(not one.moved for one in simulated)
        seen["first away" if logged[0].time > MS * step_ms else "first into a row"] += 1
    return seen


@dataclass(frozen=True)
class Told:
    """A decision without its volts."""

    time: int
    before: str
    after: str
    moved: tuple[str, ...]


def both(machine: Machine, chance: Random, step_ms: float) -> tuple[list[Told], list[Told]]:
    """The decisions of the simulation, and those of the replay of what its meter reads."""
    late = bool(machine.stage.backup and machine.stage.backup.return_after)
    # The simulation lets its first look-up wait like any other: where that shows, the line begins with nothing.
    emf = stepped(chance, machine, 60.0 if late or chance.random() < 0.5 else 0.0)
    settings = Settings(step_ms=step_ms, noise="none", times="most", bounce="open", loaded=False)
    record = run(machine.stage, emf, DURATION_MS, chance, settings, network=machine.network, orders=machine.orders)
    replay = machine.run(log_of(machine, emf, step_ms), 10**9)
    return (
        [Told(round(MS * one.time), one.before, one.after, one.moved) for one in record.decisions],
        [Told(one.time, one.before, one.after, one.moved) for one in replay.events if one.before != one.after],
    )


def stepped(chance: Random, machine: Machine, dead_ms: float) -> Emf:
    """Nothing for a while, then one level after another beside the thresholds, and sometimes nothing again."""
    points, now, thresholds = [(dead_ms, 0.0)] if dead_ms else [], dead_ms, [float(mark) for mark in marks(machine)]
    while now < DURATION_MS:
        level = chance.choice(thresholds) + chance.choice((-6, -1, 1, 6)) * chance.uniform(0.01, 1)
        level = 0.0 if chance.random() < 0.05 else level
        points += [(now, level)]
        now += chance.randint(10, chance.choice((60, 400, 1000))) / 2
        points += [(now, level)]
    return line(*points)


def log_of(machine: Machine, emf: Emf, step_ms: float) -> list[Sample]:
    """What an error-free meter reads of the EMF at the end of each step, over the window before it."""
    sensing = machine.stage.sensing
    window = round(20 * float(sensing.cycles) / step_ms)
    count = round(DURATION_MS / step_ms)
    volts = emf((np.arange(-window, count) + 0.5) * step_ms)
    shares = sliding_window_view(volts**2 if sensing.detector == "rms" else volts, window).mean(axis=1)[1:]
    readings = np.sqrt(shares) if sensing.detector == "rms" else shares
    step = round(MS * step_ms)
    return [(step * (number + 1), F(repr(round(one, 9)))) for number, one in enumerate(readings.tolist())]
