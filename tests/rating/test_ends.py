"""What rating must not pass over: loads past what can be carried, cores, feeds, gaps and bridges at their worst."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from math import pi, sqrt
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from tapplan.answers.rate import rated_of
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.rules import findings
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Copper, Core, Design, Feed, Output, Pole, Protection, Relay
from tapplan.pages.screens.rate import screen
from tapplan.rating.contacts import Bridge
from tapplan.rating.rated import Ratings, ratings
from tapplan.rating.wire import next_wire
from tests.examples import ROOT, design

F = Fraction
HUT = ROOT / "designs" / "shepherds-hut.toml"
SIMPLE = [("a", "N", "A", 400), ("b", "A", "B", 60)]
LINKS: dict[str, Any] = {"K": ("LINE", "B", "A"), "KO": ("OUT", "B", "A")}
BANDS = [("boost", ["K"], 190, 215), ("direct", [], 210, 260), ("buck", ["KO"], 250, 270)]


def simple(ohms: tuple[Any, Any] = (1, 2), bands: Any = BANDS, **output: Any) -> Design:
    """400 and 60 turns, boost, direct and buck; resistances of the two sections, and a load."""
    made = design(SIMPLE, LINKS, mains=(230, 200, 260), window=(230, 200, 256), bands=bands)
    windings = tuple(replace(one, resistance_ohm=F(str(ohm))) for one, ohm in zip(made.windings, ohms, strict=True))
    return replace(made, windings=windings, output=replace(made.output, **output))


def rated(made: Design) -> Ratings:
    return ratings(control_table(made))


def found(made: Design, code: str) -> list[Finding]:
    return findings(made, [code])


def hut(**changes: Any) -> Design:
    """The hut as it was with a load of 350 VA on 0.9 mm of wire, which its inverter overheats."""
    made = load(HUT)
    windings = (replace(made.windings[0], wire_mm=F("0.9")), *made.windings[1:])
    heavier = replace(made, windings=windings, output=replace(made.output, load_va=F(350)))
    return replace(heavier, **changes)


def inverter(low: str, high: str, **stated: Any) -> tuple[Feed, ...]:
    return (Feed(name="inverter", winding="battery", volts_v=(F(low), F(high)), **stated),)


# --- loads that cannot be carried ---

BEHIND = 2 + 0.15**2  # ohm: in boost all of the load's current flows in 2 ohm, 60/400 of it in 1 ohm


@pytest.mark.parametrize(("model", "most"), [("power", 230**2 / 4 / BEHIND), ("current", 230**2 / BEHIND)])
def test_the_most_a_band_carries(model: str, most: float) -> None:
    """200 V in, 230 V open: at most V0^2/4Z of constant power, 6539 VA; V0/Z of constant current, 26156 VA."""
    for share, collapses in ((0.999, False), (1.001, True)):
        made = simple(load_va=F(round(most * share)), load_model=model)
        faults = {one.where for one in found(made, "load-collapse") if one.severity is Severity.FAULT}
        assert ('band "boost"' in faults) is collapses


@pytest.mark.parametrize("model", ["power", "current"])
def test_past_it_there_are_no_figures_but_a_fault(model: str) -> None:
    made = simple(load_va=F(40_000), load_model=model)
    told = json.loads(json.dumps(rated_of(rated(made), None).as_json(), allow_nan=False))
    boost = told["bands"][0]
    assert (boost["line_a"], boost["drop_pct"], boost["loaded_output_v"][0]) == (None, None, None)
    assert [one["current_a"] for one in told["sections"]] == [None, None]
    assert boost["open_output_v"][0] == pytest.approx(230)


def test_the_table_gives_no_output_where_the_load_collapses() -> None:
    """A constant current of 40 000/230 A on 2.0225 ohm would turn 230 V over, not leave 122 V."""
    made = simple(load_va=F(40_000), load_model="current")
    (boost, *_) = control_table(made).rows
    assert boost.full is not None
    assert float(boost.full) * 200 < 0.001
    assert any(one.where == 'band "boost"' and (one.witness.output_v or 0) < F(1, 1000)
               for one in found(made, "out-of-window"))  # fmt: skip


def test_a_load_that_a_feed_cannot_carry() -> None:
    made = hut(output=replace(load(HUT).output, load_va=F(12_000)))
    assert {one.where for one in found(made, "load-collapse")} == {'band "boost 2"', 'feed "inverter"'}


# --- the core, where it really works ---


def test_the_magnetising_current_is_that_of_each_input() -> None:
    """M400-50A on 400 turns, 20 cm2: 1.2 T at 213.258 V takes 199 A/m, 1.5 T at 266.573 V 1284 A/m, over 300 mm."""
    ends = [400 * sqrt(2) * pi * 50 * tesla * 0.002 for tesla in (1.2, 1.5)]
    made = design([("w", "N", "A", 400)], {"K": ("OUT", None, "A")}, terminals=("A", "N", "OUT"),
                  mains=(230, F(round(ends[0] * 10**6), 10**6), F(round(ends[1] * 10**6), 10**6)),
                  bands=[("on", ["K"], 200, 280)])  # fmt: skip
    found = rated(replace(made, core=Core(area_mm2=F(2000), path_mm=F(300), grade="M400-50A")))
    assert np.abs(found.carried.line_a)[0] == pytest.approx([h * 0.3 / sqrt(2) / 400 for h in (199, 1284)], rel=1e-4)


def test_a_feed_drives_the_core_and_the_points_too() -> None:
    """60 V on 52 turns of 21.6 cm2 at 49 Hz: 2.454 T, less some drop; the top tap stands at 546/52 of 60 V."""
    made = hut(feeds=inverter("21.5", "60"))
    (fault,) = found(made, "over-flux")
    assert (fault.where, fault.severity) == ('feed "inverter"', Severity.FAULT)
    assert float(fault.witness.flux_t or 0) == pytest.approx(60 / 52 / (sqrt(2) * pi * 49 * 0.00216), rel=5e-3)
    assert max(one.live_v for one in rated(made).sections) == pytest.approx(60 * 546 / 52, rel=5e-3)


def test_the_inverter_heats_the_core_and_all_it_carries() -> None:
    """At 21.5 V, lost is what the feed gives less what the load takes; the iron's part (21.5/24.2)^2 of its worst.

    Times 2.2 K/W the losses are above 65 K: above 105 C in air of 40 C.
    """
    made = hut(protection=Protection(cutout_c=F(110)))
    (feed,) = rated(made).feeds
    assert feed.case is not None
    assert feed.heat is not None
    assert feed.heat.core_w is not None
    cases = feed.case.cases
    lost = (cases.volts * np.conj(cases.source_a) - cases.output * np.conj(cases.load_a)).real
    assert (feed.heat.copper_w or 0) + feed.heat.core_w * (21.5 / 24.2) ** 2 == pytest.approx(lost[0], rel=0.02)
    assert feed.heat.rise_k == pytest.approx(2.2 * ((feed.heat.copper_w or 0) + feed.heat.core_w))
    assert {one.where for code in ("hot", "cutout-trips") for one in found(made, code)} == {'feed "inverter"'}
    assert found(load(HUT), "hot") == []


def test_copper_saved_is_the_load_s_share_however_small_the_load() -> None:
    """(n_O - n_L)/n_O of the load passes the core: 126/546 in boost 2, so 1 - 126/546 of the copper is saved."""
    for load_va in (F(5), F(300)):
        made = replace(load(HUT), output=replace(load(HUT).output, load_va=load_va))
        assert rated(made).bands[0].copper_saved == pytest.approx(1 - 126 / 546, abs=0.003)


# --- what the file states, though it be the usual ---


def test_a_limit_written_out_is_stated_also_where_it_is_the_usual() -> None:
    wound = load(HUT).windings
    thin = (*wound[:3], replace(wound[3], wire_mm=F(2)), wound[4])
    for stated, severity in ((F(3), Severity.FAULT), (None, Severity.WARNING)):
        made = hut(copper=Copper(density_a_mm2=stated), windings=thin)
        assert {one.severity for one in found(made, "over-current")} == {severity}
    for stated, severity in ((F(35, 100), Severity.FAULT), (None, Severity.WARNING)):
        core = replace(load(HUT).core or Core(), fill_limit=stated)
        made = replace(load(HUT), core=core, former=None)
        assert {one.severity for one in found(made, "window-full")} == {severity}


# --- fuses and bridges ---


def test_a_fuse_is_judged_at_both_ends_of_the_range() -> None:
    """KL bridged at 168 V: 36 A in the turns, 10.79 A at the inlet, below twice a fuse of 7 A; not so at 272 V."""
    made = hut(protection=Protection(fuse_a=F(7)))
    blind = {one.where: one for one in found(made, "fuse-blind")}
    assert float(blind["KL bridged"].witness.current_a or 0) == pytest.approx(10.79, abs=0.02)
    assert blind["KL bridged"].witness.input_v == 168
    assert "carry 36 A" in blind["KL bridged"].message


def test_a_bridge_that_shorts_no_turns_is_no_bridge() -> None:
    idle = [Relay(name="KP", poles=(Pole(com="P1", nc="A", no="LAMP"),)),
            Relay(name="KD", poles=(Pole(com="A", nc="D", no="E"),))]  # fmt: skip
    bridges = rated(hut(relays=(*load(HUT).relays, *idle))).bridges
    assert {one.label for one in bridges} == {"KL", "KO"}


def test_the_a2s_of_a_fuse_count_without_its_rating() -> None:
    """16 A of inrush are 20.8 A at the inlet in boost 2: half a cycle at 49 Hz lets 20.8^2/2/98 = 2.21 A2s in."""
    (fault,) = found(hut(protection=Protection(fuse_a2s=F(2))), "fuse-overload")
    assert "2.21 A2s" in fault.message
    assert found(hut(protection=Protection(fuse_a2s=F(23, 10))), "fuse-overload") == []


def test_a_resistance_of_nought_is_stated() -> None:
    coils = replace(load(HUT).windings[4], wire_mm=None, resistance_ohm=F(0))
    made = rated(hut(windings=(*hut().windings[:4], coils)))
    assert not any(text.startswith("resistance_ohm") for text in made.needs)
    assert {isinstance(one, Bridge) and one.section_a is not None for one in made.bridges} == {True}


def test_what_no_resistance_limits_has_no_figure() -> None:
    assert {one.section_a for one in rated(simple((0, 0))).bridges} == {None}


# --- nothing held ---


def test_a_core_and_a_battery_of_a_design_whose_bands_hold_nothing_of_the_range() -> None:
    made = replace(load(HUT), bands=(replace(load(HUT).bands[2], hold_v=(F(10), F(20))),), backup=None)
    told = rated(replace(made, feeds=()))
    assert (told.bands, told.sections, told.window, told.charging) == ((), (), None, ())
    Console(quiet=True).print(screen(rated_of(told, None), 100))
    assert {one.at.name for one in rated(made).sections if one.at} == {"inverter"}


# --- coils, gaps, makes ---


def test_a_coil_supply_whose_coils_state_nothing_is_not_called_enough() -> None:
    relays = tuple(replace(one, coil_v=None, coil_w=None) for one in load(HUT).relays)
    told = rated(replace(load(HUT), relays=relays))
    assert {one.verdict for one in told.coils} == {"not known"}
    assert {text.split()[0] for text in told.needs} == {"coil_v", "coil_w"}
    assert {one.verdict for one in rated(load(HUT)).coils} == {"enough"}


def test_a_contact_that_every_band_closes_holds_off_the_mains_and_the_inverter() -> None:
    """At rest 272 V stand across KM; while the inverter runs out of step, 24.2 x 546/52 = 254.1 V more."""
    gaps = {one.label: one.gap for one in rated(load(HUT)).contacts}
    assert gaps["KM.no"].volts == pytest.approx(272 + 24.2 * 546 / 52)
    assert gaps["KM.no"].where == "feed inverter"
    alone = {one.label: one.gap for one in rated(replace(load(HUT), feeds=())).contacts}
    assert alone["KM.no"].volts == pytest.approx(272)
    weak = (replace(load(HUT).relays[0], contact_v=F(500)), *load(HUT).relays[1:])
    assert [one.where for one in found(replace(load(HUT), relays=weak), "contact-overload")] == ["KM.no"]


def test_a_gap_that_one_band_hides_is_known_in_another() -> None:
    """KX's open side hangs on KG: in buck it stands at neutral, and A at 400/460 of 260 V; in boost nothing says."""
    links = {**LINKS, "KX": ("D", "E", "A"), "KG": ("E", None, "N")}
    bands = [BANDS[0], ("direct", ["KG"], 210, 254), ("buck", ["KO", "KG"], 250, 270)]
    made = design(SIMPLE, links, mains=(230, 200, 260), window=(230, 200, 256), bands=bands)
    gap = next(one.gap for one in rated(made).contacts if one.label == "KX.nc")
    assert gap.volts == pytest.approx(260 * 400 / 460)
    assert not gap.known


