"""Rows to samples: what is left out, why, and that neither depends on how a log is cut."""

from __future__ import annotations

from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.errors import LogError
from tapplan.logs.cleaned import CODES, Block, Cleaning
from tapplan.logs.samples import MOST_TOLD, BadRow, BadRows, RowFault
from tests.logs.reading import us

PARIS = ZoneInfo("Europe/Paris")


def block(times: list[int], readings: Any, first: int = 1, local: bool = False, **codes: RowFault) -> Block:
    marked = np.zeros(len(times), np.uint8)
    for place, fault in codes.items():
        marked[int(place[1:])] = CODES[fault]
    rows = range(first, first + len(times))
    return Block(
        "f", rows, np.array(times, np.int64), np.asarray(readings), marked, lambda place, fault: f"{place}", local
    )


def told(bad: BadRows) -> dict[int, RowFault]:
    return {one.row: one.fault for one in bad.told}


def literal(times: list[int], readings: list[float]) -> dict[int, RowFault]:
    """The rule, row by row."""
    faults, last = {}, None
    for row, (time, reading) in enumerate(zip(times, readings, strict=True), 1):
        if reading != reading or abs(reading) == float("inf"):
            faults[row] = RowFault.NOT_FINITE
        elif reading < 0:
            faults[row] = RowFault.NEGATIVE
        elif reading > 1e9:
            faults[row] = RowFault.TOO_HIGH
        elif last is not None and time <= last:
            faults[row] = RowFault.SAME_TIME if time == last else RowFault.BACKWARDS
        else:
            last = time
    return faults


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize(
    ("stored", "faults"),
    [
        ([-0.0, 2e9], {2: RowFault.TOO_HIGH}),
        ([2e9, -0.0], {1: RowFault.TOO_HIGH}),
        ([-0.0, -3.0], {2: RowFault.NEGATIVE}),
        ([-0.0, 1.0], {}),
        ([1.0, float("nan")], {2: RowFault.NOT_FINITE}),
        ([-float("nan"), 1.0], {1: RowFault.NOT_FINITE}),
        ([1.0, -float("inf")], {2: RowFault.NOT_FINITE}),
    ],
)
def test_a_sign_hides_nothing(stored: list[float], faults: dict[int, RowFault], dtype: Any) -> None:
    """Also where the block before was good, so that the whole block is looked at in one go."""
    cleaning = Cleaning(Fraction(1))
    cleaning.chunk(block([1], np.array([230.0], dtype)))
    assert told(cleaning.chunk(block([2, 3], np.array(stored, dtype))).bad) == faults


readings = st.one_of(st.floats(0, 400), st.sampled_from([0.0, -0.0, -1.0, 1e9, 1.1e9, float("nan"), float("inf")]))


@given(
    st.lists(st.tuples(st.integers(0, 30), readings), max_size=MOST_TOLD), st.lists(st.integers(0, 5), max_size=20)
)
def test_what_is_left_out_and_why(rows: list[Any], sizes: list[int]) -> None:
    times, volts = [one for one, _ in rows], [two for _, two in rows]
    cleaning, place = Cleaning(Fraction(1)), 0
    kept: list[int] = []
    bad = BadRows()
    for size in (*sizes, len(rows)):
        chunk = cleaning.chunk(block(times[place : place + size], np.array(volts[place : place + size]), place + 1))
        place += size
        kept += chunk.times.tolist()
        bad = bad.joined(chunk.bad)
    faults = literal(times, volts)
    assert told(bad) == faults
    assert kept == [time for row, time in enumerate(times, 1) if row not in faults]
    assert bad.count == len(faults) == cleaning.bad.count
    assert {fault: list(faults.values()).count(fault) for fault in faults.values()} == bad.counts


def test_a_block_without_a_fault_is_handed_on_as_it_is() -> None:
    for dtype in (np.float32, np.float64, np.int16, np.uint32):
        stored = np.array([230, 231], dtype)
        one = block([1, 2], stored)
        chunk = Cleaning(Fraction(1)).chunk(one)
        assert chunk.readings is stored
        assert chunk.times is one.times


def test_what_is_known_to_be_wrong_counts_for_no_other_row() -> None:
    chunk = Cleaning(Fraction(1)).chunk(block([5, 9, 6], np.array([1.0, 0.0, 1.0]), c1=RowFault.NO_NUMBER))
    assert chunk.times.tolist() == [5, 6]
    assert told(chunk.bad) == {2: RowFault.NO_NUMBER}


@pytest.mark.parametrize("dtype", [np.float32, np.float64, np.int64])
@pytest.mark.parametrize(
    ("scale", "most"), [(Fraction(1), 10**9), (Fraction(1000), 10**6), (Fraction(1, 3), 3 * 10**9)]
)
def test_the_most_is_in_volts(scale: Fraction, most: int, dtype: Any) -> None:
    stored = np.array([most, most * 1.1, most], dtype)
    assert told(Cleaning(scale).chunk(block([1, 2, 3], stored)).bad) == {2: RowFault.TOO_HIGH}


def test_the_most_is_exact() -> None:
    most = 10**9 / Fraction(3)
    below = np.floor(float(most) * 2**20) / 2**20
    below = below if Fraction(below) <= most else np.nextafter(below, 0)
    above = np.nextafter(below, np.inf)
    while Fraction(above) <= most:
        below, above = above, np.nextafter(above, np.inf)
    assert told(Cleaning(Fraction(3)).chunk(block([1, 2], np.array([below, above]))).bad) == {2: RowFault.TOO_HIGH}


