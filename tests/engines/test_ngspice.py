"""ngspice, a general circuit simulator, against the exact ratios: shipped designs and hundreds of random wirings."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest

from tapplan.control.drop import load_ohm
from tapplan.design.file import load
from tapplan.design.model import Design
from tapplan.network.circuit import circuit_of
from tapplan.network.loaded import loaded_ratio
from tapplan.network.states import each_state
from tapplan.network.turns import Gain, outcome
from tests.engines.netlists import Case, measured, need_ngspice
from tests.examples import SHIPPED, design, wiring


def test_the_stated_settings_reproduce_the_reference_deck(tmp_path: Path) -> None:
    """210/25/35 turns into the second tap: 264.255319149 V out of 230 V by the turns."""
    need_ngspice()
    sections = (("a", "N", "T1", 210), ("b", "T1", "LINE", 25), ("c", "LINE", "OUT", 35))
    (found,) = measured([Case(circuit_of(design(sections, {})), frozenset())], tmp_path)
    assert 230 * found == pytest.approx(264.255319149, rel=1e-11)


def test_every_clean_state_of_every_shipped_design(tmp_path: Path) -> None:
    need_ngspice()
    cases, expected = [], []
    for file in SHIPPED:
        circuit = circuit_of(load(file))
        for state in each_state(circuit):
            if state.ratio is not None:
                cases.append(Case(circuit, circuit.state(state.energised)))
                expected.append(float(state.ratio))
    assert len(cases) > 40
    assert measured(cases, tmp_path) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def random_cases(count: int) -> list[tuple[Case, Fraction]]:
    """Random wirings with any set of closed contacts that has a ratio, the same ones in every run.

    Most states with the ratios 0 and 1 are passed over, or they would be most of the cases.
    """
    chance = Random(20260301)
    found: list[tuple[Case, Fraction]] = []
    while len(found) < count:
        circuit = circuit_of(wiring(chance.randint, cores=chance.choice((1, 1, 2))))
        for closed in (
            circuit.state(relay for relay in circuit.relays if chance.random() < 0.5),
            frozenset(number for number in range(len(circuit.contacts)) if chance.random() < 0.5),
        ):
            result = outcome(circuit, closed)
            if isinstance(result, Gain) and (result.ratio not in (0, 1) or chance.random() < 0.1):
                found.append((Case(circuit, closed), result.ratio))
    return found


def test_hundreds_of_random_networks(tmp_path: Path) -> None:
    need_ngspice()
    cases = random_cases(600)
    assert len({ratio for _, ratio in cases}) >= 200
    answers = measured([case for case, _ in cases], tmp_path)
    assert answers == pytest.approx([float(ratio) for _, ratio in cases], rel=1e-9, abs=1e-9)


def resistive(made: Design, seed: int) -> Design:
    return replace(
        made,
        windings=tuple(
            replace(w, resistance_ohm=Fraction(1 + (seed * 7 + n * 3) % 20, 10)) for n, w in enumerate(made.windings)
        ),
        relays=tuple(replace(r, contact_ohm=Fraction(1 + (seed + n) % 9, 50)) for n, r in enumerate(made.relays)),
    )


def test_loaded_ratios_agree_within_the_engine_s_digits(tmp_path: Path) -> None:
    """Ideal cores against coupled inductors of turns squared henry: the magnetising current is below 1e-6."""
    need_ngspice()
    cases, expected = [], []
    for seed, file in enumerate(SHIPPED):
        made = resistive(load(file), seed)
        circuit, load_value = circuit_of(made), load_ohm(made)
        assert load_value is not None
        for state in each_state(circuit):
            if state.ratio is not None:
                closed = circuit.state(state.energised)
                full = loaded_ratio(circuit, closed, load_value)
                assert full is not None
                assert full < state.ratio
                cases.append(Case(circuit, closed, load_value, resistive=True))
                expected.append(float(full))
    assert measured(cases, tmp_path) == pytest.approx(expected, rel=1e-6)
