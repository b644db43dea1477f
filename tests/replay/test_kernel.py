"""The text of the compiled engine run as Python, with a compiler that leaves functions as they are.

So each function of it is asked by itself, at once, and where numba is not installed too; that the compiler makes the
same of them is asked with whole logs in `test_replayed`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from importlib.util import module_from_spec, spec_from_file_location
from itertools import pairwise
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

from tapplan.replay import course
from tapplan.replay.course import Stretch
from tapplan.replay.engines import NUMPY, Backend
from tapplan.replay.profile import Profile
from tapplan.replay.profile import profile as in_numpy
from tapplan.replay.segments import Segments
from tapplan.replay.volts import GRAINS
from tests.replay.against import Listed, drawn_logs
from tests.replay.test_replayed import found, wanted

ASKED: list[dict[str, bool]] = []  # of the compiler, function by function


def njit(**asked: bool) -> Callable[[Any], Any]:
    ASKED.append(asked)
    return lambda function: function


def in_python() -> ModuleType:
    """The module, its functions not compiled."""
    fake = ModuleType("numba")
    fake.njit = njit  # type: ignore[attr-defined]
    spec = spec_from_file_location("tapplan.replay.kernel_in_python", Path(course.__file__).with_name("kernel.py"))
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    with patch.dict(sys.modules, {"numba": fake}):
        spec.loader.exec_module(module)
    return module


KERNEL = in_python()
PLAIN = Backend(KERNEL.COMPILED, KERNEL.profile)
NONE = np.zeros(0, np.int64)
INF = float("inf")


@pytest.fixture(autouse=True)
def wrapping() -> Iterator[None]:
    """Unsigned numbers run over on purpose, as they do compiled."""
    with np.errstate(over="ignore"):
        yield


def seen_of(readings: Any, *begins: list[float], kind: Any = np.float64) -> Any:
    """What the engine sees of readings, with the begins of the cells of each standing."""
    stored = np.array(readings, kind)
    unsigned = np.uint32 if kind is np.float32 else np.uint64
    edges = np.array(begins, kind)
    return stored, stored.view(unsigned), edges, np.maximum(edges, 0).view(unsigned)


def test_every_function_leaves_other_threads_running_and_is_kept_for_the_next_process() -> None:
    """Logs run side by side in threads, and compiling takes longer than most logs."""
    assert len(ASKED) >= 9
    assert all(one == {"nogil": True, "cache": True} for one in ASKED)


@pytest.mark.parametrize(
    ("reading", "cells"), [(-1, (0, 0)), (9.9, (0, 0)), (10, (1, 0)), (19.9, (1, 1)), (20, (2, 1)), (1e9, (2, 2))]
)
def test_a_reading_lies_in_the_last_cell_that_has_begun(reading: float, cells: tuple[int, int]) -> None:
    seen = seen_of([15, reading], [-INF, 10, 20, INF], [-INF, 15, 21, INF])
    assert tuple(KERNEL.cell_at(seen, number, 1) for number in (0, 1)) == cells
    assert tuple(KERNEL.cell_at(seen, number, 0) for number in (0, 1)) == (1, 1)


def test_a_cell_without_readings_is_passed_over() -> None:
    """As many columns as the standing with the most cells has; what is beyond the last is infinite."""
    seen = seen_of([5, 10], [-INF, 10, INF, INF])
    assert [KERNEL.cell_at(seen, 0, sample) for sample in (0, 1)] == [0, 1]


@pytest.mark.parametrize("kind", [np.uint32, np.uint64])
@pytest.mark.parametrize("outside", [0, 9, 15, 2**31])
@pytest.mark.parametrize(("length", "place", "sample"), [
    (300, 0, 0), (300, 63, 0), (300, 64, 0), (300, 200, 0), (300, 200, 9), (300, 9, 10), (300, 299, 0),
    (300, 298, 44), (63, 3, 0), (64, 63, 0), (64, 9, 1), (320, 319, 0), (0, None, 0),
    (64, None, 64), (256, None, 0), (300, None, 7),
])  # fmt: skip
def test_quiet_blocks_are_passed_over_up_to_the_one_that_holds_a_reading_outside(
    kind: Any, outside: int, length: int, place: int | None, sample: int
) -> None:
    """Inside are 10 to 14. Blocks of 64 count from the sample on; a rest of fewer is not looked at."""
    bits = np.array([10 + number % 5 for number in range(length)], kind)
    if place is not None:
        bits[place] = outside
    whole = (length - sample) // 64
    quiet = whole if place is None or place < sample else min(whole, (place - sample) // 64)
    assert KERNEL.quiet_to(bits, kind(10), kind(5), sample) == sample + 64 * quiet


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_the_first_reading_that_leaves_a_cell_is_found(kind: Any) -> None:
    """Against looking at each; readings at both ends of the cell, far off, and nought with a minus."""
    chance, left = Random(3), 0
    for _ in range(60):
        length = chance.choice((1, 2, 63, 64, 65, 128, 129, 200, 400))
        readings = [chance.choice((10.0, 12.5, 19.75)) for _ in range(length)]
        for _ in range(chance.choice((0, 1, 1, 3))):
            readings[chance.randrange(length)] = chance.choice((20.0, 9.75, -0.0, 0.0, 1e6))
        seen = seen_of(readings, [-INF, 10, 20, INF], kind=kind)
        for cell, (low, high) in enumerate(((-INF, 10), (10, 20), (20, INF))):
            sample = chance.randrange(length)
            later = [at for at in range(sample + 1, length) if not low <= readings[at] < high]
            assert KERNEL.leaves(seen, 0, cell, sample) == min(later, default=length)
            left += bool(later)
    assert left > 50


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_a_nought_with_a_minus_leaves_nothing(kind: Any) -> None:
    seen = seen_of([0.0] + [-0.0] * 200 + [10], [-INF, 10, INF], kind=kind)
    assert KERNEL.leaves(seen, 0, 0, 0) == 201
    assert KERNEL.leaves(seen_of([5.0] * 200, [-INF, 10, INF], kind=kind), 0, 0, 0) == 200


def test_the_sample_that_stands_at_a_time_is_the_last_begun_among_those_asked() -> None:
    times, asked = np.array([0, 10, 20, 20, 30, 50]), 0
    for low in range(6):
        for high in range(low, 6):
            for time in range(0, 60, 5):
                begun = [at for at in range(low, high + 1) if times[at] <= time]
                assert KERNEL.standing_at(times, time, low, high) == max(begun, default=low)
                asked += 1
    assert asked == 21 * 12


def test_a_reading_in_grains_is_rounded_half_upward_and_ends_with_the_last() -> None:
    assert [int(KERNEL._one(one, 100.0)) for one in (0.0, 2.304, 2.305, 1e9)] == [0, 230, 231, GRAINS - 1]
    assert KERNEL._one(2.3, 100.0).dtype == np.int32


def test_a_sample_begins_a_step_after_the_one_before_or_where_its_time_says() -> None:
    times = np.array([5, 15, 26])
    assert [KERNEL._begun(times, 0, at) for at in range(3)] == [5, 15, 26]
    assert [KERNEL._begun(times, 10, at) for at in range(3)] == [5, 15, 25]
    assert KERNEL._begun(times, 1, 2) == 7


@pytest.mark.parametrize("count", [1, 5, 4096, 4097, 9000])
def test_readings_that_stand_alike_are_counted_and_squared(count: int) -> None:
    """Of whole volts 3, 4, ...; in parts of 4096. Least and most go on from what they were."""
    readings = 3.0 + np.arange(count) % 97
    counts, room = np.zeros(GRAINS, np.int64), (np.array([50, 20], np.int64), np.empty(4096, np.int32))
    total = KERNEL._alike(readings, 1.0, counts, room)
    assert total == sum(int(one) ** 2 for one in readings)
    assert counts.sum() == count
    assert {int(place): int(counts[place]) for place in np.flatnonzero(counts)} == {
        int(value): int((readings == value).sum()) for value in np.unique(readings)
    }
    assert room[0].tolist() == [min(50, 3), max(20, int(readings.max()))]


# --- the profile, against counting each microsecond ---

Profiler = Callable[[Stretch, float, Segments, Any], Profile]


def profiled(made: Profiler, stretch: Stretch, parts: list[tuple[int, int, int]]) -> tuple[Any, ...]:
    """Squares, least, most and what lasted, of parts of (begin, end, standing), in grains of a tenth."""
    begins, ends, standings = (np.array(column, np.int64) for column in zip(*parts, strict=True))
    lasting = np.zeros((3, GRAINS), np.int64)
    nothing = np.zeros(len(parts), np.int64)
    cut = Segments(begins, ends, standings, nothing > 0, nothing, nothing, stretch.begun(begins),
                   stretch.before(ends), nothing)  # fmt: skip
    shown = made(stretch, 10.0, cut, lasting)
    lasted = {(int(a), int(b)): int(lasting[a, b]) for a, b in np.argwhere(lasting)}
    return shown.squares.tolist(), shown.least.tolist(), shown.most.tolist(), lasted


def counted(stretch: Stretch, parts: list[tuple[int, int, int]]) -> tuple[Any, ...]:
    times, volts = stretch.times.tolist(), stretch.readings.tolist()
    squares, least, most = [], [], []
    lasted: dict[tuple[int, int], int] = {}
    for begin, end, standing in parts:
        stood = [round(10 * volts[max(n for n, at in enumerate(times) if at <= time)]) for time in range(begin, end)]
        squares.append(sum(one * one for one in stood))
        least.append(min(stood))
        most.append(max(stood))
        for one in stood:
            lasted[standing, one] = lasted.get((standing, one), 0) + 1
    return squares, least, most, lasted


@pytest.mark.parametrize("made", [in_numpy, KERNEL.profile], ids=["numpy", "kernel"])
@pytest.mark.parametrize("step", [0, 10])
def test_a_profile_by_hand(made: Profiler, step: int) -> None:
    """1, 2, 3, 2 V of ten microseconds each; from 5 to 35: 5 us, 10, 10 and 5 of them, 1 x 5 + 4 x 15 + 9 x 10."""
    stretch = Stretch(np.arange(0, 50, 10), np.array([0.1, 0.2, 0.3, 0.2, 0.9]), NONE, step)
    assert profiled(made, stretch, [(5, 35, 2)]) == ([155], [1], [3], {(2, 1): 5, (2, 2): 15, (2, 3): 10})
    assert profiled(made, stretch, [(0, 10, 0), (10, 40, 1)]) == (
        [10, 4 * 20 + 9 * 10], [1, 2], [1, 3], {(0, 1): 10, (1, 2): 20, (1, 3): 10},
    )  # fmt: skip
    assert profiled(made, stretch, [(0, 12, 1), (12, 17, 0), (17, 40, 1)]) == (
        [10 + 8, 20, 12 + 90 + 40], [1, 2, 2], [2, 2, 3], {(1, 1): 10, (1, 2): 15, (1, 3): 10, (0, 2): 5},
    )  # fmt: skip


@pytest.mark.parametrize("made", [in_numpy, KERNEL.profile], ids=["numpy", "kernel"])
def test_a_sample_before_a_gap_stands_for_the_end_of_its_segment_alone(made: Profiler) -> None:
    """Between 20 and 90 there is a gap, in no segment; the sample of 20 stands for no time."""
    stretch = Stretch(np.array([0, 10, 20, 90, 100]), np.array([0.1, 0.2, 0.5, 0.3, 0.9]), np.array([2]), 0)
    assert profiled(made, stretch, [(0, 20, 0), (90, 100, 1)]) == (
        [10 + 40, 90], [1, 3], [2, 3], {(0, 1): 10, (0, 2): 10, (1, 3): 10},
    )  # fmt: skip


@pytest.mark.parametrize("made", [in_numpy, KERNEL.profile], ids=["numpy", "kernel"])
@pytest.mark.parametrize("even", [True, False])
def test_a_profile_is_what_every_microsecond_adds_up_to(made: Profiler, even: bool) -> None:
    chance, many = Random(7), 0
    for number in range(25):
        count, step = chance.randint(2, 12), 1 + number % 9
        distances = [step if even else chance.randint(1, 9) for _ in range(count - 1)]
        times = 1000 + np.concatenate([[0], np.cumsum(distances)])
        volts = np.array([chance.choice((0.1, 0.4, 0.7, 2.0)) for _ in range(count)])
        stretch = Stretch(times, volts, NONE, step if even else 0)
        inner = (chance.randint(1000, int(times[-1])) for _ in range(number % 4))
        edges = sorted({1000, int(times[-1]), *inner})
        parts = [(begin, end, chance.randrange(3)) for begin, end in pairwise(edges)]
        assert profiled(made, stretch, parts) == counted(stretch, parts)
        many += len(parts)
    assert many > 40


def test_what_has_been_counted_is_left_at_nought_for_the_next_pass() -> None:
    stretch = Stretch(np.arange(0, 100, 10), np.full(10, 0.3), NONE, 10)
    both = [profiled(KERNEL.profile, stretch, [(0, 90, 1)]) for _ in range(2)]
    assert both[0] == both[1] == ([9 * 90], [3], [3], {(1, 3): 90})
    assert not KERNEL._counts(3).any()
    assert KERNEL._counts(5).shape[0] >= 5
    assert KERNEL._counts(1) is KERNEL._counts(5)


# --- whole logs ---


@pytest.mark.parametrize("engine", [PLAIN, NUMPY], ids=["kernel", "numpy"])
def test_a_short_log_gives_what_the_plain_loop_gives(engine: Backend) -> None:
    changes = 0
    for one in drawn_logs(6, most_rows=60):
        expected = wanted(one.both, one.samples, one.gap)
        assert found(one.both, Listed(one.samples, kind=one.chance.choice((np.float32, np.float64))), one.gap,
                     engine) == expected  # fmt: skip
        changes += sum(expected.changes.values()) if expected is not None else 0
    assert changes > 50


def test_volts_beyond_the_last_grain_are_counted_as_the_last() -> None:
    stretch = Stretch(np.arange(0, 60, 10), np.full(6, 1e9), NONE, 10)
    squares, least, most, lasted = profiled(KERNEL.profile, stretch, [(0, 50, 1)])
    assert (squares, least, most) == ([50 * (GRAINS - 1) ** 2], [GRAINS - 1], [GRAINS - 1])
    assert lasted == {(1, GRAINS - 1): 50}
