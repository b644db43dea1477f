"""The three load models: each closed form satisfies its own definition, whatever stands behind the output."""

from __future__ import annotations

from math import acos

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.network.load import Load, load_current

VOLTS, BEHIND = st.floats(180, 280), st.complex_numbers(max_magnitude=3)


def settled(load: Load, opened: complex, behind: complex) -> tuple[complex, complex]:
    """The volts left at the load and the current it takes."""
    current = complex(load_current(load, np.array([opened]), np.array([behind]))[0])
    return opened - behind * current, current


@given(VOLTS, BEHIND, st.floats(1, 1500), st.floats(0.2, 1), st.floats(-3, 3))
def test_constant_impedance(opened: float, behind: complex, va: float, factor: float, phase: float) -> None:
    load = Load(va, 230, factor, "impedance")
    volts, current = settled(load, opened * np.exp(1j * phase), behind)
    assert abs(volts / current) == pytest.approx(230**2 / va)
    assert np.angle(volts / current) == pytest.approx(acos(factor), abs=1e-6)


@given(VOLTS, BEHIND, st.floats(1, 1500), st.floats(0.2, 1), st.floats(-3, 3))
def test_constant_current(opened: float, behind: complex, va: float, factor: float, phase: float) -> None:
    load = Load(va, 230, factor, "current")
    volts, current = settled(load, opened * np.exp(1j * phase), behind)
    assert abs(current) == pytest.approx(va / 230)
    assert np.angle(volts / current) == pytest.approx(acos(factor), abs=1e-6)


@given(VOLTS, BEHIND, st.floats(1, 1500), st.floats(0.2, 1), st.floats(-3, 3))
def test_constant_power(opened: float, behind: complex, va: float, factor: float, phase: float) -> None:
    load = Load(va, 230, factor, "power")
    volts, current = settled(load, opened * np.exp(1j * phase), behind)
    assert abs(volts * np.conj(current)) == pytest.approx(va, rel=1e-6)
    assert np.angle(volts / current) == pytest.approx(acos(factor), abs=1e-5)
    assert abs(volts) > opened / 2 - 1e-6, "the upper of the two operating points"


def test_a_power_that_cannot_be_carried_is_not_a_number() -> None:
    """100 V behind 10 ohm gives at most 250 W."""
    for va, carried in ((249.0, True), (251.0, False)):
        found = load_current(Load(va, 230, 1.0, "power"), np.array([100 + 0j]), np.array([10 + 0j]))
        assert bool(np.isfinite(found[0])) == carried


def test_no_load_draws_nothing() -> None:
    assert load_current(Load(0, 230, 1.0, "power"), np.array([230 + 0j]), np.array([1 + 0j]))[0] == 0
