"""Figures of a line each, worked by hand: copper by weight, and the input from which a charger gets its volts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast

import pytest

from tapplan.control.table import Row
from tapplan.rating.feeds import Charging
from tapplan.rating.wire import Wire, copper_kg


@pytest.mark.parametrize("strands", [1, 2])
def test_the_copper_of_a_section_by_weight(strands: int) -> None:
    """100 turns of 300 mm are 30 m; of a wire of 2 mm, 3.1416 mm2, that is 94.25 cm3 or 0.8379 kg at 8.89 kg/dm3."""
    wire = Wire("2.00", 2.0, strands)
    assert copper_kg(100, 300, wire) == pytest.approx(0.83786 * strands, rel=1e-4)


# From 180 V of the line, where the charger gets 12 V, to 240 V, where it gets 15: 20 V of the line for a volt.
BAND = Charging(cast(Row, None), (180.0, 240.0), (12.0, 15.0))


@pytest.mark.parametrize(
    ("volts", "line"), [(12.0, 180.0), (11.0, 180.0), (13.0, 200.0), (14.5, 230.0), (15.0, 240.0), (15.1, None)]
)
def test_the_input_from_which_a_charger_gets_so_many_volts(volts: float, line: float | None) -> None:
    """In proportion between the ends of the band; at its low end where less is asked, nowhere where more is."""
    assert BAND.from_input(volts) == (line if line is None else pytest.approx(line))


def test_a_band_of_no_width_gives_what_it_gives() -> None:
    single = replace(BAND, line_v=(200.0, 200.0), peak_v=(13.0, 13.0))
    found: list[Any] = [single.from_input(volts) for volts in (12.9, 13.0, 13.1)]
    assert found == [200.0, 200.0, None]
