"""Ratings by hand: bands, contacts, bridges, permitted loads, feeds, battery, coil supply; and what is missing."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import sqrt
from typing import Any

import numpy as np
import pytest

from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Battery, CoilSupply, Copper, Core, Design, Feed, Sensing
from tapplan.rating.contacts import worst_bridges, years
from tapplan.rating.rated import Ratings, ratings
from tests.examples import PAIR, ROOT, TAPPED, design

F = Fraction
HUT = ROOT / "designs" / "shepherds-hut.toml"
BANDS = [("boost 2", ["KO"], 166, 191), ("boost 1", [], 187, 216), ("direct", ["KL", "KO"], 212, 244)]


def stage(**changes: Any) -> Design:
    """The pair on 200/227/258 turns, 500 VA, resistive windings and contacts."""
    made = design(TAPPED, PAIR, mains=(230, 168, 240), bands=BANDS, load_va=500, sensing=Sensing(error_pct=F(1)))
    ohms = [F(2), F(1, 4), F(1, 4)]
    made = replace(
        made,
        windings=tuple(replace(one, resistance_ohm=ohm) for one, ohm in zip(made.windings, ohms, strict=True)),
        relays=tuple(replace(one, contact_ohm=F(1, 50)) for one in made.relays),
    )
    return replace(made, **changes)


def rated(made: Design) -> Ratings:
    return ratings(control_table(made))


def test_currents_by_ampere_turns() -> None:
    """Ideal: below both taps I_in - I_out, between them I_out, above nothing; impedance load, at the high end."""
    ideal = replace(stage(), windings=tuple(replace(one, resistance_ohm=None) for one in stage().windings))
    found = rated(ideal).carried
    boost_1 = np.abs(found.sections[1, 1])
    load_a = 500 * F(227, 200) * F(21600, 99) / 230**2
    assert boost_1[1] == pytest.approx(float(load_a), rel=2e-3)
    assert boost_1[0] == pytest.approx(float(load_a * F(27, 200)), rel=2e-3)
    assert boost_1[2] == pytest.approx(0, abs=1e-6)


def test_the_output_under_load_is_the_exact_one() -> None:
    """With the load as a resistance, the loaded output is the table's full-load ratio."""
    found = rated(stage())
    for band in found.bands:
        assert band.row.full is not None
        assert band.loaded_v == pytest.approx([float(band.row.full) * line for line in band.line_v], rel=1e-8)


def test_losses_are_what_comes_in_less_what_goes_out() -> None:
    found = rated(stage())
    for place, band in enumerate(found.bands):
        volts, drawn = found.carried.line_v[place], found.carried.line_a[place]
        lost = volts * drawn.real - (found.carried.output[place] * np.conj(found.carried.load_a[place])).real
        assert band.heat.copper_w == pytest.approx(float(lost.max()), rel=1e-5)


def test_twice_the_turns_is_half_the_flux() -> None:
    core = Core(area_mm2=F(1500))
    double = replace(stage(), windings=tuple(replace(one, turns=2 * one.turns) for one in stage().windings))
    for once, twice in zip(rated(stage(core=core)).bands, rated(replace(double, core=core)).bands, strict=True):
        assert once.heat.flux_t == pytest.approx(2 * (twice.heat.flux_t or 0))


def test_flux_is_worked_out_at_the_lowest_frequency() -> None:
    core = Core(area_mm2=F(1500))
    slow = stage(core=core)
    slow = replace(slow, mains=replace(slow.mains, frequency_hz=(F(45), F(55))))
    for at_50, at_45 in zip(rated(stage(core=core)).bands, rated(slow).bands, strict=True):
        assert (at_45.heat.flux_t or 0) * 45 == pytest.approx((at_50.heat.flux_t or 0) * 50)


def test_a_bridged_output_contact_by_hand() -> None:
    """KO bridged shorts 31 turns through its section and two contacts, 0.25 + 2 x 0.02 ohm.

    In boost 1 the line feeds 200 turns of 2 ohm, which count as 2 (31/200)^2 ohm in the shorted turns.
    """
    found = rated(stage())
    bridge = next(one for one in worst_bridges(found.bridges) if one.label == "KO")
    per_turn = max(band.heat.per_turn_v for band in found.bands)
    assert bridge.row.name == "boost 1"
    assert bridge.section_a == pytest.approx(31 * per_turn / (0.25 + 0.04 + 2 * (31 / 200) ** 2), rel=0.005)


