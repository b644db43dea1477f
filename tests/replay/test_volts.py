"""The grain in which volts are counted."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.replay.spread import VoltSpread
from tapplan.replay.volts import GRAINS, Grain, grain_for, grains


@pytest.mark.parametrize(
    ("nominal", "volts"), [(230, "0.01"), (120, "0.01"), (480, "0.01"), (600, "0.1"), (24, "0.001"), (11000, "1")]
)
def test_the_grain_reaches_two_and_a_half_times_nominal(nominal: int, volts: str) -> None:
    grain = grain_for(Fraction(nominal))
    assert grain.volts == Fraction(volts)
    assert grain.volts * GRAINS >= Fraction(5, 2) * nominal


@given(st.integers(0, 130_000), st.sampled_from([np.float64, np.float32]))
def test_two_decimals_are_whole_grains(hundredths: int, kind) -> None:  # type: ignore[no-untyped-def]
    found = grains(np.array([hundredths / 100], kind), Grain(Fraction(1, 100)).factor(Fraction(1)))
    assert found.tolist() == [hundredths]


def test_what_is_beyond_the_last_counts_as_the_last() -> None:
    assert grains(np.array([1e9]), 100.0).tolist() == [GRAINS - 1]


@given(st.lists(st.integers(1, 9), min_size=1, max_size=9), st.integers(0, 100))
def test_percentiles_are_the_inverted_distribution(lasting: list[int], percent: int) -> None:
    volts = np.arange(len(lasting)) * 1.5
    wanted = np.quantile(volts, percent / 100, method="inverted_cdf", weights=lasting)
    assert VoltSpread(volts, np.array(lasting)).percentile(Fraction(percent)) == wanted


def test_nothing_has_no_percentile() -> None:
    empty = VoltSpread(np.zeros(0), np.zeros(0, np.int64))
    assert empty.percentile(Fraction(50)) is None
    assert empty.off(230.0) is None
    assert empty.bins(1.0) == {}