def test_only_the_first_bad_rows_are_told_and_all_are_counted() -> None:
    cleaning = Cleaning(Fraction(1))
    chunk = cleaning.chunk(block([0] * 1000, np.ones(1000)))
    assert chunk.bad.counts == {RowFault.SAME_TIME: 999}
    assert chunk.bad.told == tuple(
        BadRow("f", row, RowFault.SAME_TIME, f"{row - 1}") for row in range(2, MOST_TOLD + 2)
    )
    assert len(cleaning.chunk(block([0] * 9, np.ones(9))).bad.told) == 9
    assert len(cleaning.bad.told) == MOST_TOLD


def test_local_times_become_utc_and_those_no_clock_shows_are_left_out() -> None:
    times = [us(f"2024-03-31T{one}") for one in ("01:59", "02:30", "03:00")]
    chunk = Cleaning(Fraction(1), PARIS).chunk(block(times, np.ones(3), local=True))
    assert chunk.times.tolist() == [us("2024-03-31T00:59"), us("2024-03-31T01:00")]
    assert told(chunk.bad) == {2: RowFault.NO_TIME}


def test_bad_rows_play_no_part_in_the_repeated_hour() -> None:
    times = [us(f"2024-10-27T{one}") for one in ("02:00", "02:50", "02:10", "02:20")]
    chunk = Cleaning(Fraction(1), PARIS).chunk(block(times, np.ones(4), local=True, c1=RowFault.NO_NUMBER))
    assert chunk.times.tolist() == [us(f"2024-10-27T{one}") for one in ("00:00", "00:10", "00:20")]


@given(st.lists(st.integers(0, 12), min_size=2, max_size=40), st.lists(st.integers(0, 6), max_size=20))
def test_the_repeated_hour_is_the_same_however_the_log_is_cut(steps: list[int], sizes: list[int]) -> None:
    """Times around the hour, forward mostly, and now and then a row twice or out of order."""
    times = [us("2024-10-27T01:40") + 600_000_000 * (sum(steps[:place]) % 12) for place in range(len(steps))]
    whole = Cleaning(Fraction(1), PARIS).chunk(block(times, np.ones(len(times)), local=True))
    cleaning, place, kept = Cleaning(Fraction(1), PARIS), 0, []
    for size in (*sizes, len(times)):
        some = times[place : place + size]
        kept += cleaning.chunk(block(some, np.ones(len(some)), place + 1, local=True)).times.tolist()
        place += size
    assert kept == whole.times.tolist()
    assert cleaning.bad.counts == whole.bad.counts


def test_a_step_stands_for_times_and_a_bad_row_takes_its_place() -> None:
    cleaning = Cleaning(Fraction(1), step_us=20)
    first = cleaning.chunk(block([0, 0, 0], np.array([1.0, -1.0, 1.0])))
    second = cleaning.chunk(block([0, 0], np.ones(2)))
    assert [*first.times, *second.times] == [0, 40, 60, 80]


def test_a_log_does_not_mix_local_times_with_others() -> None:
    cleaning = Cleaning(Fraction(1))
    cleaning.chunk(block([1], np.ones(1), local=True))
    with pytest.raises(LogError, match="its times tell their zone and those before do not, or the other way round"):
        cleaning.chunk(block([2], np.ones(1)))
    mixed = Cleaning(Fraction(1), PARIS)
    mixed.chunk(block([us("2024-01-01T01:00")], np.ones(1), local=True))
    assert mixed.chunk(block([us("2024-01-01T00:01")], np.ones(1))).times.tolist() == [us("2024-01-01T00:01")]


def test_a_log_without_a_sample_is_an_error_with_its_first_rows() -> None:
    cleaning = Cleaning(Fraction(1))
    cleaning.chunk(block([1, 2, 3, 4], np.full(4, -1.0)))
    with pytest.raises(LogError) as refused:
        cleaning.check_end("logs/a.csv")
    assert str(refused.value) == (
        'logs/a.csv: none of its 4 rows is a sample: f:1 has "0", below 0 V; f:2 has "1", below 0 V; '
        'f:3 has "2", below 0 V; accepted: a time and volts each'
    )


def test_a_row_far_ahead_of_all_others_is_an_error_that_names_it() -> None:
    cleaning = Cleaning(Fraction(1))
    times = [us("2099-01-01T00:00"), *range(5)]
    cleaning.chunk(block(times, np.ones(6)))
    with pytest.raises(LogError) as refused:
        cleaning.check_end("a.csv")
    assert str(refused.value) == (
        "a.csv: 5 of 6 rows lie before the last good one, f:1 of 2099-01-01T00:00:00.000000; accepted: "
        "rows in order of time; one that a wrong clock has put ahead of all others is to be taken out"
    )


def test_rows_that_go_back_in_no_more_than_half_of_a_log_are_bad_rows() -> None:
    cleaning = Cleaning(Fraction(1))
    cleaning.chunk(block([5, 9, 6, 7], np.ones(4)))
    cleaning.check_end("a.csv")
    assert cleaning.bad.counts == {RowFault.BACKWARDS: 2}
