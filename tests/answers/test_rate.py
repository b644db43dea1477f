"""The columns of `rate` for the hut, by hand from its file: each within what magnetising and drop change."""

from __future__ import annotations

from functools import cache
from math import pi, sqrt

import pytest

from tapplan.answers.rate import Rated, rated
from tapplan.checks.review import review
from tapplan.design.file import load
from tests.examples import ROOT

HUT = ROOT / "designs" / "shepherds-hut.toml"
TAPS = {"boost 2": (420, 546), "boost 1": (420, 478), "direct": (546, 546), "buck": (546, 478)}  # line, output turns
LOAD_VA, CREST, INRUSH_A, BELOW_V = 300, 2.4, 16, 1.4  # 1.4 V: two diodes of the bridge
WIRES = {"body": 1.0, "first step": 0.9, "second step": 0.9, "battery": 2.8, "coils": 0.355}


@cache
def hut() -> Rated:
    return rated(review(load(HUT)))


def test_currents_of_a_load_of_constant_power() -> None:
    """The load draws S/V at the lowest output; the line carries it by the ratio, and the magnetising current."""
    for one in hut().bands:
        line, output = TAPS[one.band]
        assert one.load_a == pytest.approx(LOAD_VA / one.loaded_output_v[0])
        ideal = one.load_a * output / line
        assert ideal < one.line_a < 1.06 * ideal
        assert one.drop_pct == pytest.approx(100 * (1 - one.loaded_output_v[0] / one.open_output_v[0]))
        assert one.open_output_v[0] == pytest.approx(one.input_v[0] * output / line, rel=3e-3)
        assert one.through_va == pytest.approx(LOAD_VA)
    assert len(hut().bands) == len(TAPS)


def test_heat_from_what_heats() -> None:
    """2.2 K/W of copper and core together; efficiency at power factor 0.9; 4.44 f N B A at 49 Hz."""
    core = hut().core
    assert core is not None
    for one in hut().heat:
        assert one.rise_k == pytest.approx(2.2 * (one.copper_w + one.core_w))
        watts = 0.9 * LOAD_VA
        assert float(one.efficiency.split()[0]) == pytest.approx(
            100 * watts / (watts + one.copper_w + one.core_w + one.coil_w), abs=0.5
        )
        assert one.flux_t == pytest.approx(one.volts_per_turn / (sqrt(2) * pi * 49 * core.net_mm2 * 1e-6))
        assert one.core_w > one.copper_w
    taps = {one.band: one for one in hut().bands}
    assert all(one.volts_per_turn < taps[one.band].input_v[1] / TAPS[one.band][0] for one in hut().heat)


def test_wires_from_their_diameter() -> None:
    lengths = {one.section: one.length_m for one in hut().layers}
    for one in hut().sections:
        area = pi / 4 * WIRES[one.name] ** 2
        assert one.wire_mm == WIRES[one.name]
        assert one.density_a_mm2 == pytest.approx(one.current_a / area)
        assert one.loss_w == pytest.approx(one.current_a**2 * one.resistance_ohm)
        length = lengths[one.name]
        at_80 = 1 / 58 * (1 + 0.00393 * 60)
        assert one.resistance_ohm == pytest.approx(at_80 * length / area, rel=1e-3)


def test_contacts_from_load_and_file() -> None:
    """Inrush on the output as stated, at the inlet by the highest ratio; peak by the crest factor; life in years."""
    moves = {"KM": 4, "KL": 20, "KO": 30}
    for one in hut().contacts:
        relay = one.contact.split(".")[0]
        assert (one.rated_a, one.rated_make_a) == (10, 30)
        assert one.rated_v == (600 if relay == "KM" else 300)
        assert one.years == pytest.approx(100_000 / moves[relay] / 365)
        assert one.peak_a == pytest.approx(CREST * one.current_a, rel=1e-3)
        assert one.current_a < one.peak_a < one.make_a
        assert INRUSH_A * 0.99 < one.make_a <= INRUSH_A * 1.3
    makes = {one.contact: one.make_a for one in hut().contacts}
    assert makes["KO.nc"] == pytest.approx(INRUSH_A)
    assert makes["KM.no"] == pytest.approx(1.3 * INRUSH_A, rel=1e-3)


def test_supplies_from_the_turns_of_their_windings() -> None:
    """A rectified winding gives sqrt(2) U less two diodes; a coil of 12 V needs four fifths, 0.4 W a coil."""
    inputs = {one.band: one.input_v for one in hut().bands}
    driven = {one.band: len(one.energised) for one in hut().bands}
    for one in hut().coil_supply:
        line, _ = TAPS[one.band]
        open_v = sqrt(2) * 30 * inputs[one.band][0] / line - BELOW_V
        assert one.volts == pytest.approx(open_v, rel=0.02)
        assert one.needed_v == pytest.approx(0.8 * 12)
        assert one.power_w == pytest.approx(0.4 * driven[one.band])
        assert one.starved is (one.volts < one.needed_v)
    for one in hut().charging:
        line, _ = TAPS[one.band]
        for shown, volts in zip(one.peak_v, inputs[one.band], strict=True):
            assert shown == pytest.approx(sqrt(2) * 52 * volts / line - BELOW_V, rel=0.03)


def test_the_load_permitted_goes_along_the_range_and_shrinks_in_boost() -> None:
    rows = hut().permitted
    for band in TAPS:
        inputs = [float(one.input_v) for one in rows if one.band == band]
        assert inputs == sorted(inputs)
        assert inputs[0] == next(one.input_v[0] for one in hut().bands if one.band == band)
    assert (min(one.input_v for one in rows), max(one.input_v for one in rows)) == (168, 272)
    assert all(one.va > LOAD_VA for one in rows)
    boosted = [one.va for one in rows if one.band == "boost 2"]
    assert boosted == sorted(boosted)
