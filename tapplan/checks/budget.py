"""The error budget of the reading, line by line: at worst, and as a root of squares."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, cos, pi, sin, sqrt

from tapplan.control.counts import converter, divider
from tapplan.control.table import ControlTable
from tapplan.design.model import Controller, Design

MOST_TURNS = 100  # half turns looked at for a peak; later ones are lower
FINE = 10**9  # shares that are not rational are rounded up to this


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One source of error: the worst share of the reading, and the share it adds to a root of squares."""

    name: str
    worst: Fraction
    likely: float
    formula: str


@dataclass(frozen=True, slots=True)
class Budget:
    """All the lines of a controller."""

    lines: tuple[BudgetLine, ...]

    @property
    def worst(self) -> Fraction:
        """All lines at their worst and in one direction, compounded."""
        product = Fraction(1)
        for line in self.lines:
            product *= 1 + line.worst
        return product - 1

    @property
    def total(self) -> Fraction:
        """The plain sum of the worst shares."""
        return sum((line.worst for line in self.lines), Fraction(0))

    @property
    def likely(self) -> float:
        """The root of the sum of squares."""
        return sqrt(sum(line.likely**2 for line in self.lines))


def budget(table: ControlTable, controller: Controller) -> Budget:
    """The error budget of a controller, as shares of the lowest reading of a promised input."""
    lines = [*_scale(controller), _temperature(controller)]
    lines.append(_plain("converter", controller.converter_pct / 100, "gain and linearity, as stated"))
    lines += [_quantisation(table, controller), _window(table.design, controller)]
    return Budget(tuple(lines))


def lowest_reading(table: ControlTable) -> Fraction:
    """The lowest volts at the sensed points that a band holds for a promised input."""
    low = table.design.mains.span.low
    held = [(row.sensed, row.input_hold) for row in table.rows]
    return min((q * max(low, hold.low) for q, hold in held if q is not None and hold is not None), default=low)


def _plain(name: str, share: Fraction, formula: str) -> BudgetLine:
    return BudgetLine(name, share, float(share), formula)


def _scale(controller: Controller) -> list[BudgetLine]:
    if controller.calibrated_pct is not None:
        return [_plain("divider and reference, adjusted", controller.calibrated_pct / 100, "as stated")]
    reference = controller.reference_pct / 100
    return [
        _resistors("divider", controller, controller.divider_pct / 100),
        BudgetLine("reference", reference / (1 - reference), float(reference), "p/(1 - p)"),
    ]


def _resistors(name: str, controller: Controller, share: Fraction) -> BudgetLine:
    """Two resistors off by `share` against each other: to first order 2 t (1 - k), k what the divider leaves."""
    upper, lower = controller.divider_ohm
    k = divider(controller)
    worst = max(
        abs(lower * b / (lower * b + upper * a) / k - 1) for a, b in ((1 - share, 1 + share), (1 + share, 1 - share))
    )
    return BudgetLine(
        name, worst, sqrt(2) * float(share * (1 - k)), "2t(1 - k), exact at the corner; sqrt(2)t(1 - k)"
    )


def _temperature(controller: Controller) -> BudgetLine:
    low, high = controller.temperature_c
    span = max(abs(high - controller.adjusted_at_c), abs(controller.adjusted_at_c - low))
    return _resistors("temperature", controller, controller.divider_ppm_k * span / 10**6)


def _quantisation(table: ControlTable, controller: Controller) -> BudgetLine:
    """Half a count at the lowest reading; over N samples of a wave the likely share falls with sqrt(12 N)."""
    count = converter(table.design, controller).step_v / lowest_reading(table)
    return BudgetLine(
        "quantisation", count / 2, float(count) / sqrt(12 * controller.samples), "count/2; count/sqrt(12 N)"
    )


def _window(design: Design, controller: Controller) -> BudgetLine:
    detector = design.sensing.detector
    if controller.window == "synchronised" or detector == "peak":
        why = "it follows the zero crossings" if detector != "peak" else "a peak is not averaged"
        return BudgetLine("window", Fraction(0), 0.0, f"none: {why}")
    low, high = design.mains.frequency_hz
    middle = (low + high) / 2
    length = controller.window_ms or 1000 * design.sensing.window_cycles / middle
    share = window_share(length, low, high)
    if detector == "average":
        return BudgetLine("window", share, float(share), "x = |sin wT|/(wT)")
    worst = window_error(share)
    return BudgetLine("window", worst, float(worst), "1 - sqrt(1 - x), x = |sin wT|/(wT)")


def window_share(length_ms: Fraction, low_hz: Fraction, high_hz: Fraction) -> Fraction:
    """The largest x = |sin wT|/(wT) over a range of frequencies, rounded up.

    A fixed window T on a sine is off by no more than x, as a share: in the mean square, and in the rectified mean,
    whose Fourier terms 2/(4k^2 - 1) |sin kwT|/(kwT) add up to no more (own derivation).
    """
    angles = [2 * pi * float(hz) * float(length_ms) / 1000 for hz in (low_hz, high_hz)]
    turns = range(int(angles[0] / pi), int(angles[1] / pi) + 1)
    within = [peak for turn in turns[:MOST_TURNS] if (peak := _peak(turn))]
    tried = [*angles, *(angle for angle in within if angles[0] <= angle <= angles[1])]
    worst = max(abs(sin(angle)) / angle for angle in tried)
    return Fraction(ceil(worst * FINE), FINE) if worst > 1e-12 else Fraction(0)


def window_error(share: Fraction) -> Fraction:
    """The worst error of an RMS reading whose mean square is off by a share x: 1 - sqrt(1 - x), rounded up."""
    return Fraction(ceil((1 - sqrt(max(0.0, 1 - float(share)))) * FINE), FINE)


def _peak(turn: int) -> float:
    """Where |sin y|/y is highest between turn x pi and (turn + 1) x pi: the root of tan y = y there, by halving."""
    low, high = turn * pi, turn * pi + pi / 2
    if turn == 0:
        return 0.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if (sin(middle) - middle * cos(middle)) * (-1) ** turn < 0 else (low, middle)
    return high
