"""The grain in which volts are counted, so that sums and counts are whole numbers and do not hang on any order."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tapplan.arrays import Floats, Wholes
from tapplan.replay.cells import Stored

GRAINS = 1 << 17  # how many are told apart; the last stands for all above it
SPAN = Fraction(5, 2)  # times nominal that are told apart at the least


@dataclass(frozen=True, slots=True)
class Grain:
    """Volts in whole multiples of a power of ten, 0.01 V for the usual mains: a log of two decimals loses nothing."""

    volts: Fraction

    def factor(self, scale: Fraction) -> float:
        """What makes grains of stored readings worth `scale` volts each."""
        return float(scale / self.volts)

    def told(self, grains: int | float) -> float:
        """So many of them in volts."""
        return float(grains * float(self.volts))


def grain_for(nominal_v: Fraction) -> Grain:
    """The finest power of ten of which there are enough for the volts around a nominal."""
    volts = Fraction(1, 10**6)
    while volts * GRAINS < SPAN * nominal_v:
        volts *= 10
    return Grain(volts)


def grains(readings: Stored, factor: float) -> Wholes:
    """Readings in grains, to the nearest, a half upward; what is beyond the last counts as the last."""
    scaled: Floats = readings.astype(np.float64)
    scaled *= factor
    scaled += 0.5
    return np.minimum(scaled, GRAINS - 1).astype(np.int64)
