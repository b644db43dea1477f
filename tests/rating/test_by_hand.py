"""Worked by hand: loads that the window permits, a core's lagging current, the charger's least input, bare layers."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import pi, sqrt

import numpy as np
import pytest

from tapplan.design.file import load
from tapplan.design.model import Core, Design, LoadModel, Relay
from tapplan.network.turns import Kind
from tests.examples import ROOT, design
from tests.rating.test_ends import BANDS, leaking, rated, simple
from tests.rating.test_laid import rated as wound_rated
from tests.rating.test_laid import stage, wound

F = Fraction
HUT = ROOT / "designs" / "shepherds-hut.toml"
BEHIND = 3 + 2 * 0.15**2  # ohm of leakage: all of the load's current flows in 3 ohm, 60/400 of it in 2


# --- what a load may take, of each kind ---


@pytest.mark.parametrize("cosine", ["1", "0.6"])
def test_at_the_window_s_lower_end_the_load_stands_at_that_very_voltage(cosine: str) -> None:
    """A constant power is 200 V times its current; an impedance takes 230/200 of that current at 230 V."""
    volt_amperes = {}
    for model in ("power", "current", "impedance"):
        made = leaking(cosine, (2, 3))
        boost = rated(replace(made, output=replace(made.output, load_model=model))).permitted[0]
        assert boost.limited_by == "the window's lower end"
        volt_amperes[model] = boost.va
    amperes = volt_amperes["current"] / 230  # type: ignore[operator]
    sine = sqrt(1 - float(cosine) ** 2)
    assert (200 + sine * BEHIND * amperes) ** 2 + (float(cosine) * BEHIND * amperes) ** 2 == pytest.approx(230**2)
    assert volt_amperes["power"] == pytest.approx(200 * amperes, rel=1e-6)
    assert volt_amperes["impedance"] == pytest.approx(230 * amperes * 230 / 200, rel=1e-6)


def contacts_for(made: Design, amperes: int) -> tuple[Relay, ...]:
    return tuple(replace(one, contact_a=F(amperes)) for one in made.relays)


@pytest.mark.parametrize(("model", "factor"), [("power", 1.0), ("current", 230.0), ("impedance", 230.0**2)])
def test_a_contact_s_amperes_drop_their_volts_in_the_leakage(model: LoadModel, factor: float) -> None:
    """10 A at unity behind x = 3.045 ohm and 230 V: x I stands across the volts, so sqrt(230^2 - x^2 I^2) are left.

    KO at rest carries all of the load, K the inlet's 460/400 of it: 10 A at the inlet are 8.696 A of load.
    """
    made = leaking("1", (2, 3))
    made = replace(made, relays=contacts_for(made, 10), output=replace(made.output, load_model=model))
    boost = rated(made).permitted[0]
    assert boost.limited_by == "contact K.no"
    amperes = 10 / 1.15
    left = sqrt(230**2 - (BEHIND * amperes) ** 2)
    wanted = {"power": left * amperes, "current": factor * amperes, "impedance": factor * amperes / left}[model]
    assert boost.va == pytest.approx(wanted, rel=1e-6)


# --- the core's own current ---


def test_an_idle_winding_takes_the_core_s_loss_in_phase_and_its_field_a_quarter_behind() -> None:
    """M400-50A on 400 turns of 20 cm2: 1.5 T at 266.573 V is 1284 A/m over 300 mm, and 4 W/kg of 10 kg."""
    volts = 400 * sqrt(2) * pi * 50 * 1.5 * 0.002
    exact = F(round(volts * 10**6), 10**6)
    made = design([("w", "N", "A", 400)], {"K": ("OUT", None, "A")}, terminals=("A", "N", "OUT"),
                  mains=(230, 200, exact), bands=[("on", ["K"], 190, 280)])  # fmt: skip
    core = Core(area_mm2=F(2000), path_mm=F(300), grade="M400-50A", mass_kg=F(10))
    drawn = volts * np.conj(rated(replace(made, core=core)).carried.line_a[0, 1])
    assert drawn.real == pytest.approx(4 * 10, rel=1e-4)
    assert drawn.imag == pytest.approx(volts * 1284 * 0.3 / sqrt(2) / 400, rel=1e-4)


def test_the_core_s_lagging_current_takes_volts_off_what_stands_behind_a_leakage() -> None:
    """0.681 A at 266.573 V are 391.5 ohm; behind 5 ohm of leakage as many turns apart have 391.5/396.5 of it."""
    volts = 400 * sqrt(2) * pi * 50 * 1.5 * 0.002
    sections = [("w", "N", "A", 400), ("x", "N", "B", 400)]
    made = design(sections, {"K": ("OUT", None, "B")}, terminals=("A", "N", "OUT"),
                  mains=(230, 200, F(round(volts * 10**6), 10**6)), bands=[("on", ["K"], 190, 280)])  # fmt: skip
    core = Core(area_mm2=F(2000), path_mm=F(300), grade="M400-50A")
    leaking_one = (replace(made.windings[0], leakage_ohm=F(5)), made.windings[1])
    found = rated(replace(made, core=core, windings=leaking_one)).carried
    ohm = volts / (1284 * 0.3 / sqrt(2) / 400)
    assert abs(found.output[0, 1]) == pytest.approx(volts * ohm / (ohm + 5), rel=1e-5)


# --- contacts, feeds, charger ---


def test_a_contact_that_never_closes_carries_nothing_and_stands_nowhere() -> None:
    boost = [BANDS[0]]
    found = {one.label: one for one in rated(simple(load_va=F(1000), bands=boost)).contacts}
    assert (found["K.nc"].amperes, found["K.nc"].at) == (0, None)
    assert found["K.no"].at is not None
    assert found["K.no"].at.name == "boost"
    assert found["K.no"].amperes == pytest.approx(1.15 * (found["KO.nc"].amperes or 0))


@pytest.mark.parametrize("model", ["impedance", "current", "power"])
def test_while_a_feed_serves_nothing_no_load_flows(model: LoadModel) -> None:
    """At rest the output lies on neutral: no volts, and no ampere of the load, whatever kind it is of."""
    made = load(HUT)
    last = replace(made.relays[2], nc="NEUTRAL")
    feeds = tuple(replace(one, energised=()) for one in made.feeds)
    output = replace(made.output, load_model=model)
    (feed,) = rated(replace(made, relays=(*made.relays[:2], last), feeds=feeds, output=output)).feeds
    assert feed.case is not None
    assert feed.case.used.fault is Kind.DEAD
    assert feed.case.cases.load_a.tolist() == [0, 0]
    assert not feed.case.cases.collapsed.any()


def ideal_hut() -> Design:
    """The hut without load, its windings and core ideal."""
    made = load(HUT)
    bare = tuple(replace(one, resistance_ohm=F(0), wire_mm=F(50)) for one in made.windings)
    return replace(made, windings=bare, core=None, former=None, output=replace(made.output, load_va=None))


def test_the_least_input_from_which_a_charger_gets_its_volts() -> None:
    """52 of the turns on the line, times sqrt(2), less 1.4 V: turned round, U = (V + 1.4)/sqrt(2)/52 turns."""
    found = rated(ideal_hut()).charging
    boost, turns = found[0], 420
    (low, high), (least, most) = boost.line_v, boost.peak_v
    assert low < high
    assert (least, most) == pytest.approx(tuple(one * 52 / turns * sqrt(2) - 1.4 for one in (low, high)), rel=1e-6)
    for volts in (least + 0.1, (least + most) / 2, most - 0.1):
        wanted = (volts + 1.4) / sqrt(2) / 52 * turns
        assert boost.from_input(volts) == pytest.approx(wanted, rel=1e-6)
    assert boost.from_input(least - 1) == low
    assert boost.from_input(most + 1e-6) is None
    assert [one.line_v for one in found] == [tuple(ends) for ends in rated(ideal_hut()).carried.line_v.tolist()]


# --- layers ---


@pytest.mark.parametrize(("turns", "bare"), [(228, False), (F(455, 2), False), (227, True), (226, True)])
def test_a_layer_that_leaves_room_for_a_turn_leaves_the_one_below_bare(turns: Fraction, bare: bool) -> None:
    """57 go in a layer of the first wire, so 228 fill four; one turn fewer, and the next lies on two of them."""
    windings = stage().windings
    made = stage(windings=(replace(windings[0], turns=F(turns)), *windings[1:]))
    per_turn = max(one.heat.per_turn_v * max(272 / one.line_v[1], 1) for one in wound_rated(made).bands)
    layers = wound(made).layers
    assert [one.turns for one in layers[:5]] == [57, 57, 57, F(turns) - 171, 29]
    below = F(turns) - 171 + (57 if bare else 0)
    assert layers[4].below_v == pytest.approx(float(below + 29) * per_turn, rel=0.01)


# --- wires chosen, copper and iron ---


@pytest.mark.parametrize("load_va", range(1000, 9000, 500))
def test_a_wire_chosen_never_shrinks_though_its_own_drop_lowers_the_current(load_va: int) -> None:
    """Turns of 1.5 m. An impedance takes most where nothing drops: the first choice is the thickest, and stays."""
    made = simple(load_va=F(load_va))
    core = Core(area_mm2=F(2000), mean_turn_mm=F(1500))
    bare = replace(made, core=core, windings=tuple(replace(one, resistance_ohm=None) for one in made.windings))
    ideal = rated(
        replace(bare, windings=tuple(replace(one, resistance_ohm=F(0)) for one in made.windings), core=None)
    )
    for one, first in zip(rated(bare).sections, ideal.sections, strict=True):
        assert one.wire is not None
        assert first.wire is not None
        assert one.wire.mm2 >= first.wire.mm2 * (1 - 1e-9)


def test_the_copper_of_a_section_and_the_iron_of_a_stack_by_hand() -> None:
    """400 turns of 300 mm in 0.6 mm are 120 m, at 8.89 g/cm3. A sheet of EI 120 is 120 x 100 mm less two windows of
    20 x 60 mm: 9600 mm2, times 60 mm at 0.96 and 7.7 g/cm3.
    """
    made = simple()
    core = Core(area_mm2=F(2000), mean_turn_mm=F(300))
    thin = tuple(replace(one, resistance_ohm=None, wire_mm=F("0.6")) for one in made.windings)
    section = rated(replace(made, core=core, windings=thin)).sections[0]
    assert section.kg == pytest.approx(120 * 100 * pi / 4 * 0.06**2 * 8.89e-3)
    iron = wound_rated(stage()).iron
    assert iron is not None
    assert iron.mass_kg == pytest.approx(96 * 6 * 0.96 * 7.7e-3)
