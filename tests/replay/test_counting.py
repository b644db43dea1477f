"""What a stretch adds to a tally, from courses put in by hand: times away, days, gaps, changes, ten minutes."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tapplan.replay.clock import DAY, HOUR, MINUTE, SECOND
from tapplan.replay.counting import Account, count
from tapplan.replay.course import Pieces, Stretch
from tapplan.replay.profile import profile
from tapplan.replay.segments import INTERVAL, segments
from tapplan.replay.tally import Interval, MeanLimits, Spells, Tally
from tapplan.replay.zone import Zone

AWAY = 2  # beside two rows
LIMITS = MeanLimits(90**2 * INTERVAL, 110**2 * INTERVAL, (1.0, 4.0, 0.0), 0.0, 1e30)


def tally(limits: MeanLimits = LIMITS) -> Tally:
    return Tally(3, limits)


def add(
    into: Tally,
    samples: list[tuple[int, float]],
    pieces: list[tuple[Any, ...]],
    breaks: tuple[int, ...] = (),
    zone: Zone | None = None,
) -> Tally:
    """Samples of whole volts, a grain each; pieces are (from, standing) or (from, standing, outside)."""
    times, volts = zip(*samples, strict=True)
    stretch = Stretch(np.array(times, np.int64), np.array(volts, np.float64), np.array(breaks, np.int64))
    begins, standings = (np.array([one[at] for one in pieces], np.int64) for at in (0, 1))
    made = Pieces(begins, standings, np.array([len(one) > 2 and one[2] for one in pieces], np.bool_))
    parts = segments(stretch, made, zone or Zone())
    count(into, Account(stretch, made, parts, profile(stretch, 1.0, parts, into.lasting), 1.0, zone or Zone()))
    return into


def spells(end: int, *pieces: tuple[int, int], breaks: tuple[int, ...] = (), samples: Any = None) -> Spells:
    return add(tally(), samples or [(0, 100), (end, 100)], list(pieces), breaks).spells


def test_times_away_at_the_begin_in_the_middle_and_at_the_end() -> None:
    """Of 20 us: away 0 to 3, 5 to 6 and 9 to 20."""
    found = spells(20, (0, AWAY), (3, 0), (5, AWAY), (6, 1), (9, AWAY))
    assert found == Spells(longest=11, head=3, tail=11, whole=False, seen=True)
    assert spells(20, (0, 0), (5, AWAY), (12, 1)) == Spells(longest=7, head=0, tail=0, whole=False, seen=True)
    assert spells(20, (0, 0), (5, AWAY)) == Spells(longest=15, head=0, tail=15, whole=False, seen=True)
    assert spells(20, (0, AWAY), (15, 0)) == Spells(longest=15, head=15, tail=0, whole=False, seen=True)


def test_all_the_time_away_and_none() -> None:
    assert spells(20, (0, AWAY)) == Spells(longest=20, head=20, tail=20, whole=True, seen=True)
    assert spells(20, (0, 0)) == Spells(longest=0, head=0, tail=0, whole=False, seen=True)
    assert spells(20, (0, 0), (7, 1)) == Spells(longest=0, head=0, tail=0, whole=False, seen=True)


def test_a_row_for_no_time_parts_two_times_away() -> None:
    found = spells(20, (0, AWAY), (8, 0), (8, AWAY))
    assert (found.longest, found.head, found.tail, found.whole) == (12, 8, 12, False)


def test_a_gap_is_left_out_of_a_time_away_and_a_row_in_it_alone_parts_it() -> None:
    samples = [(0, 100), (5, 100), (50, 100), (60, 100)]
    through = spells(0, (0, AWAY), breaks=(1,), samples=samples)
    assert (through.most, through.whole) == (15, True)
    parted = spells(0, (0, AWAY), (20, 1), (30, AWAY), breaks=(1,), samples=samples)
    assert (parted.longest, parted.head, parted.tail, parted.whole) == (10, 5, 10, False)


def gap(standing: int, at: int) -> tuple[list[tuple[int, float]], list[tuple[int, int]], tuple[int]]:
    """A stretch that is a gap and nothing else."""
    return [(at, 100.0), (at + 100, 100.0)], [(at, standing)], (0,)


@pytest.mark.parametrize(("standing", "most"), [(AWAY, 13), (1, 8)])
def test_a_stretch_that_is_all_gap_joins_times_away_unless_a_row_was_in_force(standing: int, most: int) -> None:
    """Away 5 us before and 8 us after."""
    found = add(tally(), [(0, 100), (5, 100)], [(0, AWAY)])
    add(found, *gap(standing, 5))
    add(found, [(105, 100), (113, 100)], [(105, AWAY)])
    assert found.spells.most == most


def test_time_outside_time_away_and_volts_go_to_the_days_in_which_they_were() -> None:
    """Two hours before midnight and one after it, outside from an hour before, away from half an hour after."""
    begin = 3 * DAY - 2 * HOUR
    found = add(tally(), [(begin, 80), (3 * DAY - HOUR, 120), (3 * DAY + HOUR, 500)],
                [(begin, 0), (3 * DAY - HOUR, 0, True), (3 * DAY + HOUR // 2, AWAY, True)])  # fmt: skip
    assert found.outside == 2 * HOUR
    before, after = found.days[2], found.days[3]
    assert (before.outside, before.away, before.least, before.most) == (HOUR, 0, 80, 120)
    assert (after.outside, after.away, after.least, after.most) == (HOUR, HOUR // 2, 120, 120)
    assert sorted(found.days) == [2, 3]
    lasted = {(int(a), int(b)): int(found.lasting[a, b]) for a, b in np.argwhere(found.lasting)}
    assert lasted == {(0, 80): HOUR, (0, 120): HOUR + HOUR // 2, (AWAY, 120): HOUR // 2}


def test_gaps_are_counted_in_the_day_in_which_they_begin() -> None:
    samples = [(0, 100), (10, 100), (40, 100), (DAY - 5, 100), (DAY + 2, 100), (DAY + 9, 100)]
    found = add(tally(), samples, [(0, 0)], (1, 3))
    assert (found.gaps, found.gap_us, found.longest_gap) == (2, 30 + 7, 30)
    assert (found.days[0].gap, found.days[1].gap) == (37, 0)
    add(found, *gap(0, DAY + 9))
    assert (found.gaps, found.gap_us, found.longest_gap, found.days[1].gap) == (3, 137, 100, 100)


def test_changes_by_kind_by_hour_and_by_day_with_the_volts_at_them() -> None:
    """At 23:30 from row 0 to 1 at 90 V, back at 23:40 at 95 V, at 0:10 to row 1 at 85 V, then away at 1:05."""
    minute = 5 * DAY + 23 * HOUR
    samples = [(minute, 100), (minute + 30 * MINUTE, 90), (minute + 40 * MINUTE, 95), (minute + 70 * MINUTE, 85),
               (minute + 125 * MINUTE, 60), (minute + 130 * MINUTE, 70)]  # fmt: skip
    steps = [(at, standing) for (at, _), standing in zip(samples[:5], (0, 1, 0, 1, AWAY), strict=True)]
    found = add(tally(), samples, steps)
    assert found.changes.tolist() == [[0, 2, 0], [1, 0, 1], [0, 0, 0]]
    assert (found.change_least[0, 1], found.change_most[0, 1]) == (85, 90)
    assert (found.change_least[1, 0], found.change_most[1, 2]) == (95, 60)
    assert dict(found.hours) == {5 * 24 + 23: 2, 6 * 24: 1, 6 * 24 + 1: 1}
    assert {hour: int(many) for hour, many in enumerate(found.by_hour) if many} == {0: 1, 1: 1, 23: 2}
    assert {number: day.changes for number, day in found.days.items()} == {5: 2, 6: 2}


def test_a_piece_that_only_crosses_the_window_is_no_change() -> None:
    found = add(tally(), [(0, 100), (9, 100)], [(0, 0), (3, 0, True), (5, 0)])
    assert not found.changes.any()
    assert not found.hours


def test_where_a_clock_is_put_back_an_hour_comes_twice() -> None:
    """On 26 October 2025 in Berlin 2:30 comes at 0:30 and at 1:30 UTC."""
    begin = 1_761_438_600 * SECOND  # 2025-10-26 00:30 UTC
    steps = [(begin, 0), (begin + 1, 1), (begin + HOUR, 0)]
    samples = [(begin, 100.0), (begin + HOUR + 9, 100.0)]
    found = add(tally(), samples, steps, zone=Zone("Europe/Berlin"))
    assert list(found.hours.values()) == [2]
    assert int(found.by_hour[2]) == 2


# --- ten minutes ---


@pytest.mark.parametrize(("volts", "kept"), [(90, 1), (89, 0), (110, 1), (111, 0), (100, 1)])
def test_a_mean_is_kept_up_to_its_limits(volts: int, kept: int) -> None:
    """Five intervals, of which the first and the last are judged one by one, and those between together."""
    found = add(tally(), [(0, volts), (5 * INTERVAL, volts)], [(0, 0)])
    assert (found.days[0].intervals, len(found.open)) == (3, 2)
    found.finish()
    assert (found.days[0].intervals, found.days[0].kept, len(found.open)) == (5, 5 * kept, 0)


@pytest.mark.parametrize(("least", "most", "kept"), [(40_000, 40_000, 1), (40_001, 50_000, 0), (0, 39_999, 0)])
def test_the_mean_of_the_output_counts_each_standing_with_its_ratio_squared(least: int, most: int, kept: int) -> None:
    """100 V in row 1, of the ratio 2, are 200 V out."""
    limits = MeanLimits(0, 1, LIMITS.amplified, float(least * INTERVAL), float(most * INTERVAL))
    found = add(tally(limits), [(0, 100), (4 * INTERVAL, 100)], [(0, 1)])
    found.finish()
    assert (found.days[0].intervals, found.days[0].kept, found.days[0].kept_out) == (4, 0, 4 * kept)


def test_ten_minutes_with_a_gap_in_them_do_not_count() -> None:
    minutes = [(0, 100), (25 * MINUTE, 100), (26 * MINUTE, 100), (45 * MINUTE, 100)]
    found = add(tally(), minutes, [(0, 0)], (1,))
    found.finish()
    assert found.days[0].intervals == 3  # of 0, 10 and 30 minutes; 20 has a gap, 40 is cut short


def test_an_interval_of_two_stretches_counts_once_both_are_in() -> None:
    found = add(tally(), [(0, 100), (4 * MINUTE, 100)], [(0, 0)])
    add(found, [(4 * MINUTE, 130), (25 * MINUTE, 130)], [(4 * MINUTE, 1)])
    assert found.days[0].intervals == 1  # from 10 to 20 minutes; the ends are open
    found.finish()
    assert (found.days[0].intervals, found.days[0].kept) == (2, 0)
    mixed = add(tally(), [(0, 100), (8 * MINUTE, 100)], [(0, 0)])
    add(mixed, [(8 * MINUTE, 130), (10 * MINUTE, 130)], [(8 * MINUTE, 1)])
    mixed.finish()
    assert (mixed.days[0].intervals, mixed.days[0].kept) == (1, 1)  # (8 x 100^2 + 2 x 130^2)/10 = 106.7^2


def test_days_of_intervals_are_those_in_which_they_begin() -> None:
    begin = DAY - 2 * INTERVAL
    found = add(tally(), [(begin, 100), (DAY + 3 * INTERVAL, 100)], [(begin, 0)])
    found.finish()
    assert {number: day.intervals for number, day in found.days.items()} == {0: 2, 1: 3}


# --- tallies joined ---


@pytest.mark.parametrize(
    ("first", "then", "joined"),
    [
        (Spells(9, 2, 3, False, True), Spells(5, 4, 1, False, True), Spells(9, 2, 1, False, True)),
        (Spells(3, 2, 3, False, True), Spells(4, 4, 1, False, True), Spells(7, 2, 1, False, True)),
        (Spells(6, 6, 6, True, True), Spells(4, 4, 1, False, True), Spells(10, 10, 1, False, True)),
        (Spells(3, 2, 3, False, True), Spells(5, 5, 5, True, True), Spells(8, 2, 8, False, True)),
        (Spells(6, 6, 6, True, True), Spells(5, 5, 5, True, True), Spells(11, 11, 11, True, True)),
        (Spells(3, 2, 3, False, True), Spells(), Spells(3, 2, 3, False, True)),
        (Spells(), Spells(3, 2, 3, False, True), Spells(3, 2, 3, False, True)),
    ],
)
def test_times_away_of_what_follows_one_another(first: Spells, then: Spells, joined: Spells) -> None:
    first.add(then)
    assert first == joined


@pytest.mark.parametrize("spell", [(5, 1, 2), (1, 5, 2), (1, 2, 5)])
def test_the_longest_of_all_may_be_open(spell: tuple[int, int, int]) -> None:
    assert Spells() == Spells(0, 0, 0, whole=True, seen=False)
    assert Spells(*spell).most == 5


def test_two_tallies_joined_are_one() -> None:
    """Cut at 7 us: the same as at once, but for the room."""
    samples, steps = [(0, 80), (7, 90), (20, 100)], [(0, 0), (3, 1, True), (9, AWAY)]
    whole = add(tally(), samples, steps)
    whole.samples = 3
    first = add(tally(), samples[:2], steps[:2])
    then = add(tally(), samples[1:], [(7, 1, True), (9, AWAY)])
    first.samples, then.samples = 1, 2
    first.join(then.trimmed())
    assert (first.changes == whole.changes).all()
    assert (first.lasting == whole.lasting).all()
    for name in ("samples", "gaps", "gap_us", "outside", "longest_gap", "hours", "days", "spells", "open"):
        assert getattr(first, name) == getattr(whole, name), name


def test_a_trimmed_tally_keeps_what_stood_and_where() -> None:
    found = add(tally(), [(0, 80), (5, 83), (9, 500)], [(0, 0)]).trimmed()
    assert (found.lowest, found.lasting.shape) == (80, (3, 4))
    assert found.lasting[0].tolist() == [5, 0, 0, 4]
    assert tally().trimmed().lasting.shape == (3, 0)
    assert found.trimmed().lowest == 80


def test_only_the_outermost_intervals_stay_open() -> None:
    found = tally()
    found.meet({number: Interval(0, INTERVAL, [100**2 * INTERVAL, 0, 0]) for number in (4, 5, 6)})
    assert (sorted(found.open), found.days[0].intervals, found.days[0].kept) == ([4, 6], 1, 1)
    found.meet({6: Interval(0, 1, [0, 0, 0]), 7: Interval(0, 5, [0, 0, 0])})
    assert sorted(found.open) == [4, 7]
    assert found.days[0].intervals == 1  # the sixth has been met for more than it lasts
