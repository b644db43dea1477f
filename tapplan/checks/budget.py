"""The error budget of the reading, line by line: at worst, and as a root of squares."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

from tapplan.control.counts import converter, divider
from tapplan.control.ripple import ripple_over
from tapplan.control.table import ControlTable
from tapplan.design.model import Controller, Design
from tapplan.exact import Span

FINE = 10**9  # shares that are not rational are rounded to this
RIPPLES = {  # the worst share of a window T, over the phases at which it begins
    "rms": "1 - sqrt(1 - x), x = |sin wT|/(wT)",
    "average": "max(r - 1 + cos a, sin a - r)/(k + r), wT = pi (k + r), a = pi r/2",
    "peak": "1 - sin(wT/2)",
}


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
    """How far the reading of a steady input wanders with the phase at which its window begins."""
    detector = design.sensing.detector
    factor = ripple_over(detector, _cycles(design, controller))
    worst = max(1 - factor.low, factor.high - 1)
    if not worst and (controller.window == "synchronised" or detector == "peak"):
        why = "it follows the zero crossings" if detector != "peak" else "a peak is not averaged"
        return _plain("window", worst, f"none: {why}")
    return _plain("window", worst, RIPPLES[detector])


def _cycles(design: Design, controller: Controller) -> Span:
    """How many cycles the window lasts: always as many, or those of a fixed time at every frequency of the mains."""
    cycles = design.sensing.window_cycles
    if controller.window == "synchronised":
        return Span(cycles, cycles)
    low, high = design.mains.frequency_hz
    seconds = controller.window_ms / 1000 if controller.window_ms else cycles / ((low + high) / 2)
    return Span(seconds * low, seconds * high)
