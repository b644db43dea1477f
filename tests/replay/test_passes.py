"""One pass over a log: what is a gap, when it is read again, its front and end; in shares, in pieces of work."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from tapplan.control.table import control_table
from tapplan.errors import LogError
from tapplan.logs.samples import Chunk
from tapplan.replay import region
from tapplan.replay.clock import DAY, SECOND
from tapplan.replay.course import CarriedOn, Stretch
from tapplan.replay.engines import NUMPY, Engines
from tapplan.replay.machine import Machine, machine
from tapplan.replay.plain import as_plain
from tapplan.replay.region import FailedLog, Piece, Region, Site, given
from tapplan.replay.replayed import (
    AT_ONCE,
    NO_BREAKS,
    LogPass,
    LogRun,
    Running,
    _lasting_years,
    between,
    broken,
    replayed,
    stored,
)
from tapplan.replay.shares import Joining, joined, share_run
from tapplan.replay.tally import Tally
from tapplan.replay.workers import Finished
from tests.checks.test_rules import sound
from tests.replay.against import Listed

F = Fraction
ONE = F(1)


@cache
def made() -> Machine:
    """Boost 2 up to 191 V, boost 1 from 187 to 216 V, direct from 212 V on."""
    return machine(control_table(sound()))


def log(*times: int, volts: Sequence[int] = (), cuts: Sequence[int] = ()) -> Listed:
    """A reading of 230 V at each second given, or other volts."""
    return Listed([(at * SECOND, F(volts[place] if volts else 230)) for place, at in enumerate(times)], cuts)


def run(one: Any, **how: Any) -> LogRun:
    return replayed(one, [made()], Running(engines=Engines(NUMPY), **how))


@dataclass
class Counted:
    """A log that counts how often it is read."""

    log: Listed
    read: int = 0
    name: str = "counted"
    made: str | None = None
    scale: Fraction = ONE

    def chunks(self) -> Iterator[Chunk]:
        self.read += 1
        return self.log.chunks()


def test_a_distance_of_more_than_three_usual_steps_is_a_gap() -> None:
    found = run(log(0, 1, 2, 5, 6, 7))
    assert (found.step, found.max_gap, found.tallies[0].gaps) == (SECOND, 3 * SECOND, 0)
    apart = Listed([(at, F(230)) for at in (0, SECOND, 2 * SECOND, 5 * SECOND + 1, 6 * SECOND + 1)])
    found = run(apart)
    assert (found.tallies[0].gaps, found.tallies[0].gap_us) == (1, 3 * SECOND + 1)
    assert (found.first, found.last, found.tallies[0].samples) == (0, 6 * SECOND + 1, 5)
    assert found.tallies[0].lasting.sum() == 4 * SECOND  # the last one stands for a usual step


def test_a_gap_that_is_asked_for_is_taken() -> None:
    for most, gaps in ((2, 1), (3, 0), (1, 1)):
        assert run(log(0, 1, 2, 5, 6, 7), max_gap=most * SECOND).tallies[0].gaps == gaps


def test_with_no_distance_allowed_every_one_is_a_gap() -> None:
    found = run(Listed([(at, F(230)) for at in (0, 1, 2)]), max_gap=0).tallies[0]
    assert (found.gaps, found.gap_us) == (2, 2)


def test_a_log_is_read_again_where_its_first_steps_were_not_the_usual_ones() -> None:
    """Steps of a second in the first chunk, of ten in all the others: at first each of those was a gap."""
    times = [0, 1, 2, *range(12, 112, 10)]
    one = Counted(log(*times, cuts=[3]))
    found = run(one)
    assert (one.read, found.step, found.max_gap, found.tallies[0].gaps) == (2, 10 * SECOND, 30 * SECOND, 0)
    once = Counted(log(*times, cuts=[3]))
    assert run(once, max_gap=3 * SECOND).tallies[0].gaps == 10
    assert once.read == 1
    even = Counted(log(*range(10), cuts=[3]))
    assert run(even).step == SECOND
    assert even.read == 1


def test_one_sample_stands_for_no_time_and_none_is_refused() -> None:
    found = run(log(7))
    assert (found.first, found.last, found.step, found.max_gap) == (7 * SECOND, 7 * SECOND, 0, 0)
    assert (found.tallies[0].samples, found.tallies[0].lasting.size) == (1, 0)
    with pytest.raises(LogError, match="a list: found no sample"):
        run(Listed([], [0]))


def test_two_samples_in_two_chunks_are_a_step_apart() -> None:
    found = run(log(0, 4, cuts=[1]))
    assert (found.step, found.max_gap, found.tallies[0].lasting.sum()) == (4 * SECOND, 12 * SECOND, 8 * SECOND)


@pytest.mark.parametrize(("more", "refused"), [(0, False), (1, True)])
def test_a_sample_stands_for_a_leap_year_at_the_most(more: int, refused: bool) -> None:
    long = Listed([(0, F(230)), (366 * DAY + more, F(230))])
    if refused:
        with pytest.raises(LogError, match="366 days apart that are no gap; accepted: at most 366"):
            run(long, max_gap=400 * DAY)
    else:
        assert run(long, max_gap=400 * DAY).tallies[0].gaps == 0
    assert run(long, max_gap=366 * DAY - 1).tallies[0].gaps == 1


def test_a_log_that_is_to_stop_is_told_as_a_part() -> None:
    told: list[int] = []
    found = run(log(*range(9), cuts=[3, 6]), tell=told.append, stop=lambda: len(told) == 2)
    assert (told, found.partial, found.tallies[0].samples, found.last) == ([3, 6], True, 6, 5 * SECOND)
    whole = run(log(*range(9), cuts=[3, 6]), tell=told.append)
    assert (told[2:], whole.partial) == ([3, 6, 9], False)


SWINGING = [230, 230, 200, 180, 180, 200, 230, 230, 185, 230]


def counts(tally: Tally) -> tuple[Any, ...]:
    lasted = {(int(a), int(b)): int(tally.lasting[a, b]) for a, b in np.argwhere(tally.lasting)}
    return tally.changes.tolist(), lasted, tally.outside, dict(tally.hours), tally.spells, tally.open


@pytest.mark.parametrize("head", range(12))
def test_the_front_of_a_share_is_put_aside_and_both_are_the_whole(head: int) -> None:
    """Of ten samples: the front has as many as asked for and one that ends them, or all there are."""
    one = log(*range(10), volts=SWINGING)
    parts, whole = (LogPass(one, [made()], Running(), 3 * SECOND, many) for many in (head, 0))
    parts.whole()
    whole.whole()
    course, known = parts.courses[0], whole.courses[0]
    assert parts.front.times.tolist() == [at * SECOND for at in range(10)][: head + 1]
    assert parts.front.readings.tolist() == SWINGING[: head + 1]
    assert parts.end.times.tolist() == [9 * SECOND]
    aside = 0 < head < 9
    assert bool(course.head.lasting.any()) is aside
    if aside:
        assert course.head.lasting.sum() == head * SECOND
        assert course.at_head.standing >= 0
    course.head.join(course.tally)
    assert counts(course.head) == counts(known.tally)
    assert course.carried == known.carried


def test_readings_are_kept_in_a_kind_that_holds_them() -> None:
    kinds = [(np.int16, np.float32), (np.uint8, np.float32), (np.int32, np.float64), (np.int64, np.float64),
             (np.float32, np.float32), (np.float64, np.float64)]  # fmt: skip
    for given_kind, kept in kinds:
        found = stored(np.array([230, 17], given_kind))
        assert (found.dtype, found.tolist()) == (kept, [230, 17])


def test_between_two_chunks_the_last_reading_stands_in_its_own_kind() -> None:
    end = Stretch(np.array([5]), np.array([230.1], np.float32), NO_BREAKS)
    front = Stretch(np.array([9, 10]), np.array([7.0, 8.0], np.float64), NO_BREAKS)
    found = between(end, front)
    assert (found.times.tolist(), found.readings.dtype, found.readings.tolist()) == (
        [5, 9],
        np.float32,
        [np.float32(230.1)] * 2,
    )


def test_the_samples_before_a_gap_are_marked() -> None:
    one = Stretch(np.array([0, 3, 7, 10, 20]), np.zeros(5), NO_BREAKS)
    assert broken(one, 3).breaks.tolist() == [1, 3]
    assert broken(one, 10).breaks.tolist() == []
    assert broken(one, 9).breaks.tolist() == [3]


@pytest.mark.parametrize(("days", "parts"), [(2, 1), (4 * 366, 1), (4 * 366 + 1, 2), (9 * 366, 3)])
def test_a_stretch_of_years_is_counted_in_parts_of_four(days: int, parts: int) -> None:
    times = DAY * np.arange(days + 1)
    found = _lasting_years(Stretch(times, times / DAY, NO_BREAKS))
    assert len(found) == parts
    assert found[0].times[0] == 0
    assert found[-1].times[-1] == times[-1]
    for one, other in pairwise(found):
        assert one.times[-1] == other.times[0]
    assert all(part.times[-1] - part.times[0] <= AT_ONCE for part in found)
    assert all((part.readings * DAY == part.times).all() for part in found)


# --- in shares ---


def shared(one: Listed, ends: Sequence[int], head: int) -> tuple[object, list[int]]:
    """What shares join to, and which of them had to be run again."""
    edges, again = [0, *ends, len(one.samples)], list[int]()
    parts = [Listed(one.samples[low:high]) for low, high in pairwise(edges)]
    runs = [share_run(part, [made()], Running(), 3 * SECOND, head) for part in parts]

    def asked(number: int) -> Listed:
        again.append(number)
        return parts[number]

    kept = [each for each in runs if each is not None]
    return as_plain(joined(kept, Joining("a list", one, [made()], Running(), asked), 3 * SECOND)), again


def test_a_share_is_run_again_only_where_the_begin_is_not_forgotten() -> None:
    """At 189 V boost 2 and boost 1 both stay: who began there from switch-on is where the log may not be.

    Switched on at 189 V boost 2 is chosen, nearer to 230 V; come down from 200 V it is boost 1 that stays.
    """
    steady = log(*range(12))
    assert shared(steady, [4, 8], 2) == (as_plain(run(steady)), [])
    assert shared(steady, [4, 5], 2) == (as_plain(run(steady)), [1])  # of a single sample no course has begun
    kept = log(*range(12), volts=[200] * 3 + [189] * 9)
    assert shared(kept, [4, 8], 2) == (as_plain(run(kept)), [1, 2])
    forgotten = log(*range(12), volts=[200] * 3 + [189] * 6 + [230] * 3)
    assert shared(forgotten, [4, 8], 2) == (as_plain(run(forgotten)), [1])


# --- in pieces of work ---


@dataclass
class Watched:
    """Pieces one after the other, in this process, and which they were."""

    seen: list[Piece] = field(default_factory=list)

    def each(self, work: Callable[[Any], Any], pieces: Sequence[Any]) -> Iterator[Finished[Any]]:
        for place, piece in enumerate(pieces):
            self.seen.append(piece)
            yield Finished(place, work(piece))


def sites(monkeypatch: pytest.MonkeyPatch, *asked: Site) -> tuple[list[Any], list[tuple[str, bool]]]:
    """What comes of sites, and every piece that was run: its log, and whether it was a share."""
    done: list[tuple[str, bool]] = []
    ran = region.ran

    def watched(piece: Piece) -> Any:
        done.append((piece.log.name, piece.share))
        return ran(piece)

    monkeypatch.setattr(region, "ran", watched)
    told: list[tuple[int, int]] = []
    one = Region(given([made().table], None, None), Watched(), lambda number, of: told.append((number, of)))
    found = [as_plain(each) if isinstance(each, LogRun) else each for each in one.runs(asked)]
    assert told == [(number + 1, len(told)) for number in range(len(told))]
    return found, done


def part(name: str, one: Listed, low: int, high: int) -> Listed:
    return Listed(one.samples[low:high], name=name)


def test_shares_that_go_together_are_joined_and_nothing_is_run_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    one = log(*range(12), volts=[230] * 12)
    cut = Site(one, (part("first", one, 0, 6), part("second", one, 6, 12)))
    found, done = sites(monkeypatch, cut, Site(one))
    assert found == [as_plain(run(one))] * 2
    assert done == [("first", True), ("second", True), ("a list", False)]


def test_shares_that_took_other_gaps_are_run_in_one_go(monkeypatch: pytest.MonkeyPatch) -> None:
    one = log(*range(6), *range(10, 70, 10))
    found, done = sites(monkeypatch, Site(one, (part("first", one, 0, 6), part("second", one, 6, 12))))
    assert found == [as_plain(run(one))]
    assert done == [("first", True), ("second", True), ("a list", False)]


def test_shares_take_the_gap_that_is_asked_for() -> None:
    """Of two seconds, less a microsecond: from 7 to 9 s nothing is known."""
    one = log(*range(8), *range(9, 15))
    cut = Site(one, (part("first", one, 0, 6), part("second", one, 6, 14)))
    asked = Region(given([made().table], None, 2 * SECOND - 1), Watched())
    (found,) = asked.runs([cut])
    assert isinstance(found, LogRun)
    assert as_plain(found) == as_plain(run(one, max_gap=2 * SECOND - 1))
    assert found.tallies[0].gaps == 1


def test_a_share_without_a_sample_is_left_out_and_a_log_without_any_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    one = log(*range(12))
    empty = Listed([], [0], name="empty")
    whole = Site(one, (part("first", one, 0, 6), empty, part("second", one, 6, 12)))
    found, done = sites(monkeypatch, whole, Site(empty))
    assert found[0] == as_plain(run(one))
    assert isinstance(found[1], FailedLog)
    assert "found no sample" in found[1].why
    assert done == [("first", True), ("empty", True), ("second", True), ("empty", False)]


def test_what_a_course_carries_before_its_first_sample_is_nothing() -> None:
    assert LogPass(log(1), [made()], Running(), None).courses[0].carried == CarriedOn()
