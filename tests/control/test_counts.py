"""Thresholds in whole counts, on a converter of two counts to the volt: rounded to the safe side, by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import pi, sqrt

import pytest

from tapplan.control.counts import converter, counted_holds, counted_table, divider
from tapplan.control.program import program
from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Backup, Controller, Sensing
from tests.examples import PAIR, TAPPED, design

F = Fraction
TWO_A_VOLT = Controller(bits=F(10), reference_v=F("2.56"), divider_ohm=(F(199_000), F(1_000)))
BANDS = [
    *(("b2", ["KO"], F("160.3"), F("192.3")), ("b1", [], F("188.3"), F("217.1"))),
    *(("d", ["KL", "KO"], F("213.6"), F("246.4")), ("k", ["KL"], F("241.1"), F("280.3"))),
]


def table_of(back: tuple[str, str] = ("170.3", "270.2")) -> ControlTable:
    backup = Backup(leave_v=(F("160.3"), F("280.3")), return_v=(F(back[0]), F(back[1])))
    return control_table(design(TAPPED, PAIR, bands=BANDS, backup=backup))


def test_a_divider_of_a_two_hundredth_and_a_reference_of_2_56_volts_make_two_counts_a_volt() -> None:
    found = converter(table_of().design, TWO_A_VOLT)
    assert divider(TWO_A_VOLT) == F(1, 200)
    assert found.per_volt == 2
    assert found.step_v == F(1, 2)


@pytest.mark.parametrize(
    ("detector", "form", "full_scale"),
    [
        ("rms", 1.0, 2.56 / 2 / sqrt(2)),  # the wave swings about half the reference
        ("average", 2 * sqrt(2) / pi, 2.56 / (2 * sqrt(2) / pi)),
        ("peak", sqrt(2), 2.56 / sqrt(2)),
    ],
)
def test_what_a_detector_makes_of_a_volt_of_a_sine(detector: str, form: float, full_scale: float) -> None:
    made = design(TAPPED, PAIR, bands=BANDS, sensing=Sensing(detector=detector))  # type: ignore[arg-type]
    found = converter(made, TWO_A_VOLT)
    assert float(found.per_volt) == pytest.approx(2 * form, rel=1e-9)
    assert float(found.highest_v) == pytest.approx(200 * full_scale, rel=1e-9)


def test_ends_between_bands_are_rounded_inward_and_the_outermost_outward() -> None:
    """160.3 V are 320.6 counts, and the lowest end goes down; 188.3 V are 376.6, and that end goes up."""
    table = table_of()
    found = counted_holds(table, converter(table.design, TWO_A_VOLT))
    assert [(one.low, one.high) for one in found] == [(320, 384), (377, 434), (428, 492), (483, 561)]


def test_the_counted_table_has_its_thresholds_at_whole_counts() -> None:
    table = table_of()
    rows = counted_table(table, converter(table.design, TWO_A_VOLT)).rows
    assert [(row.kept.low, row.kept.high) for row in rows] == [
        *((160, 192), (F("188.5"), 217), (214, 246), (F("241.5"), F("280.5"))),
    ]


def test_a_return_is_rounded_inward_so_that_coming_back_is_later() -> None:
    """170.3 V are 340.6 counts, up to 341; 270.2 V are 540.4, down to 540."""
    table = table_of()
    backup = counted_table(table, converter(table.design, TWO_A_VOLT)).design.backup
    assert backup is not None
    assert backup.return_v == (F("170.5"), 270)
    assert backup.leave_v == (F("160.3"), F("280.3"))


@pytest.mark.parametrize("back", [("200.1", "200.4"), ("200.1", "200.6")])
def test_a_return_of_less_than_a_count_stays_as_the_file_has_it(back: tuple[str, str]) -> None:
    """400.2 to 400.8 counts hold no whole one; 400.2 to 401.2 hold one, which has no width."""
    table = table_of(back)
    assert counted_table(table, converter(table.design, TWO_A_VOLT)).design == table.design


@pytest.mark.parametrize(("detector", "most"), [("rms", 362), ("average", 1022), ("peak", 1022)])
def test_the_highest_reading_of_a_sine_that_a_converter_does_not_cut(detector: str, most: int) -> None:
    """A wave about half the reference reaches 512 / sqrt 2 = 362.04 counts; of a direct voltage 1023 may be more."""
    made = design(TAPPED, PAIR, bands=BANDS, sensing=Sensing(detector=detector))  # type: ignore[arg-type]
    assert program(control_table(replace(made, controller=TWO_A_VOLT))).most_reading == most
