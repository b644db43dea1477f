"""A load on a linear source: constant impedance, current or power, with a power factor; closed forms, vectorised.

The stage as its output sees it is a voltage V0 behind an impedance Z. With a load of S volt-amperes at nominal Vn and
power-factor angle a (lagging), the output V follows from:

    impedance  V = V0 ZL/(ZL + Z),                        ZL = Vn^2/S e^(ja)
    current    |V| = sqrt(|V0|^2 - Im(z)^2) - Re(z),      z = Z S/Vn e^(-ja)
    power      |V|^2 = (b + sqrt(b^2 - 4|w|^2))/2,        w = Z S e^(-ja), b = |V0|^2 - 2 Re(w)

(Kirchhoff's voltage law, multiplied out; own derivation). Where a root is not real, or |V| not above nought, the load
cannot be carried at all, and the answer is nan.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import acos
from typing import assert_never

import numpy as np

from tapplan.arrays import Complex
from tapplan.design.model import LoadModel


@dataclass(frozen=True, slots=True)
class Load:
    """A load: volt-amperes at nominal volts, power factor (lagging), and how it takes them."""

    va: float
    nominal_v: float
    power_factor: float
    model: LoadModel

    @property
    def turn(self) -> complex:
        """e^(-ja), the current's phase against the volts."""
        return complex(np.exp(-1j * acos(self.power_factor)))


def load_current(load: Load, open_volts: Complex, behind: Complex) -> Complex:
    """The load's current for the open output volts V0 and the impedance Z behind them; shapes broadcast."""
    if load.va == 0:
        return np.zeros(np.broadcast(open_volts, behind).shape, dtype=np.complex128)
    with np.errstate(invalid="ignore"):
        match load.model:
            case "impedance":
                return _of_impedance(load, open_volts, behind)
            case "current":
                return _of_current(load, open_volts, behind)
            case "power":
                return _of_power(load, open_volts, behind)
            case unknown:
                assert_never(unknown)


def _of_impedance(load: Load, open_volts: Complex, behind: Complex) -> Complex:
    impedance = load.nominal_v**2 / load.va / load.turn
    return np.asarray(open_volts / (behind + impedance), dtype=np.complex128)


def _of_current(load: Load, open_volts: Complex, behind: Complex) -> Complex:
    size = load.va / load.nominal_v
    drop = behind * size * load.turn
    volts = np.sqrt(np.abs(open_volts) ** 2 - drop.imag**2) - drop.real
    volts = np.where(volts > 0, volts, np.nan)
    return np.asarray(size * load.turn * _phase(open_volts, volts + drop), dtype=np.complex128)


def _of_power(load: Load, open_volts: Complex, behind: Complex) -> Complex:
    drop = behind * load.va * load.turn
    middle = np.abs(open_volts) ** 2 - 2 * drop.real
    square = (middle + np.sqrt(middle**2 - 4 * np.abs(drop) ** 2)) / 2
    volts = open_volts / (1 + drop / square)
    return np.asarray(load.va * load.turn / np.conj(volts), dtype=np.complex128)


def _phase(open_volts: Complex, turned: Complex) -> Complex:
    """The phase of V, where V0 = (|V| + z) V/|V|."""
    ratio = open_volts / turned
    return np.asarray(ratio / np.abs(ratio), dtype=np.complex128)