def test_a_contact_that_only_the_feed_loads_makes_onto_the_inrush() -> None:
    """The one band is a bypass; KT at rest carries the load of the feed, all 50 A of its inrush."""
    links = {"K": ("LINE", "B", "A"), "KT": ("OUT", "A", "LINE")}
    made = design([*SIMPLE, ("bat", "P", "Q", 40)], links, mains=(230, 200, 260),
                  bands=[("bypass", ["KT"], 190, 265)])  # fmt: skip
    output = Output(nominal_v=F(230), window_v=(F(195), F(256)), load_va=F(300), inrush_a=F(50))
    fed = replace(made, output=output, feeds=(Feed(name="inv", winding="bat", volts_v=(F(20), F(24)), energised=()),))
    makes = {one.label: one.make_a for one in rated(fed).contacts}
    assert makes["KT.nc"] == pytest.approx(50)


# --- loads and wires ---


def leaking(power_factor: str, leakages: tuple[int, int]) -> Design:
    made = simple((0, 0), load_va=F(1000), power_factor=F(power_factor), load_model="current")
    windings = [replace(one, leakage_ohm=F(x), wire_mm=F(30)) for one, x in zip(made.windings, leakages, strict=True)]
    return replace(made, windings=tuple(windings))


def test_the_load_the_window_permits_with_leakage() -> None:
    """Boost at 200 V: 230 V behind x = 3 + 2 x 0.0225 ohm. At unity, I = sqrt(230^2 - 200^2)/x = 37.3 A; at 0.6,
    200^2 + 2 x 200 x 0.8 x I + x^2 I^2 = 230^2 gives 11.893 A. A load of so much current at 230 V: 2735 VA.
    """
    reactance = 3 + 2 * 0.15**2
    plain, lagging = (rated(leaking(cosine, (2, 3))).permitted[0] for cosine in ("1", "0.6"))
    assert plain.va == pytest.approx(230 * sqrt(230**2 - 200**2) / reactance, rel=1e-4)
    assert lagging.va == pytest.approx(230 * 11.893, rel=1e-4)
    assert plain.limited_by == lagging.limited_by == "the window's lower end"


