"""What a feed makes of every relay state, by hand: coupled cores, a choke in the lead, a switched neutral, shorts."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from tapplan.answers.rate import rated_of
from tapplan.checks.finding import Severity
from tapplan.checks.rules import findings
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.design.model import Design, Feed, Pole, Relay, Winding
from tapplan.exact import Span
from tapplan.network.circuit import Across, circuit_of
from tapplan.network.flow import Impedances, flows
from tapplan.network.turns import Kind
from tapplan.pages.screens.rate import screen
from tapplan.rating.fed import Fed
from tapplan.rating.rated import ratings
from tests.examples import ROOT, design

F = Fraction
HUT = ROOT / "designs" / "shepherds-hut.toml"

MAIN = [("body", "N", "A", (400, "main")), ("step", "A", "B", (60, "main"))]
INVERTER = [("lv", "P", "Q", (12, "inv")), ("hv", "N", "H", (230, "inv"))]
LINKS = {"KM": ("LINE", None, "X"), "KL": ("X", "B", "A"), "KO": ("OUT", "B", "A"), "KI": ("H", None, "B")}


def two_cores(sections: list[Any], energised: tuple[str, ...] = ("KI", "KM")) -> Design:
    """An inverter's own transformer whose high side KI puts across the tapped winding of another core."""
    made = design(sections, LINKS, mains=(230, 190, 270), window=(230, 200, 260))
    return replace(made, feeds=(Feed(name="inverter", winding="lv", volts_v=(F(10), F(14)), energised=energised),))


def used(made: Design) -> Fed:
    (feed,) = ratings(control_table(made)).feeds
    assert feed.used is not None
    return feed.used


def hut(*, energised: tuple[str, ...], **changes: Any) -> Design:
    """The hut whose feed runs with these relays driven."""
    made = replace(load(HUT), **changes)
    return replace(made, feeds=tuple(replace(one, energised=energised) for one in made.feeds))


def relay(name: str, com: str, no: str) -> Relay:
    return Relay(name=name, poles=(Pole(com=com, no=no),))


def faults(made: Design, *codes: str) -> set[tuple[str, str]]:
    return {(one.code, one.where) for one in findings(made, codes) if one.severity is Severity.FAULT}


@pytest.mark.parametrize("sections", [MAIN + INVERTER, INVERTER + MAIN], ids=["tapped core first", "fed core first"])
def test_a_core_that_loops_tie_to_the_fed_one_is_live_whichever_the_file_names_first(sections: list[Any]) -> None:
    """230 turns of the fed core stand across 460 of the other: the pin on tap B has 230/12 of 10 to 14 V."""
    made = two_cores(sections)
    assert used(made).line == Span(F(230, 12) * 10, F(230, 12) * 14)
    (found,) = findings(made, ["backfeed"])
    assert (found.severity, found.witness.to_v) == (Severity.FAULT, F(230, 12) * 14)
    feeds = json.loads(json.dumps(rated_of(ratings(control_table(made)), None).as_json()["feeds"]))
    (state,) = [one for one in feeds[0]["states"] if set(one["energised"]) == {"KI", "KM"}]
    assert state["inlet_v"] == [pytest.approx(191.667, abs=1e-3), pytest.approx(268.333, abs=1e-3)]


def test_the_volts_of_coupled_cores_are_those_of_the_node_equations() -> None:
    """The same wiring through the complex network, driven at the inverter's winding."""
    made = two_cores(MAIN + INVERTER)
    circuit = circuit_of(made)
    lv = next(section for section in circuit.sections if section.name == "lv")
    least = Impedances((1e-6 + 0j,) * 4, (1e-6,) * len(circuit.contacts), (0j, 0j))
    flow = flows(circuit, [circuit.state(("KI", "KM"))], least, Across(lv.finish, lv.start))
    pin = used(made).line
    assert pin is not None
    assert np.abs(flow.points[0, 0, circuit.line]) * 14 == pytest.approx(float(pin.high), rel=1e-6)


