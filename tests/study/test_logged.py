"""What logs weigh, by hand; and plans tried on them, against a replay of the design written."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.errors import LogError
from tapplan.exact import Span
from tapplan.replay.clock import MINUTE, SECOND
from tapplan.replay.zone import Zone
from tapplan.study.logged import MOST_PLANS, tried_on, weights_of
from tapplan.study.recording import Recording, recorded
from tapplan.study.request import InletWeight
from tests.examples import ROOT
from tests.replay.against import Listed

F = Fraction
ONE = Fraction(1)
MAINS = Span(F(180), F(260))


def log(*volts: str, scale: Fraction = ONE, kind: type = np.float64) -> Recording:
    return recorded(Listed([(MINUTE * n, F(one)) for n, one in enumerate(volts)], (), scale, kind), 100)


def test_each_volt_weighs_the_seconds_it_stood_at_its_mean() -> None:
    found = weights_of([log("230.2", "230.8", "230.8", "231", "179.9", "260.1")], MAINS, F(230))
    assert found.weights == (InletWeight(F("230.6"), F(180)), InletWeight(F(231), F(60)))
    assert (found.observed, found.outside) == (360 * SECOND, 120 * SECOND)


def test_the_ends_of_the_range_count_and_no_mean_lies_beyond_them() -> None:
    short = log("260", "180", scale=F(1, 10), kind=np.float32)
    found = weights_of([short], Span(F(180), F(260)), F(230))
    assert [one.volts for one in found.weights] == [180, 260]
    assert found.outside == 0
    odd = weights_of([log("200.004")], Span(F("200.001"), F("200.0041")), F(230))
    assert [one.volts for one in odd.weights] == []  # a single sample stands for no time


def test_several_logs_add_up_and_gaps_do_not() -> None:
    gappy = recorded(Listed([(0, F(230)), (MINUTE, F(230)), (30 * MINUTE, F(231)), (31 * MINUTE, F(231))]), 100)
    found = weights_of([gappy, log("230", "230", "230")], MAINS, F(230))
    assert found.weights == (InletWeight(F(230), F(60 + 180)), InletWeight(F(231), F(120)))


def test_a_log_of_other_mains_weighs_nothing() -> None:
    with pytest.raises(LogError, match="no reading in the mains range, 180 to 260 V"):
        weights_of([log("230", "231"), log("110", "111")], MAINS, F(230))


def test_plans_are_tried_in_order_until_told_to_stop() -> None:
    table = control_table(load(ROOT / "designs" / "ridge-dispensary.toml"))
    one = log("230", "250", "228", "160")
    found = tried_on([one, one], [table] * (MOST_PLANS + 2), Zone(), lambda: False)
    assert len(found) == MOST_PLANS
    assert [int(run.tallies[0].changes.sum()) for run in found[0].runs] == [3, 3]
    assert tried_on([one], [table] * 3, Zone(), lambda: True) == ()
    asked = iter([False, False, True])  # before and within the first plan's run, then before the second's
    assert len(tried_on([one], [table] * 3, Zone(), lambda: next(asked))) == 1
    assert tried_on([one], [], Zone(), lambda: False) == ()