def test_a_band_that_starts_below_the_window_permits_no_load() -> None:
    made = simple()
    low = replace(made, output=replace(made.output, window_v=(F(240), F(256))))
    assert (rated(low).permitted[0].va, rated(low).permitted[0].limited_by) == (0, "the window's lower end")


def test_a_wire_chosen_suits_the_current_that_then_flows() -> None:
    """8 kVA of constant power: the wire's drop raises the current it was chosen for."""
    made = simple((1, 1), load_va=F(8000), load_model="power")
    bare = replace(made, core=Core(area_mm2=F(2000), mean_turn_mm=F(300)), copper=Copper(density_a_mm2=F(12)),
                   windings=tuple(replace(one, resistance_ohm=None) for one in made.windings))  # fmt: skip
    for one in rated(bare).sections:
        assert one.amperes is not None
        assert (one.chosen, one.wire) == (True, next_wire(one.amperes, bare.copper))
        assert one.density == pytest.approx(one.amperes / (pi / 4 * (one.wire.mm if one.wire else 0) ** 2))
    carried = rated(bare).carried
    assert [one.amperes for one in rated(bare).sections] == pytest.approx(
        list(np.abs(carried.sections).max(axis=(0, 1)))
    )


def test_the_wire_s_resistance_is_in_the_table_too() -> None:
    """0.6 mm, 300 mm a turn, 75 C: 60 turns have 1.3348 ohm, 400 turns 400/60 of it. Boost of 1500 VA as 35.27 ohm:
    1.15 x 35.27/(35.27 + 1.3348 (1 + 0.15)) = 1.1020.
    """
    made = simple(load_va=F(1500))
    wires = tuple(replace(one, resistance_ohm=None, wire_mm=F("0.6")) for one in made.windings)
    thin = replace(made, core=Core(area_mm2=F(2000), mean_turn_mm=F(300)), windings=wires)
    ohm = 0.017241 * 60 * 0.3 / (pi / 4 * 0.36) * (1 + 0.00393 * 55)
    assert ohm == pytest.approx(1.3348, abs=1e-4)
    row = control_table(thin).rows[0]
    assert float(row.full or 0) == pytest.approx(1.15 * 35.2667 / (35.2667 + 1.15 * ohm), rel=1e-5)
    assert rated(thin).bands[0].loaded_v[0] == pytest.approx(200 * float(row.full or 0), rel=1e-6)


