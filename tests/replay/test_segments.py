"""A course cut where anything that is counted changes, by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tapplan.replay.clock import DAY, HOUR, MINUTE, SECOND
from tapplan.replay.course import Pieces, Stretch
from tapplan.replay.plain import as_plain, from_plain
from tapplan.replay.segments import INTERVAL, Segments, segments
from tapplan.replay.zone import FIRST_DAY, LAST_DAY, Zone
from tests.replay.test_passes import SWINGING, log, made, run


def parts(
    times: list[int], pieces: list[tuple[int, int, bool]], breaks: tuple[int, ...] = (), zone: Zone | None = None
) -> Segments:
    stretch = Stretch(np.array(times, np.int64), np.zeros(len(times)), np.array(breaks, np.int64))
    begins, standings, outside = (np.array(column) for column in zip(*pieces, strict=True))
    return segments(stretch, Pieces(begins, standings, outside), zone or Zone())


def rows(found: Segments, *names: str) -> list[tuple[Any, ...]]:
    return list(zip(*(getattr(found, name).tolist() for name in ("begins", "ends", *names)), strict=True))


def test_it_is_cut_at_pieces_and_carries_what_they_are() -> None:
    found = parts([10, 20, 30], [(10, 1, False), (15, 1, True), (20, 0, False)])
    assert rows(found, "standings", "outside", "firsts", "lasts", "pieces") == [
        (10, 15, 1, False, 0, 0, 0),
        (15, 20, 1, True, 0, 0, 1),
        (20, 30, 0, False, 1, 1, 2),
    ]
    assert found.lengths.tolist() == [5, 5, 10]


def test_a_segment_may_hold_several_samples_and_a_piece_of_no_time_is_none() -> None:
    found = parts([0, 4, 8, 20], [(0, 0, False), (6, 1, False), (6, 2, False)])
    assert rows(found, "standings", "firsts", "lasts", "pieces") == [(0, 6, 0, 0, 1, 0), (6, 20, 2, 1, 2, 2)]


def test_it_is_cut_at_every_ten_minutes_and_at_midnight() -> None:
    begin = DAY - INTERVAL - 5
    found = parts([begin, DAY + 7], [(begin, 0, False)])
    assert rows(found, "intervals", "days") == [
        (begin, DAY - INTERVAL, 142, 0),
        (DAY - INTERVAL, DAY, 143, 0),
        (DAY, DAY + 7, 144, 1),
    ]


def test_days_are_those_of_the_wall_and_intervals_those_of_the_log() -> None:
    """Kathmandu is 5 h 45 min ahead: its midnight is at 18:15 UTC, in the middle of an interval."""
    midnight, number = 20_000 * DAY + 18 * HOUR + 15 * MINUTE, 20_000 * 144 + 109
    found = parts([midnight - 1, midnight + 1], [(midnight - 1, 0, False)], zone=Zone("Asia/Kathmandu"))
    assert rows(found, "intervals", "days") == [
        (midnight - 1, midnight, number, 20_000),
        (midnight, midnight + 1, number, 20_001),
    ]


def test_what_lies_in_a_gap_is_in_no_segment() -> None:
    found = parts([0, 5, 50, 60, 90, 95], [(0, 0, False), (7, 1, False), (55, 0, True)], (1, 3))
    assert rows(found, "standings", "firsts", "lasts") == [
        (0, 5, 0, 0, 0),
        (50, 55, 1, 2, 2),
        (55, 60, 0, 2, 2),
        (90, 95, 0, 4, 4),
    ]
    assert rows(parts([0, 50], [(0, 0, False)], (0,))) == []


@pytest.mark.parametrize("long", [DAY, DAY + 1])
def test_a_gap_is_left_out_however_long_it_is(long: int) -> None:
    """From three seconds after a midnight; where it ends ten minutes and days go on being cut."""
    begin = 2 * DAY + 3 * SECOND
    found = parts([begin, begin + 5, begin + 5 + long, begin + 5 + long + INTERVAL], [(begin, 0, False)], (1,))
    after = begin + 5 + long
    assert rows(found, "days") == [
        (begin, begin + 5, 2),
        (after, 3 * DAY + INTERVAL, 3),
        (3 * DAY + INTERVAL, after + INTERVAL, 3),
    ]


@pytest.mark.parametrize("day", [FIRST_DAY - 1, FIRST_DAY, 0, LAST_DAY, LAST_DAY + 1])
def test_every_day_that_a_log_may_have_begins_once(day: int) -> None:
    """Kathmandu's clock runs ahead by 5 h 45 min since 1986, before by 5 h 30 min, at first by 5 h 41 min 16 s.

    These figures are those of the zone data base.
    """
    zone = Zone("Asia/Kathmandu")
    (begin,) = zone.midnights(day * DAY - HOUR * 7, day * DAY - HOUR * 5).tolist()
    ahead = {0: 5 * HOUR + 30 * MINUTE}.get(day, 5 * HOUR + (41 * MINUTE + 16 * SECOND if day < 0 else 45 * MINUTE))
    assert begin == day * DAY - ahead
    inside = zone.local(np.array([max(begin, FIRST_DAY * DAY)], np.int64))
    assert inside[0] // DAY >= day


def test_a_run_is_kept_and_read_back() -> None:
    one = run(log(*range(10), volts=SWINGING))
    plain = as_plain(one)
    back = from_plain(plain, [made()])
    assert as_plain(back) == plain
    assert (back.first, back.last, back.step, back.max_gap) == (one.first, one.last, one.step, one.max_gap)
    assert (back.tallies[0].changes == one.tallies[0].changes).all()
    assert (back.tallies[0].lasting == one.tallies[0].lasting).all()
    assert back.tallies[0].lowest == one.tallies[0].lowest == 18_000
    assert (back.tallies[0].days, back.tallies[0].hours) == (one.tallies[0].days, one.tallies[0].hours)
    assert back.tallies[0].spells == one.tallies[0].spells
    with pytest.raises(KeyError):
        from_plain({**plain, "bad": {"NoSuchFault": 1}}, [made()])
    with pytest.raises(ValueError, match="shorter"):
        from_plain(plain, [])