def test_without_resistances_a_bridge_has_no_figure() -> None:
    bare = replace(stage(), windings=tuple(replace(one, resistance_ohm=None) for one in stage().windings))
    assert {(one.section_a, one.line_a) for one in rated(bare).bridges} == {(None, None)}


def test_open_gaps_and_live_points() -> None:
    """KO's gap is 31 turns, KL's 58, on 200 at most while the line is on A: at rest, 240 V; the top tap has 258."""
    found = rated(stage())
    gaps = {one.label: one.gap for one in found.contacts}
    assert gaps["KO.nc"].volts == gaps["KO.no"].volts == pytest.approx(31 * 1.2)
    assert gaps["KL.nc"].volts == pytest.approx(58 * 1.2)
    assert (gaps["KL.nc"].where, gaps["KL.nc"].known) == ("all relays at rest", True)
    per_turn = max(band.heat.per_turn_v for band in found.bands)
    assert max(one.live_v for one in found.sections) == pytest.approx(258 * per_turn, rel=1e-3)


def test_years_of_a_relay() -> None:
    """100 000 operations over 15 years are 18 a day (practitioners' figure)."""
    relay = replace(stage().relays[0], endurance=F(100_000), moves_a_day=F(18))
    assert years(relay) == pytest.approx(15.2, abs=0.05)
    assert years(stage().relays[0]) is None


@pytest.mark.parametrize("model", ["impedance", "current", "power"])
def test_the_permitted_load_reaches_its_limit_exactly(model: Any) -> None:
    """Put on, the load permitted makes the section named carry just what its wire may, whatever the load model."""
    made = stage(copper=Copper(density_a_mm2=F(3)))
    made = replace(made, output=replace(made.output, load_model=model))
    made = replace(made, windings=tuple(replace(one, wire_mm=F(9, 10)) for one in made.windings))
    found = rated(made)
    for one in found.permitted:
        assert one.va is not None
        if not one.limited_by.startswith("winding "):
            continue
        name = one.limited_by.removeprefix("winding ")
        loaded = replace(made, output=replace(made.output, load_va=F(round(one.va * 1000), 1000)))
        again = rated(loaded).carried
        place = [row.name for row in again.rows].index(one.row.name)
        end = int(np.argmin(np.abs(again.line_v[place] - one.input_v)))
        number = [winding.name for winding in made.windings].index(name)
        limit = 3 * np.pi / 4 * 0.81
        assert abs(again.sections[place, end, number]) == pytest.approx(limit, rel=1e-4)


def test_the_window_s_lower_end_can_be_the_limit() -> None:
    weak = replace(stage(), windings=tuple(replace(one, resistance_ohm=F(8)) for one in stage().windings))
    for one in rated(weak).permitted:
        if one.limited_by == "the window's lower end" and one.va is not None:
            made = replace(weak, output=replace(weak.output, load_va=F(round(one.va * 10), 10)))
            again = rated(made)
            band = next(band for band in again.bands if band.row.name == one.row.name)
            volts = [band.loaded_v[end] for end in (0, 1) if abs(band.line_v[end] - one.input_v) < 1e-6]
            assert volts[0] == pytest.approx(207, abs=0.01)
            return
    pytest.fail("no band was limited by the window")


# --- wire and window ---


def test_chosen_wire_feeds_back_into_the_drop() -> None:
    """Neither wire nor resistance stated: the wire chosen for the current has the resistance that the drop shows."""
    made = load(HUT)
    bare = replace(made, windings=tuple(replace(one, wire_mm=None) for one in made.windings))
    found = rated(bare)
    assert all(one.chosen and one.ohm for one in found.sections)
    assert found.carried.impedances.sections[0].real == pytest.approx(found.sections[0].ohm)
    assert found.bands[0].drop_pct > 0.3


def test_the_inverter_s_load_sizes_the_common_winding() -> None:
    """On mains the common part carries the difference of two currents; from the battery it carries the load's all.

    126/420 of the load's current in boost 2, and a magnetising current beside it: not quite 3.3 times as much.
    """
    found = rated(load(HUT))
    body = found.sections[0]
    assert body.at.name == "inverter"
    without = rated(replace(load(HUT), feeds=()))
    assert 2.8 * without.sections[0].amperes < body.amperes < 420 / 126 * without.sections[0].amperes


# --- feeds, battery, coil supply ---


