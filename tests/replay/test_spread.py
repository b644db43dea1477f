"""Histograms, percentiles and means over time, by hand."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from tapplan.replay.spread import PERCENTS, PERCENTS_TOLD, VoltSpread, mains_spread, output_spread
from tapplan.replay.tally import MeanLimits, Tally
from tapplan.replay.volts import Grain

F = Fraction
FOUR = VoltSpread(np.array([200.0, 210.0, 230.0, 250.0]), np.array([10, 30, 40, 20]))


@pytest.mark.parametrize(
    ("percent", "volts"),
    [("0", 200), ("1", 200), ("10", 200), ("10.5", 210), ("40", 210), ("41", 230), ("80", 230), ("80.01", 250),
     ("100", 250)],
)  # fmt: skip
def test_a_percentile_is_the_least_volts_that_so_much_of_the_time_does_not_exceed(percent: str, volts: int) -> None:
    assert FOUR.percentile(F(percent)) == volts


def test_percents_are_told_from_none_to_all() -> None:
    assert (*PERCENTS, 100) == PERCENTS_TOLD
    assert list(PERCENTS_TOLD) == sorted(set(PERCENTS_TOLD))
    assert {0, 1, 5, 25, 50, 75, 95, 99, 100} == set(PERCENTS_TOLD)  # those of the reports


def test_the_mean_distance_and_the_mean_between_two_voltages() -> None:
    """30 x 10, 20 x 30, 20 x 20 of 100 from 230 V. From 210 to 250 V, that left out: (210 x 30 + 230 x 40)/70."""
    assert FOUR.off(230.0) == 13.0
    assert FOUR.middle(210.0, 250.0) == pytest.approx((210 * 30 + 230 * 40) / 70)
    assert FOUR.middle(210.0000000001, 250.0000000001) == pytest.approx((210 * 30 + 230 * 40) / 70)
    assert FOUR.middle(210.001, 250.001) == pytest.approx((230 * 40 + 250 * 20) / 60)
    assert FOUR.middle(211.0, 229.0) is None


def test_bins_are_numbered_by_their_lower_ends() -> None:
    assert FOUR.bins(20.0) == {10: 40, 11: 40, 12: 20}
    assert FOUR.bins(100.0) == {2: 100}
    assert VoltSpread(np.array([0.3, 0.6]), np.array([1, 2])).bins(0.1) == {3: 1, 6: 2}


def stood() -> Tally:
    """Row 0 at 100 and 102 grains, row 1 at 102, away at 150; nothing below 100."""
    found = Tally(3, MeanLimits(0, 0, (), 0.0, 0.0))
    for (row, grain), lasted in {(0, 100): 1, (0, 102): 2, (1, 102): 4, (2, 150): 8}.items():
        found.lasting[row, grain] = lasted
    return found.trimmed()


def test_the_mains_are_counted_whatever_stood_and_the_output_only_in_a_row() -> None:
    """A grain is half a volt; row 0 doubles and row 1 halves."""
    mains = mains_spread(stood(), Grain(F(1, 2)))
    assert (mains.volts.tolist(), mains.lasting.tolist()) == ([50.0, 51.0, 75.0], [1, 6, 8])
    output = output_spread(stood(), Grain(F(1, 2)), (F(2), F(1, 2), F(0)))
    assert (output.volts.tolist(), output.lasting.tolist()) == ([25.5, 100.0, 102.0], [4, 1, 2])
