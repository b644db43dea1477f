"""Rules and worked examples of winding that others printed, against what tapplan works out; each with its source.

W13: "Calculation of an auto transformer", a public document ("Netztrafo berechnen", scribd 297259131). W14: the
transformer page of howyoubuildit.com. W15: "pwrtransformerprimaryturns" of wa2ise.com, a rule of thumb.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import ceil, pi, sqrt

import pytest

from tapplan.design.materials import awg_mm
from tapplan.design.model import Copper, Core
from tapplan.rating.iron import Iron, iron_of
from tapplan.rating.wire import next_wire
from tapplan.study.cores import thumb_va
from tests.examples import PAIR, TAPPED, design

F = Fraction
INCH = 25.4


def iron(area_mm2: float, share: str = "1") -> Iron:
    found = iron_of(replace(design(TAPPED, PAIR), core=Core(area_mm2=F(str(area_mm2)), stack_factor=F(share))))
    assert found is not None
    return found


def volts_per_turn(core: Iron, tesla: float, hertz: float) -> float:
    """The volts at which the core works at so many tesla: flux is in proportion to them."""
    at_one = core.flux_t(1.0, hertz)
    assert at_one is not None
    return tesla / at_one


def test_w13_turns_a_volt_and_turns() -> None:
    """11.52 cm2, 1.3 T, fill 0.9, 50 Hz: prints 3.34 turns a volt, 735 (734.8) for 220 V, 368 (367.5) for 110 V."""
    turns_a_volt = 1 / volts_per_turn(iron(1152, "0.9"), 1.3, 50)
    assert f"{turns_a_volt:.2f}" == "3.34"
    assert round(220 * round(turns_a_volt, 2)) == 735
    assert f"{220 * round(turns_a_volt, 2):.1f}" == "734.8"
    assert 735 / 2 == 367.5


def test_w13_power_of_the_core() -> None:
    """(11.52/1.3)^2 = 78.5 W as two windings, 78.5/(1 - 110/220) = 157 W with the tap."""
    assert f"{thumb_va(1152):.1f}" == "78.5"
    assert f"{thumb_va(1152) / (1 - 110 / 220):.0f}" == "157"
    assert pytest.approx(1.427, abs=5e-4) == 157 / 110  # it prints 1.42


def test_w13_wire() -> None:
    """At 2.5 A/mm2, 1.427 A take 2 sqrt(I/(pi S)) = 0.85 mm; the 0.36 mm that it prints carry 0.25 A."""
    needed = 2 * sqrt(1.427 / (pi * 2.5))
    assert f"{needed:.2f}" == "0.85"
    chosen = next_wire(1.427, Copper(density_a_mm2=F("2.5")))
    assert chosen is not None
    assert chosen.mm == 0.9  # the next preferred diameter
    assert 2.5 * pi / 4 * 0.36**2 == pytest.approx(0.25, abs=0.005)


def test_w14_turns() -> None:
    """120 V, 60 Hz, 17,000 gauss, 3.05 cm2, stacking 0.9: prints 965 and 97 turns."""
    per_turn = volts_per_turn(iron(305, "0.9"), 1.7, 60)
    assert 120 / per_turn == pytest.approx(965, abs=0.7)  # 4.44 there, sqrt(2) pi = 4.4429 here
    assert ceil(12 / per_turn) == 97


def test_w14_wire() -> None:
    """33 AWG for 0.1 A at 500 circular mils an ampere: 50 of them, a circle of sqrt(50) thousandths of an inch."""
    mils = sqrt(500 * 0.1)
    density = 0.1 / (pi / 4 * (mils * INCH / 1000) ** 2)
    chosen = next_wire(0.1, Copper(density_a_mm2=F(round(density * 10**6), 10**6), series="awg"))
    assert chosen is not None
    assert chosen.name == "AWG 33"
    assert awg_mm(33) * 1000 / INCH == pytest.approx(mils, rel=2e-3)


def test_w15_rule_of_thumb() -> None:
    """120 V 60 Hz: 800 turns over the square inches of the core, which is 0.873 T; 50 Hz x 1.2; 240 V x 2."""
    for square_inches in (1.0, 2.5):
        core = iron(square_inches * INCH**2)
        tesla = core.flux_t(120 * square_inches / 800, 60)
        assert tesla == pytest.approx(0.873, abs=1e-3)  # 4.44 there
        assert core.flux_t(120 * square_inches / (800 * 1.2), 50) == pytest.approx(tesla)
        assert core.flux_t(240 * square_inches / 1600, 60) == pytest.approx(tesla)
