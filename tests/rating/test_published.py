"""Ratings against figures from outside: six plans computed elsewhere, textbooks, wire and steel tables."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import sqrt
from typing import Any

import numpy as np
import pytest

from tapplan.control.table import control_table
from tapplan.design import materials
from tapplan.design.limb import EMF
from tapplan.design.model import Copper, Core, Design, Sensing
from tapplan.network.circuit import circuit_of
from tapplan.network.flow import Impedances, flows
from tapplan.rating.gaps import LastingState, gap
from tapplan.rating.iron import Iron, iron_of
from tapplan.rating.rated import Ratings, ratings
from tapplan.rating.wire import Wire, next_wire, ohms
from tests.examples import design
from tests.published.test_six_plans import PLANS, design_of

F = Fraction


def rated(made: Design) -> Ratings:
    return ratings(control_table(made))


def plan(name: str, model: str) -> Design:
    made = design_of(PLANS[name], bands=True)
    output = replace(made.output, load_va=F(PLANS[name]["S"]), load_model=model)  # type: ignore[arg-type]
    return replace(made, output=output)


@pytest.mark.parametrize("name", PLANS)
def test_volts_per_turn_of_the_plans(name: str) -> None:
    found = rated(plan(name, "impedance")).carried
    for place, state in enumerate(PLANS[name]["states"]):
        assert found.line_v[place] == pytest.approx([float(end) for end in state["true_interval"]], abs=0.015)
        printed = [float(end) for end in state["volts_per_turn"]]
        assert found.per_turn[place, :, 0] == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize("name", PLANS)
def test_inlet_currents_of_the_plans(name: str) -> None:
    """Low end: constant volt-amperes, worked out there with the full drop d; high end: constant impedance."""
    drop = float(PLANS[name]["d"])
    power, impedance = (rated(plan(name, model)).carried.line_a for model in ("power", "impedance"))
    for place, state in enumerate(PLANS[name]["states"]):
        assert abs(power[place, 0]) / (1 - drop) == pytest.approx(float(state["Iin_constVA_low"]), rel=2e-3)
        assert abs(impedance[place, 1]) == pytest.approx(float(state["Iin_constZ_high"]), rel=2e-3)


@pytest.mark.parametrize("name", PLANS)
def test_worst_section_currents_of_the_plans(name: str) -> None:
    """The larger of both load models; that of constant power with the drop in it there, so up to d less here."""
    drop = float(PLANS[name]["d"])
    both = [rated(plan(name, model)).sections for model in ("power", "impedance")]
    for ours in zip(*both, strict=True):
        printed = float(PLANS[name]["section_current_worst"][ours[0].name])
        assert printed * (1 - drop - 2e-3) <= max(one.amperes for one in ours) <= printed * 1.002


@pytest.mark.parametrize("name", PLANS)
def test_the_highest_point_of_the_winding(name: str) -> None:
    highest = max(one.live_v for one in rated(plan(name, "impedance")).sections)
    assert highest == pytest.approx(float(PLANS[name]["max_winding_node_to_N_V"]), abs=0.06)


@pytest.mark.parametrize(("name", "gaps"), [("S1", {"RI": 67.7, "RO": 36.1}), ("S4", {"RI": 114, "Q2": 102})])
def test_open_gaps_of_the_plans(name: str, gaps: dict[str, float]) -> None:
    """Printed for the bands alone, at the highest input that each really holds."""
    carried = rated(plan(name, "impedance")).carried
    bands = [
        LastingState(row.name, carried.circuit.state(row.energised), float(high))
        for row, (_, high) in zip(carried.rows, carried.line_v, strict=True)
    ]
    for contact in carried.circuit.contacts:
        printed, found = gaps.get(contact.label.split(".")[0]), gap(carried.circuit, contact, bands).volts
        assert printed is None or (found is not None and abs(found - printed) < 0.6)


def test_power_through_the_core_of_the_coastal_plan() -> None:
    """Boost 1 at 252.8 V out, constant impedance: 724.6 VA through, 724.6 (1 - 49/64) = 169.9 VA by the core."""
    band = rated(plan("S1", "impedance")).bands[0]
    assert band.through_va == pytest.approx(724.6, rel=2e-3)
    assert band.core_va == pytest.approx(169.9, rel=2e-3)


# --- textbooks: two-winding transformers as autotransformers ---

Ends = tuple[int, int]  # turns of the common and of the series section


def auto(turns: Ends, volts: Ends, va: int, *, up: bool) -> Ratings:
    """Line on top and output on the tap (down), or the other way round (up); one band, one load at nominal."""
    common, series = turns
    sections = [("common", "N", "LINE" if up else "OUT", common), ("series", "LINE" if up else "OUT",
                "OUT" if up else "LINE", series)]  # fmt: skip
    line, output = volts
    made = design(sections, {}, mains=(line, line - 1, line), window=(output, output // 2, 2 * output),
                  bands=[("only", [], line - 1, line)], load_va=va, sensing=Sensing())  # fmt: skip
    return rated(made)


EXAMPLES: list[tuple[str, Ratings, dict[str, float]]] = [
    ("Chapman, Electric Machinery Fundamentals, 4th ed., problem 2-15: 480/120 V as 600 to 120 V",
     auto((120, 480), (600, 120), 6250, up=False), {"line": 10.4167, "load": 52.083, "core": 5000}),
    ("Chapman, problem 2-16: 480/120 V as 600 to 480 V",
     auto((480, 120), (600, 480), 25000, up=False), {"line": 41.667, "load": 52.083, "core": 5000}),
    ("Fitzgerald, Kingsley, Umans, Electric Machinery, 6th ed., example 2.7: 2400 to 2640 V",
     auto((2400, 240), (2400, 2640), 550_000, up=True),
     {"line": 229.17, "load": 208.33, "common": 20.83, "core": 50_000}),
    ("Wildi, Electrical Machines, Drives and Power Systems, example 11-1: 80 % tap, 300 V, 3.6 kW",
     auto((80, 20), (300, 240), 3600, up=False), {"line": 12, "load": 15, "common": 3}),
    ("Chapman, example 2-7: 120/12 V, 100 VA as 132 V",
     auto((120, 12), (120, 132), 1100, up=True), {"load": 8.333, "core": 100}),
    ("500/400 V, 100 A out (textbook problem): 80 A in, 20 A common, copper saved 0.8",
     auto((400, 100), (500, 400), 40_000, up=False), {"line": 80, "load": 100, "common": 20, "saved": 0.8}),
    ("230 to 115 V, 3 kW (textbook problem): 1.5 kW by induction, half the copper saved",
     auto((115, 115), (230, 115), 3000, up=False), {"core": 1500, "saved": 0.5}),
    ("400:1000 turns, 240 V, 20 kVA (textbook problem): 33.33 A, 83.33 A, common 50 A, core 12 kVA",
     auto((400, 600), (240, 600), 20_000, up=True), {"load": 33.33, "line": 83.33, "common": 50, "core": 12_000}),
]  # fmt: skip


@pytest.mark.parametrize(("source", "found", "printed"), EXAMPLES, ids=[one[0].split(":")[0] for one in EXAMPLES])
def test_textbook_autotransformers(source: str, found: Ratings, printed: dict[str, float]) -> None:
    assert source
    high = np.abs(found.carried.line_a)[0, 1]
    band = found.bands[0]
    ours = {
        "line": high,
        "load": float(np.abs(found.carried.load_a)[0, 1]),
        "common": float(np.abs(found.carried.sections)[0, 1, 0]),
        "core": band.core_va,
        "saved": band.copper_saved,
    }
    for what, value in printed.items():
        assert ours[what] == pytest.approx(value, rel=2e-4), what


def test_a_step_up_autotransformer_with_leakage_and_magnetising() -> None:
    """Kersting & Kerestes, Distribution System Modeling and Analysis, 5th ed., examples 7.1 and 7.2.

    75 kVA, 2400/240 V, Z1 0.612 + j1.2 and Z2 0.0061 + j0.0115 ohm, Ym 1.92e-4 - j8.52e-4 S; 2640 V at 312.5 A, 0.9
    lagging, needs 2406.0 V at 0.11 degrees and 345.07 A. The book puts all impedance on one side, so 0.05 % apart.
    """
    circuit = circuit_of(design([("common", "N", "LINE", 2400), ("series", "LINE", "OUT", 240)], {}))
    impedances = Impedances((0.612 + 1.2j, 0.0061 + 0.0115j), (), ((1.92e-4 - 8.52e-4j) * 2400**2,))
    flow = flows(circuit, [frozenset()], impedances)
    current = 312.5 * np.exp(-1j * np.arccos(0.9))
    output = flow.output(circuit)[0]
    volts = (2640 - output[1] * current) / output[0]
    line = flow.line[0, 0] * volts + flow.line[0, 1] * current
    assert abs(volts) == pytest.approx(2406.0, rel=5e-4)
    assert np.degrees(np.angle(volts)) == pytest.approx(0.11, abs=0.03)
    assert abs(line) == pytest.approx(345.07, rel=5e-4)


# --- iron ---


def iron(**stated: Any) -> Iron:
    made = design([("w", "N", "LINE", 100), ("v", "LINE", "OUT", 10)], {})
    found = iron_of(replace(made, core=Core(**stated)))
    assert found is not None
    return found


@pytest.mark.parametrize(("hertz", "tesla", "volts"), [(50, 1.2, 0.272971), (50, 1.5, 0.341213), (60, 1.2, 0.327565)])
def test_the_emf_equation(hertz: int, tesla: float, volts: float) -> None:
    """10.24 cm2 net; closed form sqrt(2) pi f B A."""
    found = iron(area_mm2=F(1024)).flux_t(volts, hertz)
    assert found == pytest.approx(tesla, rel=3e-6)


def test_the_books_round_the_constant_to_4_44() -> None:
    """Using 4.44 in place of 4.442883 is 0.0649 % less; 4.44 x 50 Hz x 1.2 T x 20 cm2 x 300 turns = 159.84 V."""
    assert pytest.approx(-0.0649, abs=5e-5) == 100 * (4.44 / EMF - 1)
    assert iron(area_mm2=F(2000)).flux_t(159.84 / 300 * EMF / 4.44, 50) == pytest.approx(1.2)


def test_laminations_as_a_public_core_table_has_them() -> None:
    """Square stacks: EI 96 10.24 cm2 and window 7.68 cm2; EI 120 16.0 and 12.0; EI 150N 25.0 and 18.75."""
    for key, area, window in (("EI 96", 1024, 768), ("EI 120", 1600, 1200), ("EI 150N", 2500, 1875)):
        found = materials.lamination(key)
        assert found is not None
        assert (found.leg_mm**2, found.window_mm2) == (area, window)
    assert materials.lamination("EI 130").leg_mm == 35  # type: ignore[union-attr] - not 130/3: another series


def test_guaranteed_losses_by_the_grades_names() -> None:
    """M400-50A: 4.00 W/kg at 1.5 T, 50 Hz; grain-oriented M140-30S: 1.40 W/kg at 1.7 T."""
    for key, watts, tesla in (("M400-50A", 4.0, 1.5), ("M270-35A", 2.7, 1.5), ("M140-30S", 1.4, 1.7)):
        assert iron(grade=key, mass_kg=F(1)).loss_w(tesla, 50) == pytest.approx(watts)


def test_field_strengths_of_an_open_data_set() -> None:
    """M330-50A: 192 A/m at 1.2 T, 1932 at 1.5 T, ten times as much; over 200 mm of path, RMS."""
    found = iron(grade="M330-50A", path_mm=F(200))
    assert found.magnetising_at(1.2) == pytest.approx(192 * 0.2 / sqrt(2))
    assert found.magnetising_at(1.5) == pytest.approx(1932 * 0.2 / sqrt(2))
    assert iron(grade="M470-50A", path_mm=F(200)).magnetising_at(1.2) is None


# --- wire ---

AWG_TABLE = {10: (2.5882, 3.277), 12: (2.0525, 5.211), 16: (1.2908, 13.174), 18: (1.0237, 20.948),
             20: (0.8118, 33.308), 24: (0.5106, 84.213), 30: (0.2546, 338.55), 36: (0.127, 1361.0)}  # fmt: skip


@pytest.mark.parametrize("gauge", AWG_TABLE)
def test_awg_sizes_and_resistances(gauge: int) -> None:
    """Diameter by ASTM B258's rule, ohm per km at 20 C with 1/58 ohm mm2/m; as wire tables print them."""
    mm, ohm_per_km = AWG_TABLE[gauge]
    found = Wire("", materials.awg_mm(gauge))
    assert round(found.mm, 4) == mm
    assert ohms(1000, 1000, found, 20) == pytest.approx(ohm_per_km, rel=1e-4)


@pytest.mark.parametrize(("celsius", "factor"), [(75, 1.2162), (100, 1.3144), (115, 1.3734)])
def test_copper_warm(celsius: int, factor: float) -> None:
    wire = Wire("", 1.0)
    assert ohms(1, 1000, wire, celsius) / ohms(1, 1000, wire, 20) == pytest.approx(factor, abs=5e-5)


def test_the_next_standard_wire() -> None:
    """3 A at 3 A/mm2 needs 1.128 mm: 1.25 mm metric, AWG 17 (1.150 mm)."""
    metric, awg = (next_wire(3.0, Copper(series=series)) for series in ("metric", "awg"))  # type: ignore[arg-type]
    assert metric is not None
    assert awg is not None
    assert (metric.mm, awg.name) == (1.25, "AWG 17")
    assert next_wire(1000.0, Copper()) is None
