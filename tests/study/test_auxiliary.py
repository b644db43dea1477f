"""Windings beside the stage's own, sized by hand from volts per turn."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapplan.design.file import load_request
from tapplan.design.model import Design
from tapplan.study.auxiliary import _sizes
from tests.examples import ROOT


def feeder() -> Design:
    """A battery of 13.5 to 13.8 V, an inverter of 10.8 to 11.8 V on it, coils of 12 V that pull in at 80 %."""
    asked = load_request(ROOT / "designs" / "requests" / "rural-feeder.toml")
    return replace(asked.design, fit=asked.fit)


def test_a_coil_supply_gives_what_its_coils_pull_in_at() -> None:
    """0.8 x 12 V and a twentieth more is 10.08 V; with two diodes of 0.7 V 11.48 V, 8.12 V RMS: 21 turns of 0.4 V."""
    assert 20 < (0.8 * 12 * 1.05 + 1.4) / 2**0.5 / 0.4 < 21
    assert _sizes(feeder(), 0.4, 500, 0.03)["coils"] == 21


def test_a_battery_that_nothing_feeds_from_gets_its_volts_at_the_lowest_flux() -> None:
    """13.8 V and the rectifier's 1.4 V are a crest of 15.2 V, 10.75 V RMS: 27 turns of 0.4 V."""
    made = feeder()
    assert made.battery is not None
    assert float(made.battery.drop_v) == 1.4
    assert 26 < 15.2 / 2**0.5 / 0.4 < 27
    assert _sizes(replace(made, feeds=()), 0.4, 500, 0.03)["battery"] == 27


@pytest.mark.parametrize(("drop", "turns"), [(0.03, 24), (0.1, 23)])
def test_an_inverter_s_winding_stands_between_what_its_ends_make_of_the_output(drop: float, turns: int) -> None:
    """500 turns under 207 to 253 V: at most 10.8 (1 - drop) 500/207 turns, at least 11.8 x 500/253 = 23.32."""
    most, fewest = 10.8 * (1 - drop) * 500 / 207, 11.8 * 500 / 253
    assert round((most + fewest) / 2) == turns
    assert _sizes(feeder(), 0.4, 500, drop)["battery"] == turns
