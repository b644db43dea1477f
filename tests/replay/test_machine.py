"""A design made ready for logs: its names and ratios, and within what its ten-minute means are to stay."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from tapplan.control.table import control_table
from tapplan.replay.machine import Machine, machine
from tapplan.replay.segments import INTERVAL
from tapplan.replay.zone import Zone
from tests.checks.test_rules import sound

F = Fraction


def made(into_v: int = 230, out_v: int = 230, zone: Zone | None = None) -> Machine:
    one = sound()
    one = replace(one, mains=replace(one.mains, nominal_v=F(into_v)), output=replace(one.output, nominal_v=F(out_v)))
    return machine(control_table(one), zone)


def test_standings_by_name_and_ratio_being_away_as_the_last() -> None:
    one = made()
    assert one.names == ("boost 2", "boost 1", "direct", "away")
    assert one.ratios == (F("1.29"), F("1.135"), 1, 0)
    assert one.zone == Zone()
    assert made(zone=Zone("Europe/Berlin")).zone == Zone("Europe/Berlin")
    assert one.tally().standings == 4
    assert one.tally().window is one.window


def test_means_are_to_stay_within_a_tenth_of_nominal_in_and_out() -> None:
    """207 to 253 V at the inlet of 230 V, in hundredths; 216 to 264 V at the output of 240 V. Squared, by time."""
    window = made(out_v=240).window
    assert (window.least, window.most) == (20_700**2 * INTERVAL, 25_300**2 * INTERVAL)
    assert (window.out_least, window.out_most) == (float(21_600**2 * INTERVAL), float(26_400**2 * INTERVAL))
    assert window.amplified == (float(F("1.29") ** 2), float(F("1.135") ** 2), 1.0, 0.0)


def test_limits_between_two_whole_numbers_are_the_whole_numbers_inside() -> None:
    """0.9 times 231 V are 20790 hundredths; of 230 1/3 V nine tenths are 20730 exactly, eleven 25336 2/3."""
    one = sound()
    thirds = replace(one, mains=replace(one.mains, nominal_v=F(691, 3)))
    window = machine(control_table(thirds)).window
    exact = [(F(tenths, 10) * F(691, 3) * 100) ** 2 * INTERVAL for tenths in (9, 11)]
    assert 0 <= window.least - exact[0] < 1
    assert 0 <= exact[1] - window.most < 1


def test_cells_are_made_once_for_each_scale_and_kind() -> None:
    one, kind = made(), np.dtype(np.float64)
    first = one.cells(F(1), kind)
    assert one.cells(F(1), kind) is first
    assert one.cells(F(1, 10), kind) is not first
    assert one.cells(F(1), np.dtype(np.float32)) is not first
    assert one.cells(F(1, 10), kind).begins[0, 1] == 10 * first.begins[0, 1]