# --- a relay state that nobody states ---


def test_a_state_that_tapplan_chooses_for_a_feed_is_said_so(capsys: pytest.CaptureFixture[str]) -> None:
    told = rated(replace(load(HUT), backup=None))
    Console(width=100).print(screen(rated_of(told, None), 100))
    assert "no relay state" in capsys.readouterr().out
    assert [one["chosen"] for one in json.loads(json.dumps(rated_of(told, None).as_json()))["feeds"]] == [True]
    assert [one["chosen"] for one in json.loads(json.dumps(rated_of(rated(load(HUT)), None).as_json()))["feeds"]] == [
        False
    ]


def test_what_coils_draw_flows_in_their_winding() -> None:
    """At sqrt(2) U less the rectifier's drop, at the highest input; 0.62 of the AC in the winding comes out as DC."""
    made = load(HUT)
    supply = made.coil_supply
    assert supply is not None
    watts = {relay.name: (float(relay.coil_w or 0), float(relay.coil_v or 1)) for relay in made.relays}
    found, most = rated(made), 0.0
    turns = next(float(one.turns) for one in made.windings if one.name == supply.winding)
    for band in found.bands:
        volts = 2**0.5 * float(max(found.carried.per_turn[found.bands.index(band), 1, 0],
                                   found.carried.loaded_per_turn[found.bands.index(band), 1, 0])) * turns  # fmt: skip
        volts -= float(supply.drop_v)
        amperes = sum(watts[name][0] * volts / watts[name][1] ** 2 for name in band.row.energised)
        most = max(most, amperes / 0.62)
    section = next(one for one in found.sections if one.name == supply.winding)
    assert most > 0.05
    assert section.amperes == pytest.approx(most)
    assert section.at is not None
    assert section.at.name in {band.row.name for band in found.bands}
    plain = rated(replace(made, coil_supply=replace(supply, rectified=False)))
    assert next(one for one in plain.sections if one.name == supply.winding).amperes < most  # type: ignore[operator]
    bare = tuple(replace(one, coil_w=None) for one in made.relays)
    assert next(
        one for one in rated(replace(made, relays=bare)).sections if one.name == supply.winding
    ).amperes == pytest.approx(0, abs=1e-9)
