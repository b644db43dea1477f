"""The grid of a handover, its ends and its overlaps, worked out by hand; a table with other thresholds."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.control.table import control_table
from tapplan.control.thresholds import Handover
from tapplan.design.file import load, parse
from tapplan.study.handovers import Thresholds, grid_step, restated, rooms_in
from tests.examples import ROOT, SHIPPED
from tests.study.handed import TwoBands

F = Fraction
ONE = TwoBands(30, "input", F(1, 2), F(1), F(5), 0, "", F(207), F(201))


def table_of(one: TwoBands) -> Thresholds:
    return Thresholds(control_table(parse(one.whole, "two.toml")))


def test_the_room_of_a_handover_by_hand() -> None:
    """Boost 1.15: at most 0.995 * 242/1.15 - 0.5 = 208.8782...; direct: at least 1.005 * 198 + 0.5 = 199.49."""
    (room,) = table_of(ONE).rooms
    assert (room.most_upper, room.least_lower) == (F(995, 1000) * 242 * F(200, 230) - F(1, 2), F("199.49"))
    assert (room.least_overlap, room.noise, room.step) == (5, 1, F(1, 10))
    assert (room.uppers[0], room.uppers[-1]) == (F("204.5"), F("208.8"))
    assert (room.lowers[0], room.lowers[-1]) == (F("199.5"), F("203.8"))
    assert room.uppers == tuple(F(n, 10) for n in range(2045, 2089))
    assert room.overlap(Handover(F("208.8"), F("199.5"))) == F("9.3")
    assert room.allows(Handover(F("206"), F("201")))
    assert not room.allows(Handover(F("206"), F("201.1")))


def test_every_pair_is_that_of_the_plain_search() -> None:
    for one in (ONE, replace(ONE, at="output", upper=F(238))):
        (room,) = table_of(one).rooms
        pairs = {(up, low) for up in room.uppers for low in room.lowers if room.allows(Handover(up, low))}
        assert pairs == set(one.pairs())


def test_read_at_the_output_overlaps_are_in_input_volts() -> None:
    (room,) = table_of(replace(ONE, at="output", upper=F(238))).rooms
    assert room.overlap(room.now) == 238 / F(115, 100) - 201
    assert room.noise == F(1, 2) * (100 / F(115) + 1)


def test_less_hysteresis_than_wanted_need_not_grow_and_does_not_shrink() -> None:
    (room,) = table_of(replace(ONE, upper=F(204), lower=F(201))).rooms
    assert room.least_overlap == 3
    assert not room.allows(Handover(F("203.9"), F("201")))


def test_without_hysteresis_wanted_the_noise_is_still_beaten() -> None:
    (room,) = table_of(replace(ONE, hysteresis=F(0))).rooms
    assert room.allows(Handover(F("203.1"), F("202")))
    assert not room.allows(Handover(F("203"), F("202")))


def test_an_overlap_within_the_noise_does_not_shrink() -> None:
    (room,) = table_of(replace(ONE, hysteresis=F(0), upper=F(202), lower=F("201.5"))).rooms
    assert room.allows(Handover(F("202.1"), F("201.6")))
    assert not room.allows(Handover(F("202.1"), F("201.7")))


def test_a_threshold_beyond_the_room_may_stay_there() -> None:
    """209.5 V lies above the most, 208.88 V: a fault that is there, and is made no worse."""
    (room,) = table_of(replace(ONE, upper=F("209.5"))).rooms
    assert room.uppers[-1] == room.most_upper == F("209.5")
    narrow = room.within(F("209.5"), F("200.3"))
    assert (narrow.lowers[0], set(narrow.uppers) <= set(room.uppers)) == (F("200.3"), True)


@pytest.mark.parametrize(
    ("read", "step"), [(F(1), F(1, 10)), (F(4, 10), F(1, 10)), (F(3, 10), F(1, 20)), (F(1, 20), F(1, 100))]
)
def test_the_grid_is_a_tenth_of_a_volt_or_a_quarter_of_an_input_volt(read: Fraction, step: Fraction) -> None:
    assert grid_step(read) == step


def test_other_thresholds_leave_outer_ends_and_states() -> None:
    thresholds = Thresholds(control_table(load(ROOT / "designs" / "ridge-dispensary.toml")))
    assert thresholds.now == (Handover(192, 189), Handover(217, 214), Handover(245, 242))
    moved = thresholds.moved([Handover(F(193), F(188)), *thresholds.now[1:]])
    assert [(row.hold.low, row.hold.high) for row in moved.rows] == [(166, 193), (188, 217), (214, 245), (242, 277)]
    assert (moved.rows[0].kept.low, moved.rows[-1].kept.high) == (164, 281)  # as `leave_v` has it
    assert [row.state for row in moved.rows] == [row.state for row in thresholds.table.rows]


def test_rows_keep_their_order() -> None:
    thresholds = Thresholds(control_table(load(ROOT / "designs" / "ridge-dispensary.toml")))
    first, second, third = thresholds.now
    assert thresholds.ordered(thresholds.now)
    assert not thresholds.ordered([first, Handover(F(192), F(214)), third])  # boost 1 would end where boost 2 does
    assert not thresholds.ordered([first, Handover(F(188), second.lower_end), third])  # and before it begins
    assert not thresholds.ordered([first, Handover(F(217), F(242)), third])  # direct would begin where buck does


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_a_design_restated_has_the_same_bands(file: object) -> None:
    table = control_table(load(str(file)))
    again = control_table(restated(table))
    assert [(row.name, row.energised) for row in again.rows] == [(row.name, row.energised) for row in table.rows]
    for row, other in zip(table.rows, again.rows, strict=True):
        assert row.hold.low <= other.hold.low < row.hold.low + F(1, 10**6)
        assert row.hold.high - F(1, 10**6) < other.hold.high <= row.hold.high


def test_a_single_band_has_no_handover() -> None:
    text = ONE.whole.split("[[band]]")
    alone = control_table(parse("[[band]]".join(text[:2]), "one.toml"))
    assert rooms_in(alone) == ()