def test_a_core_that_nothing_drives_leaves_the_output_on_nothing_fed() -> None:
    """With KI open the tapped winding is on no source."""
    made = two_cores(MAIN + INVERTER, energised=("KM",))
    assert used(made).fault is Kind.FLOATING
    assert not used(made).inlet_live
    assert faults(made, "floating-state", "backfeed") == {("floating-state", 'feed "inverter"')}


def choked(**ends: Any) -> Design:
    """The hut with KM at rest on a choke of its own core: no load current flows through it."""
    made = hut(energised=())
    windings = (*made.windings, Winding(name="choke", turns=F(10), core="L", **ends))
    first = replace(made.relays[0], nc="Y")
    return replace(made, windings=windings, relays=(first, *made.relays[1:]))


def test_an_unloaded_choke_in_the_lead_keeps_the_pin_live() -> None:
    """No current, no volts across the choke: the pin has the top tap's 546/52 of 21.5 to 24.2 V."""
    made = choked(ends=("Y", "X"))
    assert used(made).inlet_live
    assert used(made).line == Span(F("21.5") * 546 / 52, F("24.2") * 546 / 52)
    assert faults(made, "backfeed") == {("backfeed", 'feed "inverter"')}


def test_a_choke_from_the_pin_to_the_shared_neutral_is_dead() -> None:
    made = choked(ends=("Y", "NEUTRAL"))
    assert (used(made).inlet_live, used(made).line) == (False, None)
    assert faults(made, "backfeed") == set()


def test_a_pin_on_a_live_winding_that_is_off_neutral_is_never_called_dead() -> None:
    """KN would join the winding's foot to neutral and rests: the pin is live, its volts against neutral not fixed."""
    made = hut(energised=("KM",))
    windings = (replace(made.windings[0], ends=("NB", "A")), *made.windings[1:])
    made = replace(made, windings=windings, relays=(*made.relays, relay("KN", "NEUTRAL", "NB")),
                   bands=tuple(replace(one, energised=(*one.energised, "KN")) for one in made.bands))  # fmt: skip
    assert (used(made).inlet_live, used(made).line) == (True, None)
    assert faults(made, "backfeed", "floating-state") == {
        ("backfeed", 'feed "inverter"'), ("floating-state", 'feed "inverter"')}  # fmt: skip
    feeds = json.loads(json.dumps(rated_of(ratings(control_table(made)), None).as_json()["feeds"]))
    (state,) = [one for one in feeds[0]["states"] if one["energised"] == ["KM"]]
    assert (state["inlet_live"], state["inlet_v"], feeds[0]["backfeed"]) == (True, None, True)
    closed = next(one for one in feeds[0]["states"] if one["energised"] == ["KM", "KN"])
    assert closed["inlet_v"] == [pytest.approx(225.75), pytest.approx(254.1)]


def test_a_feed_whose_state_shorts_turns_is_a_fault_of_the_feed() -> None:
    made = hut(energised=("KS",), relays=(*load(HUT).relays, relay("KS", "A", "B")))
    assert faults(made, "shorted-state") == {("shorted-state", 'feed "inverter"')}
    assert used(made).fault is Kind.SHORTED


def test_a_feed_that_leaves_the_output_at_neutral_is_a_fault() -> None:
    made = load(HUT)
    last = replace(made.relays[2], nc="NEUTRAL")
    made = hut(energised=(), relays=(*made.relays[:2], last))
    assert faults(made, "dead-state") >= {("dead-state", 'feed "inverter"')}


def test_the_screen_names_what_is_live_and_what_is_shorted(capsys: pytest.CaptureFixture[str]) -> None:
    made = hut(energised=("KS",), relays=(*load(HUT).relays, relay("KS", "A", "B")))
    Console(width=120).print(screen(rated_of(ratings(control_table(made)), None), 100))
    lines = capsys.readouterr().out.splitlines()
    (line,) = [line.split() for line in lines if "in use" in line]
    assert line == ["KS", "shorted", "dead", "in", "use"]