def test_a_feed_by_hand() -> None:
    """21.5 to 24.2 V on 52 turns: 546 turns stand at 225.75 to 254.1 V; the inlet's relay is off, its pin dead."""
    (feed,) = rated(load(HUT)).feeds
    assert feed.used is not None
    assert feed.used.output is not None
    assert (feed.used.output.low, feed.used.output.high) == (F("21.5") * 546 / 52, F("24.2") * 546 / 52)
    assert feed.used.line is None
    live = next(one for one in feed.states if one.state.energised == ("KM", "KL"))
    assert live.line is not None
    assert live.line.high == F("24.2") * 420 / 52


def test_the_low_side_carries_as_many_times_the_current_as_the_volts_are_fewer() -> None:
    """240 V RMS peaks at 340 V; 13.6 V up to 340 V is 25 times, so 25 times the current (common practice)."""
    assert round(240 * sqrt(2), -1) == 340
    made = design([("main", "N", "OUT", 500), ("low", "B1", "B2", 20)], {"K": ("LINE", None, "OUT")},
                  bands=[("on", ["K"], 180, 270)], load_va=240)  # fmt: skip
    fed = replace(made, feeds=(Feed(name="inverter", winding="low", volts_v=(F("9.6"), F("9.7"))),))
    (feed,) = rated(fed).feeds
    assert feed.case is not None
    ratio = np.abs(feed.case.cases.source_a) / (240 * np.abs(feed.case.cases.output) / 230**2)
    assert ratio == pytest.approx([25, 25], rel=1e-4)


def test_without_a_stated_state_the_feed_s_is_chosen_with_the_inlet_dead() -> None:
    made = replace(load(HUT), backup=None)
    (feed,) = rated(made).feeds
    assert feed.used is not None
    assert not feed.used.inlet_live
    nominal = min(
        (one for one in feed.states if not one.inlet_live and one.output),
        key=lambda one: abs((one.output.low + one.output.high) / 2 - 230),  # type: ignore[union-attr]
    )
    assert feed.used.output == nominal.output


def test_the_charger_s_input_by_hand() -> None:
    """52 turns at 168 V over 420 turns: 20.8 V RMS, 29.4 V peak, less 1.4 V."""
    made = load(HUT)
    charge = rated(replace(made, output=replace(made.output, load_va=None))).charging[0]
    assert charge.peak_v[0] == pytest.approx(168 / 420 * 52 * sqrt(2) - 1.4, rel=1e-3)
    loaded = rated(made)
    assert loaded.charging[0].peak_v[0] == pytest.approx(
        float(loaded.carried.loaded_per_turn[0, 0, 0]) * 52 * sqrt(2) - 1.4
    )


def test_a_coil_supply_that_is_too_low() -> None:
    """16 turns at 0.4 V a turn, rectified: 7.65 V, where three 12 V coils need 9.6 V to pull in. No load on."""
    made = load(HUT)
    made = replace(made, output=replace(made.output, load_va=None))
    thin = replace(made, windings=(*made.windings[:4], replace(made.windings[4], turns=F(16))))
    lowest = rated(thin).coils[0]
    assert lowest.volts == pytest.approx(16 * 0.4 * sqrt(2) - 1.4, rel=2e-3)
    assert (lowest.needed_v, lowest.starved) == (9.6, True)
    weak = replace(made, coil_supply=CoilSupply(winding="coils", power_w=F(1)))
    assert [one.starved for one in rated(weak).coils] == [False, True, False, False]


def test_everything_missing_is_named() -> None:
    needs = rated(design(TAPPED, PAIR, bands=BANDS, mains=(230, 168, 240))).needs
    assert any(text.startswith("output.load_va") for text in needs)
    assert any("[core] area_mm2" in text for text in needs)
    assert any("endurance" in text for text in needs)
    assert rated(load(HUT)).needs == ()


def test_a_design_that_holds_nothing_of_the_range_rates_nothing() -> None:
    made = design(TAPPED, PAIR, bands=[("far", [], 300, 310)], mains=(230, 168, 240), load_va=100)
    found = rated(made)
    assert (found.bands, found.sections, found.contacts, found.permitted) == ((), (), (), ())


def test_battery_limits_are_read() -> None:
    made = load(HUT)
    assert made.battery == Battery(
        winding="battery", float_v=(F(27), F("27.6")), cyclic_v=(F("28.8"), F(30)), charger="boost"
    )
