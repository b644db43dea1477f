"""Formulas of iron, contacts and fuses against the sums whose closed form they are: a sine taken step by step."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from tapplan.checks.witnesses.carried import FuseInrush
from tapplan.checks.witnesses.moving import OpenLine
from tapplan.design.materials import Steel, lamination, steel
from tapplan.design.model import Core, Protection, Relay
from tapplan.rating.iron import Iron, iron_of
from tests.checks.test_flight import clinic
from tests.checks.test_flight import found as flights
from tests.examples import PAIR, TAPPED, design
from tests.rating.test_ends import found, hut

F = Fraction


def iron(**core: object) -> Iron:
    made = iron_of(replace(design(TAPPED, PAIR), core=Core(**core)))  # type: ignore[arg-type]
    assert made is not None
    return made


@pytest.mark.parametrize("hertz", [47.0, 50.0, 60.0])
def test_volts_per_turn_are_the_slope_of_the_flux(hertz: float) -> None:
    """1.2 T at the crest in 20 cm2: the flux of a sine, differenced over a cycle, gives the RMS volts of a turn."""
    angle = np.linspace(0, 2 * np.pi, 20_001)
    slope = np.diff(1.2 * 20e-4 * np.sin(angle)) / np.diff(angle / (2 * np.pi * hertz))
    volts = float(np.sqrt(np.mean(slope**2)))
    assert iron(area_mm2=F(2000), stack_factor=F(1)).flux_t(volts, hertz) == pytest.approx(1.2, rel=1e-6)


def peak_after(seconds: float, hertz: float) -> float:
    """The most flux after the line was off for up to so long, as a multiple of the crest: all instants, summed."""
    angle = np.linspace(0, 2 * np.pi, 181)
    most = 1.0
    for gone in np.linspace(0, 2 * np.pi * hertz * seconds, 41):
        kept = np.sin(angle)  # the flux at the instant of opening, which stays
        again = (angle + gone)[:, np.newaxis] + np.linspace(0, 2 * np.pi, 361)
        risen = np.cumsum((np.cos(again[:, 1:]) + np.cos(again[:, :-1])) / 2 * (2 * np.pi / 360), axis=1)
        most = max(most, float(np.abs(kept[:, np.newaxis] + risen).max()))
    return most


@pytest.mark.parametrize("open_ms", [1, 3, 5, 8, 12])
def test_the_peak_of_flux_after_an_open_line_summed_step_by_step(open_ms: int) -> None:
    """The line relay off for so long: all of it transfer, without bounce."""
    made = clinic()
    spans = {"operate_ms": (F(0), F(0)), "release_ms": (F(0), F(0)), "bounce_ms": (F(0), F(0))}
    relays: tuple[Relay, ...] = tuple(
        replace(one, transfer_ms=(F(0), F(open_ms)), **spans)  # type: ignore[arg-type]
        for one in made.relays
    )
    shown = next(iter(flights(replace(made, relays=relays), "flight-inrush").values())).witness
    assert isinstance(shown, OpenLine)
    assert shown.lasts_ms == open_ms
    assert float(shown.factor) == pytest.approx(peak_after(open_ms / 1000, 50), abs=2e-3)


def test_the_a2s_of_a_half_cycle_summed_step_by_step() -> None:
    """The square of a half sine over half a cycle at 49 Hz, the lowest frequency of the hut's mains."""
    (fault,) = found(hut(protection=Protection(fuse_a2s=F(2))), "fuse-overload")
    shown = fault.witness
    assert isinstance(shown, FuseInrush)
    middles = (np.arange(10_000) + 0.5) / 10_000
    summed = float(np.sum((float(shown.current_a) * np.sin(np.pi * middles)) ** 2) / 10_000 / 2 / 49)
    assert float(shown.lets_a2s) == pytest.approx(summed, rel=1e-6)


@pytest.mark.parametrize("key", ["EI 66", "EI 96", "EI 150N", "EI 106", "EI 130", "EI 195", "EI 231"])
def test_the_iron_of_a_lamination_square_by_square(key: str) -> None:
    """Quarter millimetres of the outline counted, those in the two windows left out; 35 mm of M400-50A, 0.96 full.

    An E with its I: a leg of f between windows, half a leg at either side, above and below.
    """
    plate = lamination(key)
    assert plate is not None
    leg, (wide, high) = float(plate.leg_mm), (float(side) for side in plate.window_mm)
    across = np.arange(0.125, 2 * (leg + wide), 0.25)
    along = np.arange(0.125, high + leg, 0.25)
    off_the_middle = np.abs(across - (leg + wide))
    beside = (off_the_middle > leg / 2) & (off_the_middle < leg / 2 + wide)
    between = (along > leg / 2) & (along < leg / 2 + high)
    counted = (len(across) * len(along) - int(beside.sum()) * int(between.sum())) / 16
    found_kg = iron(lamination=key, stack_mm=F(35), stack_factor=F(96, 100), grade="M400-50A").mass_kg
    assert found_kg == pytest.approx(counted * 35 * 0.96 * 7.7e-6, rel=0.01)


@pytest.mark.parametrize("key", ["EI 106", "EI 130", "EI 150", "EI 170", "EI 195", "EI 231"])
def test_the_path_round_a_window_in_small_steps(key: str) -> None:
    """A quarter of the leg off the window all round, the corners turned in as many steps as make them round."""
    plate = lamination(key)
    assert plate is not None
    wide, high = map(float, plate.window_mm)
    turns = np.linspace(0, np.pi / 2, 1001)
    corner = float(plate.leg_mm) / 4 * np.stack([np.cos(turns), np.sin(turns)])
    round_one = float(np.hypot(*np.diff(corner)).sum())
    assert float(plate.path_mm) == pytest.approx(2 * (wide + high) + 4 * round_one, rel=1e-3)


def test_wasteless_laminations_close() -> None:
    """Leg, window and yokes add up to the size, 5/6 of it high; the windows of a pair of E are its two I."""
    for size in (30, 66, 96, 120):
        plate = lamination(f"EI {size}")
        assert plate is not None
        (wide, high), leg = plate.window_mm, plate.leg_mm
        assert 2 * leg + 2 * wide == size
        assert high + leg == F(5, 6) * size
        assert (wide, 2 * high) == (leg / 2, F(size))  # the I of both, out of a window of both
        assert plate.sheet_mm2 == leg * plate.path_mm


@pytest.mark.parametrize(
    ("tesla", "hertz", "watts"), [(1.5, 50, 4.0), (0.75, 50, 1.0), (1.5, 100, 9.849), (1.2, 60, 3.245)]
)
def test_losses_go_with_the_square_of_the_flux_and_1_3_of_the_frequency(
    tesla: float, hertz: int, watts: float
) -> None:
    """From 4.00 W/kg: a quarter at half the flux; ln(9.849/4) = 1.3 ln 2; 4 x 0.64 x 1.2675 at 60 Hz."""
    made = steel("M400-50A")
    assert isinstance(made, Steel)
    assert iron(mass_kg=F(1), grade="M400-50A").loss_w(tesla, hertz) == pytest.approx(watts, rel=2e-4)
