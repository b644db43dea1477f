"""Ratio and reading with the load connected, for the three loads, from a source and one resistance behind it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import sqrt

import pytest

from tapplan.control.drop import COLLAPSED, Loaded, all_loaded, load_ohm, loaded
from tapplan.control.source import Source
from tapplan.design.model import Design, Sensing
from tapplan.network.circuit import circuit_of
from tapplan.network.states import state_of
from tests.examples import PAIR, TAPPED, design

F = Fraction
OHMS = {"base": F("0.9"), "one": F("0.12"), "two": F("0.2")}
NEARLY = 3e-7  # floating point gives contacts without resistance a millionth of an ohm
LOW, VA = 180.0, 2000
G = 227 / 200  # line on the tap at 200 turns, output on that at 227
OPEN = G * LOW
BEHIND = 0.12 + 0.9 * (27 / 200) ** 2  # the series winding, and the common one, which carries 27/200 of the amperes


def stage(model: str, load_va: int | None = VA) -> Design:
    sensing = Sensing(at=("S2", "S1"))
    made = design((*TAPPED, ("sense", "S1", "S2", 20)), PAIR, sensing=sensing, load_va=load_va)
    ohmic = tuple(replace(one, resistance_ohm=OHMS.get(one.name, F(0))) for one in made.windings)
    return replace(made, windings=ohmic, output=replace(made.output, load_model=model, power_factor=F(1)))  # type: ignore[arg-type]


def found(made: Design) -> Loaded:
    circuit = circuit_of(made)
    return loaded(made, circuit, state_of(circuit, ()))


def output_volts(model: str) -> float:
    """At the lowest mains: R / (R + r) of the open volts; less r I; or the upper root of V (E - V) = r P."""
    if model == "impedance":
        ohm = 230**2 / VA
        return OPEN * ohm / (ohm + BEHIND)
    if model == "current":
        return OPEN - BEHIND * VA / 230
    return (OPEN + sqrt(OPEN**2 - 4 * BEHIND * VA)) / 2


@pytest.mark.parametrize("model", ["impedance", "current", "power"])
def test_the_output_under_load_by_hand(model: str) -> None:
    share = output_volts(model) / LOW
    assert 0 <= share - float(found(stage(model)).ratio or 0) < NEARLY


@pytest.mark.parametrize("model", ["impedance", "current", "power"])
def test_a_winding_in_the_air_reads_the_turns_of_the_loaded_core(model: str) -> None:
    """The 27 turns of the series winding make up for its drop and for what the output is above the line."""
    volts = output_volts(model)
    amperes = (OPEN - volts) / BEHIND
    turn = (volts - LOW + 0.12 * amperes) / 27
    assert float(found(stage(model)).sensed or 0) == pytest.approx(20 * turn / LOW, abs=NEARLY)


def test_a_load_that_cannot_be_carried_leaves_next_to_nothing() -> None:
    """More than E^2 / 4r = 76 kW no voltage carries; half of that it does."""
    most = OPEN**2 / 4 / BEHIND
    assert found(stage("power", round(1.01 * most))).ratio == COLLAPSED
    assert float(found(stage("power", round(0.99 * most))).ratio or 0) > G / 2


def test_without_a_load_or_without_resistance_there_is_no_drop() -> None:
    assert found(stage("power", None)) == Loaded(F(227, 200))
    ideal = design(TAPPED, PAIR, load_va=VA)
    assert found(replace(ideal, output=replace(ideal.output, load_model="power"))) == Loaded(F(227, 200))
    assert load_ohm(stage("power", None)) is None
    assert load_ohm(ideal) == F(230**2, VA)


def test_states_are_answered_in_their_order_and_one_without_a_ratio_has_none() -> None:
    """The line on a winding whose far end nothing joins: no ratio."""
    relays = {**PAIR, "KN": ("N", "Z", "M")}
    made = stage("current")
    made = replace(made, windings=(replace(made.windings[0], ends=("Z", "A")), *made.windings[1:]))
    made = replace(made, relays=design(TAPPED, relays).relays)
    circuit = circuit_of(made)
    states = [state_of(circuit, driven) for driven in ((), ("KN",), ("KL", "KO"))]
    each = all_loaded(made, circuit, states)
    assert states[1].ratio is None
    assert each[1] == Loaded(None)
    assert [each[0], each[2]] == [loaded(made, circuit, states[0]), loaded(made, circuit, states[2])]
    assert each[0] != each[2]


@pytest.mark.parametrize(
    ("ohm", "load_va", "stiff"), [(0, 1500, True), (1, 1500, False), (1, 0, True), (0, 0, True), (2, 1, False)]
)
def test_a_source_is_stiff_without_a_resistance_or_without_a_load(ohm: int, load_va: int, stiff: bool) -> None:
    assert Source(F(ohm), F(load_va), F(230), "power").stiff is stiff
