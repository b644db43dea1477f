"""How long the mains and the output stood where: histograms, percentiles, the mean distance from nominal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tapplan.arrays import Floats, Wholes
from tapplan.replay.tally import Tally
from tapplan.replay.volts import Grain

PERCENTS = (
    Fraction(0),
    Fraction(1),
    Fraction(5),
    Fraction(25),
    Fraction(50),
    Fraction(75),
    Fraction(95),
    Fraction(99),
)
PERCENTS_TOLD = (*PERCENTS, Fraction(100))


@dataclass(frozen=True)
class VoltSpread:
    """Volts in rising order and the microseconds that each stood."""

    volts: Floats
    lasting: Wholes

    def percentile(self, percent: Fraction) -> float | None:
        """The least volts at or below which the voltage stood for so many per cent of the time; None without any."""
        if not len(self.volts):
            return None
        sums = np.cumsum(self.lasting)
        wanted = max(-(-int(sums[-1]) * percent.numerator // (100 * percent.denominator)), 1)
        return float(self.volts[np.searchsorted(sums, wanted)])

    def off(self, nominal_v: float) -> float | None:
        """The mean distance from nominal over time, in volts."""
        total = int(self.lasting.sum())
        return float((np.abs(self.volts - nominal_v) * self.lasting).sum() / total) if total else None

    def middle(self, low: float, high: float) -> float | None:
        """The mean over the time between two voltages, the first included; None where there was none."""
        inside = (self.volts >= low - 1e-9) & (self.volts < high - 1e-9)
        total = int(self.lasting[inside].sum())
        return float((self.volts[inside] * self.lasting[inside]).sum() / total) if total else None

    def bins(self, width: float) -> dict[int, int]:
        """The microseconds between whole multiples of a width, by the lower one's number; empty ones left out."""
        places = np.floor(self.volts / width + 1e-9).astype(np.int64)
        numbers, at = np.unique(places, return_inverse=True)
        sums = np.zeros(len(numbers), np.int64)
        np.add.at(sums, at, self.lasting)
        return dict(zip(numbers.tolist(), sums.tolist(), strict=True))


def mains_spread(tally: Tally, grain: Grain) -> VoltSpread:
    """The mains, whatever the controller did."""
    return _spread(tally.lasting.sum(axis=0), np.arange(tally.lasting.shape[1]) + tally.lowest, float(grain.volts))


def output_spread(tally: Tally, grain: Grain, ratios: Sequence[Fraction]) -> VoltSpread:
    """The output without load, while not away."""
    numbers = np.arange(tally.lasting.shape[1]) + tally.lowest
    volts = np.concatenate([numbers * float(ratio * grain.volts) for ratio in ratios[:-1]])
    return _spread(tally.lasting[:-1].ravel(), volts, 1.0)


def _spread(lasting: Wholes, volts: Floats | Wholes, unit: float) -> VoltSpread:
    stood = lasting > 0
    found, times = volts[stood] * unit, lasting[stood]
    order = np.argsort(found, kind="stable")
    return VoltSpread(found[order].astype(np.float64), times[order])
