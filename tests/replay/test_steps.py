"""The usual step: a median found while samples pass."""

from __future__ import annotations

from statistics import median

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.logs.spacing import spacing
from tapplan.replay import steps
from tapplan.replay.course import Stretch
from tapplan.replay.steps import Distances

distances = st.lists(
    st.one_of(st.integers(1, 50), st.integers(999_000, 1_001_000), st.integers(1, 10**13)), min_size=1, max_size=60
)


@given(distances, st.integers(0, 60))
def test_it_is_the_median_however_the_log_is_cut(found: list[int], cut: int) -> None:
    one, other = Distances(), Distances()
    one.add(np.array(found[:cut], np.int64))
    other.add(np.array(found[cut:], np.int64))
    one.join(other)
    assert one.median == int(median(sorted(found)) // 1)


@given(distances)
def test_spacing_is_the_least_and_the_most(found: list[int]) -> None:
    times = np.concatenate([[0], np.cumsum(np.array(found, np.int64))])
    spaced = spacing(times)
    assert (spaced.least, spaced.most) == (min(found), max(found))


@given(st.integers(1, 50), st.integers(2, 40), st.lists(st.integers(0, 2000), min_size=1, max_size=30), st.integers())
def test_a_known_step_tells_which_sample_stands(step: int, count: int, places: list[int], first: int) -> None:
    times = first % 10**15 + step * np.arange(count)
    at = times[0] + np.array(places) % (times[-1] - times[0] + 1)
    none = np.zeros(0, np.int64)
    known, not_known = (Stretch(times, times.astype(np.float64), none, one) for one in (step, 0))
    assert (
        known.begun(at).tolist() == not_known.begun(at).tolist() == [max(np.flatnonzero(times <= one)) for one in at]
    )
    before = [max(np.flatnonzero(times < one), default=-1) for one in at]
    assert known.before(at).tolist() == not_known.before(at).tolist() == before


def test_like_distances_are_counted_together() -> None:
    many, one_by_one = Distances(), Distances()
    many.add_same(20_000, 3)
    many.add(np.array([10, 10, 10, 50_000]))
    one_by_one.add(np.array([20_000] * 3 + [10] * 3 + [50_000]))
    assert many.median == one_by_one.median == 20_000


def test_no_distance_has_no_median() -> None:
    assert Distances().median == 0


def test_very_many_different_distances_are_taken_to_a_coarser_unit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(steps, "KEPT", 100)
    found = Distances()
    values = np.arange(1_000_000, 2_000_000, 997)
    found.add(values)
    assert found.unit > 1
    assert abs(found.median - int(np.median(values))) < found.unit
    fine = Distances()
    fine.add(np.array([3_000_000]))
    found.join(fine)
    assert found.median <= 3_000_000
    alike = Distances()
    alike.add(values)
    alike.add_same(5 * alike.unit, 10 * len(values))
    assert alike.median == 5 * alike.unit


def test_distances_far_apart_are_each_counted() -> None:
    """Two crowds ten thousand seconds apart, one beside both, and one crowd about the middle."""
    near = [1_000_000, 1_000_001, 1_000_001]
    far = [10_000_000_000, 10_000_000_005]
    found = Distances()
    found.add(np.array(near + far, np.int64))
    assert dict(found._counts) == {1_000_000: 1, 1_000_001: 2, 10_000_000_000: 1, 10_000_000_005: 1}
    assert found.median == 1_000_001
    spread = Distances()
    spread.add(np.array([1, 5_000_000, 5_000_000, 5_000_007, 5_000_001 + steps.COUNTED], np.int64))
    assert dict(spread._counts) == {1: 1, 5_000_000: 2, 5_000_007: 1, 5_000_001 + steps.COUNTED: 1}


@pytest.mark.parametrize("apart", [steps.COUNTED - 1, steps.COUNTED, steps.COUNTED + 1])
def test_distances_just_as_far_apart_as_are_counted_by_place(apart: int) -> None:
    found = Distances()
    found.add(np.array([7, 7 + apart, 7 + apart], np.int64))
    assert dict(found._counts) == {7: 1, 7 + apart: 2}
    halves = Distances()
    halves.add(np.array([7, 7 + apart // 2, 7 + apart], np.int64))
    assert dict(halves._counts) == {7: 1, 7 + apart // 2: 1, 7 + apart: 1}


def test_once_the_unit_is_coarser_what_comes_is_taken_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three different distances are kept; a fourth makes milliseconds of them."""
    monkeypatch.setattr(steps, "KEPT", 3)
    found = Distances()
    found.add(np.array([1000, 1001, 2000], np.int64))
    assert (found.unit, dict(found._counts)) == (1, {1000: 1, 1001: 1, 2000: 1})
    found.add(np.array([2001], np.int64))
    assert (found.unit, dict(found._counts)) == (1000, {1: 2, 2: 2})
    found.add(np.array([7_999, 7_000, 7_500, 7_001, 7_002], np.int64))
    found.add(np.zeros(0, np.int64))
    found.add_same(7_777, 2)
    assert (found.unit, dict(found._counts), found.median) == (1000, {1: 2, 2: 2, 7: 7}, 7000)


def test_joined_to_a_coarser_part_it_is_taken_to_its_unit() -> None:
    coarse, fine = Distances(), Distances()
    coarse.unit = 1000
    coarse.add_same(5_000, 2)
    fine.add(np.array([5_999, 8_000], np.int64))
    fine.join(coarse)
    assert (fine.unit, dict(fine._counts)) == (1000, {5: 3, 8: 1})
    again = Distances()
    again.unit = 1000
    other = Distances()
    other.add(np.array([5_999, 8_000, 9_001], np.int64))
    again.join(other)
    assert (again.unit, dict(again._counts), again.median) == (1000, {5: 1, 8: 1, 9: 1}, 8_000)
