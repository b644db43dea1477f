"""The rows of `rate` that the file decides: what is short, chosen, or carried where, and their sentences."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.rate import Rated, cost_row, rated, rated_of
from tapplan.answers.raterows import BridgeRow, CoreRow, CostRow, FeedRow, PermittedRow
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.conductor import Strip, Wire
from tapplan.design.file import load, parse
from tapplan.exact import Span
from tapplan.network.turns import Kind
from tapplan.pages.screens import rate as rate_screen
from tapplan.rating.bandwise import Permitted
from tapplan.rating.feeds import CoilsOn
from tapplan.rating.rated import Ratings, ratings
from tapplan.rating.service import At
from tests.examples import ROOT

F = Fraction
DESIGNS = ROOT / "designs"
HUT = DESIGNS / "shepherds-hut.toml"


@cache
def hut() -> Rated:
    return rated(review(load(HUT)))


def core(**changes: object) -> CoreRow:
    made = CoreRow(
        name="x",
        net_mm2=1200.0,
        window_mm2=900.0,
        mean_turn_mm=200.0,
        mass_kg=2.5,
        copper_mm2=300.0,
        copper_kg=1.25,
        fill=0.3,
        fill_limit=0.4,
        reclosing_t=None,
        reclosing_of_limit=None,
    )
    return replace(made, **changes)


def test_a_permitted_load_is_short_where_it_is_under_the_load_of_the_file() -> None:
    """The load of the file is asked of the same design, once at what is least permitted and once just above."""
    least = min(one.va for one in hut().permitted)
    text = HUT.read_text()
    for asked, short in ((int(least) - 1, False), (int(least) + 5, True)):
        changed, count = re.subn(r"(?m)^load_va += .*$", f"load_va = {asked}", text)
        assert count == 1
        rows = rated(review(parse(changed, "hut.toml"))).permitted
        assert [one.short for one in rows] == [one.va < asked for one in rows]
        assert any(one.short for one in rows) is short


def test_the_core_says_what_a_line_that_comes_back_does_only_where_it_leaves() -> None:
    told = core().told
    assert told == "Core: 1200 mm2 net, 2.5 kg; copper 1.25 kg in 300 mm2 bare, 30.0 % of the window (limit 40.0 %)."
    back = core(reclosing_t=3.456, reclosing_of_limit=2.35).told
    assert back.startswith(told + "\n")
    assert "reach for 3.46 T, 2.35 times the limit: a saturated core" in back
    assert "reach for 3.46 T: a saturated core" in core(reclosing_t=3.456).told


def test_a_core_after_a_flight_reaches_for_a_multiple_of_its_highest_flux() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        answer = rated(review(load(path)))
        if answer.core is None or answer.core.reclosing_t is None:
            continue
        levels = [one.flux_t for one in answer.heat if one.flux_t is not None]
        limit = answer.core.reclosing_t / answer.core.reclosing_of_limit
        assert answer.core.reclosing_t > max(levels)
        assert limit == pytest.approx(float(load(path).core.flux_limit_t))
        return
    pytest.fail("no shipped design has a core and a flight of the line")


def test_a_feed_without_a_core_has_no_heat() -> None:
    (feed,) = hut().feeds
    assert feed.warm is (feed.rise_k is not None or feed.copper_w is not None)
    assert feed.flux_t is not None
    assert feed.copper_w is not None


@pytest.mark.parametrize(
    ("va", "most", "length"), [(50.0, 100.0, 20), (100.0, 100.0, 40), (0.0, 100.0, 1), (None, 1, 1)]
)
def test_a_bar_of_permitted_load_is_its_share_of_the_most(va: float | None, most: float, length: int) -> None:
    row = PermittedRow(band="x", input_v=F(200), va=va, limited_by="-", short=False)
    others = [replace(row, va=most)] if va is not None else []
    shown = rate_screen._permitted([row, *others], 200)
    assert isinstance(shown[1], Text)
    assert shown[1].plain.splitlines()[0].count("=") == length


def test_sections_and_contacts_say_where_they_carry_the_most() -> None:
    bands = {one.band for one in hut().bands} | {one.name for one in hut().feeds}
    for one in (*hut().sections, *hut().contacts):
        assert one.at in bands
    for one in hut().sections:
        assert one.place == f"{one.at}, {words.figure(one.at_v, 1)} V"
        assert one.wire_told == one.wire == f"{one.wire_mm:g} mm"
    (feed,) = hut().feeds
    low, high = feed.loaded_output_v
    assert 0 < low < high < 272
    assert feed.current_a > 0


def test_wire_that_the_file_leaves_open_is_chosen_and_said_so() -> None:
    text = re.sub(r"(?m)^wire_mm = .*$", "", HUT.read_text(encoding="utf-8"))
    rows = rated(review(parse(text, "hut.toml"))).sections
    assert {one.wire_chosen for one in rows} == {True}
    assert all(one.wire_told == f"{one.wire} (chosen)" for one in rows)


# --- of ratings made by hand ---


@cache
def found() -> Ratings:
    return ratings(control_table(load(HUT)))


def told(**parts: Any) -> Rated:
    return rated_of(replace(found(), **parts), None)


def section(**parts: Any) -> Any:
    (row,) = told(sections=(replace(found().sections[0], **parts),)).sections
    return row


def test_a_section_without_wire_or_place_has_a_dash() -> None:
    row = section(wire=None, at=None, chosen=True, amperes=None)
    assert (row.wire, row.wire_mm, row.strip_mm, row.strands, row.wire_told) == (None, None, None, None, "-")
    assert (row.at, row.at_v, row.place, row.current_a) == (None, None, "-", None)


@pytest.mark.parametrize(("chosen", "mark"), [(False, ""), (True, " (chosen)")])
def test_the_wire_of_a_section_is_round_or_a_strip(chosen: bool, mark: str) -> None:
    round_wire = section(wire=Wire("0.8 mm", 0.8, 3), chosen=chosen, at=At("boost", 181.26))
    assert (round_wire.wire, round_wire.wire_mm, round_wire.strip_mm, round_wire.strands) == ("0.8 mm", 0.8, None, 3)
    assert (round_wire.wire_told, round_wire.wire_chosen) == (f"3 x 0.8 mm{mark}", chosen)
    assert (round_wire.at, round_wire.at_v, round_wire.place) == ("boost", 181.26, "boost, 181.3 V")
    strip = section(wire=Strip(1.5, 5.0), chosen=chosen)
    assert (strip.wire, strip.wire_mm, strip.strip_mm, strip.strands) == ("1.5 x 5 mm", None, (1.5, 5.0), 1)
    assert strip.wire_told == f"1.5 x 5 mm{mark}"


def contact(relay: dict[str, Any] | None = None, gap: dict[str, Any] | None = None, **parts: Any) -> Any:
    one = found().contacts[0]
    made = replace(one, relay=replace(one.relay, **(relay or {})), gap=replace(one.gap, **(gap or {})), **parts)
    (row,) = told(contacts=(made,)).contacts
    return row


@pytest.mark.parametrize(
    ("volts", "known", "shown"),
    [(None, True, "not fixed"), (None, False, "not fixed"), (61.26, True, "61.3"), (61.26, False, "61.3 or more")],
)
def test_a_gap_says_whether_its_volts_are_all_there_can_be(volts: float | None, known: bool, shown: str) -> None:
    row = contact(gap={"volts": volts, "known": known, "where": "buck"})
    assert (row.gap_v, row.gap_told, row.gap_known, row.gap_at) == (volts, shown, known, "buck")


def test_a_contact_stands_beside_the_ratings_that_its_relay_states() -> None:
    stated = contact({"contact_a": F(10), "contact_v": F(300), "contact_make_a": F(30)}, at=At("boost", 181.0))
    assert (stated.rated_a, stated.rated_v, stated.rated_make_a) == (10, 300, 30)
    assert (stated.at, stated.at_v) == ("boost", 181.0)
    bare = contact({"contact_a": None, "contact_v": None, "contact_make_a": None, "endurance": None}, at=None)
    assert (bare.rated_a, bare.rated_v, bare.rated_make_a, bare.at, bare.at_v) == (None,) * 5
    assert bare.years is None
    assert bare.contact == found().contacts[0].label


@pytest.mark.parametrize(
    ("va", "load", "short"),
    [(299.9, 300, True), (300.0, 300, False), (301.0, 300, False), (None, 300, False), (0.5, None, False)],
)
def test_a_permitted_load_is_short_below_the_load_stated(va: float | None, load: int | None, short: bool) -> None:
    """Where no load is stated nothing is too little."""
    made = found().design
    design = replace(made, output=replace(made.output, load_va=None if load is None else F(load)))
    one = Permitted(found().permitted[0].row, 200.0, va, "copper")
    (row,) = told(design=design, permitted=(one,)).permitted
    assert (row.va, row.short, row.input_v, row.limited_by) == (va, short, 200.0, "copper")
    assert row.limit_told == ("copper  less than load_va" if short else "copper")


@pytest.mark.parametrize("missing", ["iron", "window"])
def test_without_iron_or_window_there_is_no_core(missing: str) -> None:
    assert told(**{missing: None}).core is None
    assert told().core is not None


@pytest.mark.parametrize(
    ("factor", "limit", "reaches", "of_limit"),
    [(None, F(2), None, None), (2.5, F(2), 3.5, 1.75), (2.5, None, 3.5, None)],
)
def test_flux_after_a_flight_is_a_multiple_of_the_highest(
    factor: float | None, limit: F | None, reaches: float | None, of_limit: float | None
) -> None:
    """Of bands at 1.2, 1.4 and none, that at 1.4 T counts; 2.5 times it are 3.5 T, or 1.75 times 2 T."""
    one, iron = found().bands[0], found().iron
    assert iron is not None
    bands = tuple(replace(one, heat=replace(one.heat, flux_t=flux)) for flux in (1.2, 1.4, None))
    made = replace(found(), bands=bands, iron=replace(iron, core=replace(iron.core, flux_limit_t=limit)))
    shown = rated_of(made, factor).core
    assert shown is not None
    assert shown.reclosing_t == (None if reaches is None else pytest.approx(reaches))
    assert shown.reclosing_of_limit == (None if of_limit is None else pytest.approx(of_limit))
    none = rated_of(replace(made, bands=bands[2:]), factor).core
    assert none is not None
    assert (none.reclosing_t, none.reclosing_of_limit) == (None, None)


def test_a_band_has_its_ends_and_the_worse_of_its_figures() -> None:
    one = found().bands[0]
    made = replace(
        one, line_v=(170.0, 190.0), open_v=(210.0, 235.0), loaded_v=(None, 230.0), through_va=300.0, core_va=69.0,
        efficiency=0.9512, coil_w=1.5,
    )  # fmt: skip
    answer = told(bands=(made, replace(made, core_va=None, efficiency=None)))
    band, without = answer.bands
    assert (band.input_v, band.open_output_v, band.loaded_output_v) == ((170, 190), (210, 235), (None, 230))
    assert (band.copper_saved, band.saved) == (pytest.approx(0.77), "77.0 %")
    assert (without.copper_saved, without.saved) == (None, "-")
    heat, cold = answer.heat
    assert (heat.efficiency, cold.efficiency, heat.coil_w) == ("95.1 %", "-", 1.5)
    assert (heat.rise_k, heat.flux_t, heat.copper_w) == (one.heat.rise_k, one.heat.flux_t, one.heat.copper_w)
    assert (band.energised, band.band) == (one.row.energised, one.row.name)


# --- feeds ---


def feed(**parts: Any) -> FeedRow:
    (row,) = told(feeds=(replace(found().feeds[0], **parts),)).feeds
    return row


def test_a_feed_carries_only_where_its_state_serves() -> None:
    one = found().feeds[0]
    assert one.used is not None
    assert one.case is not None
    row = feed()
    assert (row.used, row.carries, row.warm) == (one.used.state.energised, True, True)
    assert row.backfeed is one.used.inlet_live
    assert feed(used=replace(one.used, inlet_live=True)).backfeed
    assert not feed(used=replace(one.used, inlet_live=False)).backfeed
    assert not feed(used=replace(one.used, fault=Kind.SHORTED)).carries
    nothing = feed(used=None, case=None, heat=None)
    assert (nothing.used, nothing.backfeed, nothing.carries, nothing.warm) == (None, False, False, False)
    assert (nothing.loaded_output_v, nothing.current_a, nothing.rise_k, nothing.core_w) == (None,) * 4
    assert (nothing.volts_per_turn, nothing.flux_t, nothing.copper_w) == (None,) * 3
    assert not feed(case=None).carries
    assert feed(case=None).warm
    assert not feed(used=None).carries


def test_each_state_under_a_feed_says_what_stands_at_output_and_inlet() -> None:
    one = found().feeds[0]
    assert one.used is not None
    used = one.used
    others = [each for each in one.states if each.state.energised != used.state.energised]
    made = (
        replace(used, output=Span(F(220), F(230)), line=None, inlet_live=False, fault=None),
        replace(others[0], output=None, line=Span(F(200), F("210.04")), inlet_live=True, fault=Kind.FLOATING),
        replace(others[0], output=None, line=None, inlet_live=True, fault=Kind.UNFED),
    )
    here, live, free = feed(states=made).states
    assert (here.output_told, here.inlet_told, here.used, here.fault) == ("220 - 230", "dead", "in use", None)
    assert (live.output_told, live.inlet_told, live.used, live.fault) == ("floating", "200 - 210", "", "floating")
    assert (free.output_told, free.inlet_told) == ("unfed", "live, not fixed")
    assert (here.inlet_live, live.inlet_live, live.inlet_v) == (False, True, Span(F(200), F("210.04")))
    assert {each.used for each in feed(states=made, used=None).states} == {""}


def row_of_feed(**parts: Any) -> FeedRow:
    made = {
        "name": "x", "states": (), "used": (), "chosen": False, "backfeed": False,
        "loaded_output_v": (215.04, 229.96), "current_a": 27.33,
        "volts_per_turn": 0.4, "flux_t": 1.2346, "copper_w": 9.876, "core_w": 8.7, "rise_k": 41.6,
        "carries": True, "warm": True,
    }  # fmt: skip
    return FeedRow(**{**made, **parts})


def test_a_feed_in_sentences_only_of_what_is_known() -> None:
    flows = "With the load on: 215 - 230 V at the output, up to 27.3 A from the feed."
    heats = "The core works at 1.235 T; 9.88 W lost in copper, 8.7 W in iron; rise 42 K."
    choice = "The file states no relay state for it: the one in use is tapplan's choice."
    assert row_of_feed().told == [flows, heats]
    assert row_of_feed(chosen=True).told == [choice, flows, heats]
    assert row_of_feed(chosen=True, used=None, carries=False, warm=False).told == []
    assert row_of_feed(loaded_output_v=None).told == [heats]
    assert row_of_feed(carries=False).told == [heats]
    assert row_of_feed(warm=False).told == [flows]
    assert row_of_feed(flux_t=None, rise_k=None, warm=True).told[-1].startswith("The core works at - T; 9.88 W")


# --- supplies, bridges, cost ---


@pytest.mark.parametrize(("cyclic", "limits"), [((F("14.1"), F(15)), ", cyclic 14.1 - 15 V"), (None, "")])
def test_what_the_charger_must_make_and_out_of_what(cyclic: Any, limits: str) -> None:
    """The least of the low ends and the most of the high ones, over all bands."""
    battery = found().design.battery
    assert battery is not None
    design = replace(found().design, battery=replace(battery, float_v=(F("13.5"), F("13.8")), cyclic_v=cyclic))
    rows = tuple(
        replace(found().charging[0], peak_v=ends)
        for ends in ((20.04, 23.0), (18.26, 22.0), (19.0, 24.55))
    )  # fmt: skip
    answer = told(design=design, charging=rows)
    assert answer.charging_told == f"The charger must make float 13.5 - 13.8 V{limits} out of 18.3 - 24.6 V."
    assert [one.peak_v for one in answer.charging] == [(20.04, 23.0), (18.26, 22.0), (19.0, 24.55)]
    assert told(design=design, charging=()).charging_told == ""
    assert told(design=replace(design, battery=None), charging=rows).charging_told == ""


@pytest.mark.parametrize(("volts", "needed", "starved"), [(9.5, 9.6, True), (9.6, 9.6, False), (9.5, None, False)])
def test_coils_starve_below_the_volts_that_they_need(volts: float, needed: float | None, starved: bool) -> None:
    one: CoilsOn = replace(found().coils[0], volts=volts, needed_v=needed, power_w=None)
    (row,) = told(coils=(one,)).coil_supply
    assert (row.volts, row.needed_v, row.power_w, row.starved) == (volts, needed, None, starved)
    assert (row.band, row.verdict) == (one.row.name, one.verdict)


def test_a_bridge_in_a_sentence_where_both_currents_are_known() -> None:
    one = BridgeRow(pole="K", band="boost", at_v=200.0, section_a=141.6, line_a=12.34)
    assert one.told == 'K bridged in "boost": 142 A in the shorted turns, 12.3 A at the inlet'
    assert replace(one, section_a=None).told == ""
    assert replace(one, line_a=None).told == ""


def test_cost_in_a_sentence_and_none_without_prices() -> None:
    one = CostRow(currency="EUR", iron=6.13, copper=None, relays=12.0, leads=0.5, total=None)
    assert one.told == (
        "By the prices stated: not known EUR (iron 6.13, copper not known, relays 12.00, leads 0.50); work not "
        "counted."
    )
    assert replace(one, copper=3.0, total=21.63).told.startswith("By the prices stated: 21.63 EUR (iron 6.13, ")
    assert cost_row(replace(found(), design=replace(found().design, prices=None))) is None


def test_a_core_whose_layers_decide_says_so() -> None:
    assert core(by_layers=True).limit_told == "its layers decide"
    assert core().limit_told == "limit 40.0 %"
    assert core(net_mm2=None, fill=None).told.startswith("Core: - mm2 net, 2.5 kg; ")


def test_limits_that_are_broken_are_wrong_only_as_faults() -> None:
    assert not told().wrong
    assert told().findings == ()
    needs = ("a", "b")
    assert told(needs=needs).needs == needs
