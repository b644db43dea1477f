"""Every voltage and current at once: laws of circuits, and the exact solver as a second reading."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.design.file import load
from tapplan.network.circuit import Across, Circuit, circuit_of
from tapplan.network.flow import LEAST_SIEMENS, Flow, Impedances, flows
from tapplan.network.load import Load, load_current
from tapplan.network.loaded import loaded_ratio
from tapplan.network.states import State, each_state
from tests.engines.test_ngspice import resistive
from tests.examples import SHIPPED, design, wiring

F = Fraction


def stated(circuit: Circuit) -> Impedances:
    return Impedances(
        tuple(complex(float(one.resistance_ohm or 0)) for one in circuit.sections),
        tuple(float(one.ohm) for one in circuit.contacts),
        tuple(0j for _ in circuit.cores),
    )


def sound(circuit: Circuit) -> list[State]:
    return [state for state in each_state(circuit) if state.ratio is not None]


def solved(circuit: Circuit, impedances: Impedances) -> tuple[list[State], Flow]:
    states = sound(circuit)
    return states, flows(circuit, [circuit.state(state.energised) for state in states], impedances)


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_open_and_loaded_ratios_are_the_exact_ones(file) -> None:  # type: ignore[no-untyped-def]
    circuit = circuit_of(resistive(load(file), 3))
    states, flow = solved(circuit, stated(circuit))
    output = flow.output(circuit)
    load_ohm = F(47)
    drawn = load_current(Load(230.0**2 / 47, 230.0, 1.0, "impedance"), output[:, 0], -output[:, 1])
    for place, state in enumerate(states):
        assert output[place, 0] == pytest.approx(float(state.ratio or 0), abs=1e-9)
        exact = loaded_ratio(circuit, circuit.state(state.energised), load_ohm)
        assert exact is not None
        assert output[place, 0] + output[place, 1] * drawn[place] == pytest.approx(float(exact), abs=1e-9)


def random_circuit(seed: int) -> tuple[Circuit, Impedances]:
    chance = Random(seed)
    circuit = circuit_of(wiring(chance.randint, cores=chance.choice((1, 1, 2))))
    return circuit, Impedances(
        tuple(complex(chance.uniform(0.1, 2), chance.uniform(0, 1)) for _ in circuit.sections),
        tuple(chance.uniform(0.01, 0.1) for _ in circuit.contacts),
        tuple(0j for _ in circuit.cores),
    )


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.floats(10, 200), st.floats(0.3, 1.0))
def test_power_in_is_power_out_and_losses(seed: int, ohm: float, factor: float) -> None:
    """Complex power at the inlet is the load's, and I^2 z of every section and contact (Tellegen)."""
    circuit, impedances = random_circuit(seed)
    states, flow = solved(circuit, impedances)
    if not states:
        return
    output = flow.output(circuit)
    drawn = load_current(Load(230.0**2 / ohm, 230.0, factor, "impedance"), output[:, 0], -output[:, 1])
    volts = output[:, 0] + output[:, 1] * drawn
    line = flow.line[:, 0] + flow.line[:, 1] * drawn
    sections = flow.sections[:, 0] + flow.sections[:, 1] * drawn[:, None]
    contacts = flow.contacts[:, 0] + flow.contacts[:, 1] * drawn[:, None]
    lost = np.abs(sections) ** 2 @ np.array(impedances.sections) + np.abs(contacts) ** 2 @ np.array(
        impedances.contacts
    )
    # the least leak of 1e-12 S at the points of a section of few turns counts as some hundred squared times as much
    assert np.conj(line) == pytest.approx(volts * np.conj(drawn) + lost, abs=1e-6)


@settings(max_examples=60)
@given(st.integers(0, 10**6))
def test_ampere_turns_balance_on_every_core(seed: int) -> None:
    circuit, impedances = random_circuit(seed)
    states, flow = solved(circuit, impedances)
    for core in range(len(circuit.cores)):
        turns = np.array([one.turns if one.core == core else 0 for one in circuit.sections])
        if states:
            assert np.abs(flow.sections @ turns).max() < 1e-6


