"""A log in memory is the log: its samples, what stands how long, its parts, and what it refuses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from random import Random

import numpy as np
import pytest

from tapplan.errors import LogError, UsageError
from tapplan.exact import Span
from tapplan.logs.samples import BadRows, Chunk, RowFault
from tapplan.replay.clock import DAY, HOUR, MINUTE
from tapplan.replay.engines import NUMPY, Engines
from tapplan.replay.replayed import Running, replayed
from tapplan.replay.zone import Zone
from tapplan.study.recording import distinct, of_these_mains, parted, recorded, within
from tests.outside import replay as outside
from tests.replay.against import Listed, drawn

F = Fraction
ONE = Fraction(1)


@dataclass(frozen=True)
class Chunked:
    """A log of some chunks."""

    held: Sequence[Chunk]
    name: str = "chunks"
    scale: Fraction = ONE
    made: str | None = None

    def chunks(self) -> Iterator[Chunk]:
        yield from self.held


def minutes(count: int, begin: int = 0, volts: float = 230.0) -> Listed:
    return Listed([(begin + MINUTE * number, F(volts)) for number in range(count)])


def test_a_recording_replays_as_the_log_does() -> None:
    changes = 0
    for number in range(40):
        chance = Random(number)
        both = drawn(chance)
        samples = outside.random_log(chance, both.plain)
        gap = outside.random_max_gap(chance, samples)
        log = Listed(samples, sorted(chance.sample(range(1, len(samples)), min(3, len(samples) - 1))))
        try:
            run = both.run(log, gap, NUMPY)
        except UsageError:
            continue
        one = recorded(log, 10**6, gap)
        again = replayed(one, [both.machine], Running(max_gap=one.gap, engines=Engines(NUMPY)))
        assert both.found(again) == both.found(run)
        assert (one.first, one.gap, one.step, one.samples) == (run.first, run.max_gap, run.step, len(samples))
        assert int(one.stood().sum()) == int(run.tallies[0].lasting.sum())
        changes += int(run.tallies[0].changes.sum())
    assert changes > 300


def test_samples_of_several_kinds_stand_apart_and_in_order() -> None:
    """Volts 230.1 of a short and of a long number are one decimal each; nothing is taken from one kind to another."""
    short = Chunk(np.array([0, 10]), np.array([230.1, 231.0], np.float32))
    more = Chunk(np.array([20, 30]), np.array([229.5, 230.1], np.float32))
    long = Chunk(np.array([40]), np.array([230.1], np.float64))
    one = recorded(Chunked([short, Chunk(np.zeros(0, np.int64), np.zeros(0), BadRows()), more, long]), 10**6)
    assert [chunk.times.tolist() for chunk in one.held] == [[0, 10, 20, 30], [40]]
    assert [chunk.readings.dtype for chunk in one.held] == [np.float32, np.float64]
    found = [(one.times.tolist(), [str(volts) for volts in one.readings]) for one in one.stretches()]
    assert found == [
        ([0, 10, 20, 30], ["230.1", "231.0", "229.5", "230.1"]),
        ([30, 40], ["230.1", "230.1"]),
        ([40, 50], ["230.1", "230.1"]),
    ]
    assert [line.tolist() for line in distinct(one)] == [[229.5, np.float32(230.1), 231.0], [230.1]]


def test_whole_numbers_of_a_file_are_taken_as_they_are() -> None:
    one = recorded(Chunked([Chunk(np.array([0, 10]), np.array([2301, 2310], np.int16))], scale=F(1, 10)), 10**6)
    assert one.held[0].readings.tolist() == [2301.0, 2310.0]
    assert within(one.held[0], one.scale, Span(F(2301, 10), F(2302, 10))).tolist() == [True, False]


def test_no_more_is_taken_than_asked_for_and_that_is_said() -> None:
    log = Listed([(MINUTE * number, F(230)) for number in range(10)], (4, 8))
    assert [(one.samples, one.cut) for one in (recorded(log, most) for most in (3, 4, 7, 10, 11))] == [
        (3, True),
        (4, True),
        (7, True),
        (10, False),
        (10, False),
    ]
    stopped = recorded(log, 100, stop=lambda: True)
    assert (stopped.samples, stopped.cut) == (4, True)


def test_a_log_without_samples_is_refused() -> None:
    bad = BadRows({RowFault.NO_NUMBER: 2})
    with pytest.raises(LogError, match="chunks: found no sample; accepted: a log with at least one"):
        recorded(Chunked([Chunk(np.zeros(0, np.int64), np.zeros(0), bad)]), 10)


def test_time_before_a_gap_and_after_the_last_sample() -> None:
    times = [0, MINUTE, 2 * MINUTE, 12 * MINUTE, 13 * MINUTE]
    one = recorded(Listed([(time, F(230)) for time in times]), 10)
    assert (one.step, one.gap, one.end) == (MINUTE, 3 * MINUTE, 14 * MINUTE)
    assert one.stood().tolist() == [MINUTE, MINUTE, 0, MINUTE, MINUTE]


def test_a_log_is_cut_at_the_midnight_nearest_to_two_thirds() -> None:
    """Ten days from 06:00: two thirds are over on the seventh day at 22:00, two hours before its end."""
    one = recorded(minutes(10 * 1440, 6 * HOUR), 10**6)
    both = parted(one, Zone())
    assert both.held_out is not None
    assert both.chosen.end == both.held_out.first == 7 * DAY
    assert both.chosen.samples + both.held_out.samples == one.samples
    assert (both.chosen.gap, both.held_out.gap) == (one.gap, one.gap)
    paris = parted(one, Zone("Europe/Paris"))
    assert paris.held_out is not None
    assert paris.held_out.first == 7 * DAY - HOUR


def test_a_midnight_in_the_last_sample_is_no_place_to_cut() -> None:
    """Four days from five minutes past midnight, one sample each ten minutes: the last stands over a midnight."""
    samples = [(5 * MINUTE + 10 * MINUTE * number, F(230)) for number in range(4 * 144)]
    both = parted(recorded(Listed(samples), 10**6), Zone())
    assert both.held_out is not None
    assert both.held_out.first == 3 * DAY + 5 * MINUTE


def test_gaps_count_for_nothing_where_the_cut_lies() -> None:
    """Six days of samples with thirty days of nothing after the second: two thirds are four days of samples."""
    days = [*range(2), *range(32, 36)]
    samples = [(day * DAY + number * 10 * MINUTE, F(230)) for day in days for number in range(144)]
    both = parted(recorded(Listed(samples), 10**6), Zone())
    assert both.held_out is not None
    assert both.held_out.first == 34 * DAY


@pytest.mark.parametrize(("days", "held"), [(1, False), (2, False), (2.9, False), (3, True), (4, True)])
def test_less_than_three_days_are_not_cut(days: float, held: bool) -> None:
    one = recorded(minutes(int(days * 1440)), 10**6)
    both = parted(one, Zone())
    assert (both.held_out is not None) == held
    assert held or both.chosen is one


def test_a_single_sample_stands_for_no_time() -> None:
    one = recorded(minutes(1), 10)
    assert (one.step, one.stretches(), parted(one, Zone()).held_out) == (0, (), None)


def test_a_log_of_other_mains_is_refused() -> None:
    mains = Span(F(180), F(300))
    of_these_mains(recorded(minutes(3, volts=300.0), 10), mains)
    with pytest.raises(
        LogError, match=r"a list: found no reading in the mains range, 180 to 300 V; accepted: .*--unit"
    ):
        of_these_mains(recorded(minutes(3, volts=300.1), 10), mains)
