"""Draws put in by hand: which band holds each, what it gives, what counts as outside."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from tapplan.checks import samples as module
from tapplan.checks.review import Review, review
from tapplan.checks.samples import Drawn, Samples, samples
from tapplan.network.turns import Kind, NoGain
from tests.checks.test_margins import stage, weak

F = Fraction


class Dealt:
    """Draws in a fixed order: the line, the error of its reading as a factor, the pick among bands, the load."""

    def __init__(self, *each: list[float]) -> None:
        self.each = list(each)

    def uniform(self, _low: float, _high: float, size: int) -> object:
        dealt = np.array(self.each.pop(0))
        assert dealt.size == size
        return dealt


def dealt(monkeypatch: pytest.MonkeyPatch, reviewed: Review, *each: list[float]) -> Samples:
    monkeypatch.setattr(np.random, "default_rng", lambda _seed: Dealt(*each))
    return samples(reviewed, len(each[0]), 1)


def without(reviewed: Review, number: int) -> Review:
    """The same with one row whose output is open."""
    rows = list(reviewed.table.rows)
    open_state = replace(rows[number].state, outcome=NoGain(Kind.FLOATING, "nothing feeds the output"))
    rows[number] = replace(rows[number], state=open_state, full=None)
    return replace(reviewed, table=replace(reviewed.table, rows=tuple(rows)))


def test_of_bands_that_hold_a_reading_the_pick_takes_one_and_an_end_still_holds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Held 165 to 191, 187 to 216, 212 to 244 V at 1.29, 1.135 and 1; where two hold, half of the picks each."""
    line = [165, 189, 189, 191, 187, 191.5, 244, 244.5, 164.5]
    pick = [0.9, 0.49, 0.51, 0.6, 0.2, 0.7, 0.5, 0.5, 0.5]
    found = dealt(monkeypatch, review(stage()), line, [1.0] * 9, pick, [0.5] * 9)
    assert ([one.count for one in found.bands], found.unheld) == ([3, 3, 1], 2)
    lowest, middle, top = (one.volts for one in found.bands)
    assert lowest is not None
    assert middle is not None
    assert (lowest[0], lowest[2], lowest[4]) == pytest.approx((165 * 1.29, 187 * 1.29, 189 * 1.29))
    assert (middle[0], middle[2], middle[4]) == pytest.approx((189 * 1.135, 191 * 1.135, 191.5 * 1.135))
    assert top == (244, 244, 244, 244, 244)


def test_a_reading_that_errs_takes_another_band_and_the_load_pulls_down_its_output(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A true 190 V read 3 % high is held by boost 1 alone; at full load it gives the ratio of full load."""
    reviewed = review(weak(stage()))
    row = reviewed.table.rows[1]
    assert row.ratio is not None
    assert row.full is not None
    assert row.full < row.ratio
    found = dealt(monkeypatch, reviewed, [190.0, 190.0], [1.03, 1.03], [0.1, 0.1], [0.0, 1.0])
    assert [one.count for one in found.bands] == [0, 2, 0]
    assert found.bands[1].volts is not None
    assert (found.bands[1].volts[0], found.bands[1].volts[4]) == pytest.approx((190 * row.full, 190 * row.ratio))
    assert found.bands[0] == Drawn(reviewed.table.rows[0], 0, None, 0, 0)


def test_what_counts_as_outside_begins_beyond_the_window_and_beyond_the_worst_case(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Direct: window 207 to 253 V, at worst 211.5/1.01 V up to the 240 V promised; a part in 10^9 is rounding."""
    low = 211.5 / 1.01
    line = [207.0, 206.9, 240.0, 240.0 * (1 + 5e-10), 240.0 * (1 + 3e-9), low, low * (1 - 5e-10), low * (1 - 3e-9)]
    read = [220 / one for one in line]
    found = dealt(monkeypatch, review(stage()), line, read, [0.5] * 8, [0.0] * 8).bands[2]
    assert (found.count, found.outside_window, found.outside_worst) == (8, 1, 4)
    line = [253.0, 253.1]
    found = dealt(monkeypatch, review(stage()), line, [220 / 253, 220 / 253.1], [0.5] * 2, [0.0] * 2).bands[2]
    assert (found.count, found.outside_window, found.outside_worst) == (2, 1, 2)


def test_levels_are_the_lowest_those_at_1_50_and_99_percent_and_the_highest(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred and one draws of 217 to 242 V, a quarter of a volt apart, straight through."""
    line = [217 + one / 4 for one in range(101)]
    found = dealt(monkeypatch, review(stage()), line, [1.0] * 101, [0.5] * 101, [0.0] * 101).bands[2]
    assert found.volts == pytest.approx((217, 217.25, 229.5, 241.75, 242))


def test_all_draws_of_a_band_with_an_open_output_are_outside_the_window(monkeypatch: pytest.MonkeyPatch) -> None:
    reviewed = without(review(stage()), 2)
    found = dealt(monkeypatch, reviewed, [230.0, 231.0], [1.0, 1.0], [0.5, 0.5], [0.0, 0.0])
    assert found.bands[2] == Drawn(reviewed.table.rows[2], 2, None, 2, 0)
    assert found.unheld == 0


def test_a_table_without_bands_holds_no_draw() -> None:
    reviewed = review(stage())
    empty = replace(reviewed, table=replace(reviewed.table, rows=()))
    assert samples(empty, 5, 7) == Samples(5, 7, (), 5)


@pytest.mark.parametrize("count", [1, 3, 4, 7])
def test_every_draw_is_counted_once_however_many_are_made_at_a_time(
    monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    monkeypatch.setattr(module, "_SLICE", 3)
    found = samples(review(stage()), count, 7)
    assert (found.count, found.seed) == (count, 7)
    assert sum(one.count for one in found.bands) + found.unheld == count