@settings(max_examples=60)
@given(st.integers(0, 10**6))
def test_currents_balance_in_every_point(seed: int) -> None:
    """Kirchhoff: what leaves a point by windings and contacts comes in by the line or goes out by the load.

    But for what leaks through `LEAST_SIEMENS`, which shows where odd wirings raise a point to tens of kilovolts.
    """
    circuit, impedances = random_circuit(seed)
    states, flow = solved(circuit, impedances)
    for place in range(len(states)):
        for cause in (0, 1):
            left = np.zeros(len(circuit.points), dtype=complex)
            for number, section in enumerate(circuit.sections):
                left[section.start] += flow.sections[place, cause, number]
                left[section.finish] -= flow.sections[place, cause, number]
            for number, contact in enumerate(circuit.contacts):
                left[contact.com] += flow.contacts[place, cause, number]
                left[contact.end] -= flow.contacts[place, cause, number]
            left[circuit.line] -= flow.line[place, cause]
            left[circuit.output] += cause
            left[circuit.neutral] = 0
            assert np.abs(left).max() < 1e-8 + 2 * LEAST_SIEMENS * np.abs(flow.points[place, cause]).max()


def test_doubling_all_turns_halves_volts_per_turn_and_moves_no_current() -> None:
    made = resistive(load(SHIPPED[0]), 1)
    double = replace(made, windings=tuple(replace(one, turns=2 * one.turns) for one in made.windings))
    (_, once), (_, twice) = (solved(circuit_of(one), stated(circuit_of(one))) for one in (made, double))
    assert twice.per_turn == pytest.approx(once.per_turn / 2)
    assert twice.sections == pytest.approx(once.sections, abs=1e-9)


def test_a_source_across_another_winding_drives_the_output_by_its_turns() -> None:
    """24 V across 52 turns; the output on 546 turns stands at 252 V, and the open line pin carries nothing."""
    circuit = circuit_of(load(next(file for file in SHIPPED if file.stem == "shepherds-hut")))
    battery = circuit.sections[3]
    flow = flows(circuit, [circuit.state(())], stated(circuit), Across(battery.finish, battery.start))
    assert 24 * flow.output(circuit)[0, 0] == pytest.approx(24 * 546 / 52, rel=1e-6)


def test_a_magnetising_branch_draws_a_lagging_current() -> None:
    """y = -j b siemens per turn squared: one volt across N turns draws b/N^2 ampere, 90 degrees behind."""
    circuit = circuit_of(load(next(file for file in SHIPPED if file.stem == "hostel-review")))
    plain = stated(circuit)
    flow = flows(circuit, [circuit.state(())], replace(plain, cores=(-500j,)))
    turns = 610 + 70
    assert flow.line[0, 0] == pytest.approx(-500j / turns**2, rel=1e-6)


IDLE = (("base", "N", "LINE", 200), ("spare", "LINE", "FREE", (30, "other")), ("read", "P", "Q", (15, "other")))


@pytest.mark.parametrize("end", ["LINE", "OUT"])
def test_a_core_that_nothing_drives_has_no_volts_per_turn(end: str) -> None:
    """A winding that hangs on live copper by one end carries nothing, so its core has no flux: it is mere wire."""
    sections = [(name, end if start == "LINE" and name == "spare" else start, *rest) for name, start, *rest in IDLE]
    circuit = circuit_of(design([*sections, ("step", "LINE", "OUT", 40)], {"K": ("X", "P", "Q")}))
    flow = flows(circuit, [circuit.state(())], stated(circuit))
    driven, idle = circuit.cores.index("core"), circuit.cores.index("other")
    assert flow.per_turn[0, 0, driven] == pytest.approx(1 / 200)
    assert abs(flow.per_turn[0, 0, idle]) < 1e-9
    hanging = flow.points[0, 0]
    live, free = (hanging[circuit.points.index(point)] for point in (end, "FREE"))
    assert free == pytest.approx(live)


def test_a_bypass_leaves_the_core_without_volts() -> None:
    """The line by contacts alone to the output, and to one end of a winding whose other end is off neutral."""
    contacts = {"KO": ("OUT", "LINE", "X"), "KN": ("LINE", "TOP", "Y"), "KE": ("END", "Z", "N")}
    circuit = circuit_of(design([("main", "END", "TOP", 300)], contacts))
    rest, fed = (circuit.state(energised) for energised in ((), ("KE",)))
    flow = flows(circuit, [rest, fed], stated(circuit))
    assert abs(flow.per_turn[0, 0, 0]) < 1e-9
    assert flow.per_turn[1, 0, 0] == pytest.approx(1 / 300)
    assert flow.output(circuit)[:, 0] == pytest.approx([1, 1])
