"""Thresholds as the controller holds them: whole counts of its converter, rounded to the safe side.

One count at the sensed points is reference / (2^bits x divider x form) volts, where form is what the detector
makes of one volt RMS of a sine: 1 for RMS (the converter sees the wave about half its reference), 2 sqrt(2)/pi for
a rectified average, sqrt(2) for a peak (both as a direct voltage).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

from tapplan.control.table import ControlTable, Row
from tapplan.design.model import Controller, Design
from tapplan.exact import Span

# sqrt(2) and 2 sqrt(2)/pi to 12 decimals (textbook identities of a sine), so that thresholds stay rational
ROOT_2 = Fraction(1_414_213_562_373, 10**12)
AVERAGE_OF_SINE = Fraction(900_316_316_157, 10**12)
FORMS = {"rms": Fraction(1), "average": AVERAGE_OF_SINE, "peak": ROOT_2}


@dataclass(frozen=True, slots=True)
class Converter:
    """How sensed volts become counts: `per_volt` counts for one volt RMS, and the highest volts that fit."""

    per_volt: Fraction
    highest_v: Fraction

    def upper(self, volts: Fraction) -> int:
        """An upper threshold, rounded down."""
        return floor(volts * self.per_volt)

    def lower(self, volts: Fraction) -> int:
        """A lower threshold, rounded up."""
        return ceil(volts * self.per_volt)

    @property
    def step_v(self) -> Fraction:
        """Sensed volts of one count."""
        return 1 / self.per_volt


def divider(controller: Controller) -> Fraction:
    """What the divider leaves of a voltage."""
    upper, lower = controller.divider_ohm
    return lower / (upper + lower)


def converter(design: Design, controller: Controller) -> Converter:
    """The converter of a design, for its detector."""
    share, form = divider(controller), FORMS[design.sensing.detector]
    room = {"rms": controller.reference_v / 2 / ROOT_2, "average": controller.reference_v / AVERAGE_OF_SINE}
    highest = room.get(design.sensing.detector, controller.reference_v / ROOT_2) / share
    return Converter(2 ** int(controller.bits) * share * form / controller.reference_v, highest)


@dataclass(frozen=True, slots=True)
class CountedHold:
    """The counts that keep a row, both included; `low > high` when rounding left none."""

    row: Row
    low: int
    high: int


def counted_holds(table: ControlTable, counting: Converter) -> list[CountedHold]:
    """Every row's hold in counts: ends between bands rounded inward, the two outermost outward.

    Inward is safe for the window; outward is safe for the readings of promised inputs at the ends of the range,
    where the range and not the threshold limits the output.
    """
    last = len(table.rows) - 1
    return [
        CountedHold(
            row,
            floor(row.kept.low * counting.per_volt) if number == 0 else counting.lower(row.kept.low),
            ceil(row.kept.high * counting.per_volt) if number == last else counting.upper(row.kept.high),
        )
        for number, row in enumerate(table.rows)
    ]


def counted_table(table: ControlTable, counting: Converter) -> ControlTable:
    """The same table with its thresholds, the backup's return among them, at whole counts.

    A row that rounding leaves nothing is dropped.
    """
    rows = tuple(
        replace(counted.row, kept=Span(counted.low / counting.per_volt, counted.high / counting.per_volt))
        for counted in counted_holds(table, counting)
        if counted.low <= counted.high
    )
    return replace(table, rows=rows, design=_counted_return(table.design, counting))


def _counted_return(design: Design, counting: Converter) -> Design:
    """The design with its return from the backup at whole counts, rounded inward: later back is the safe side."""
    backup = design.backup
    if backup is None:
        return design
    low, high = counting.lower(backup.return_v[0]), counting.upper(backup.return_v[1])
    if low >= high:
        return design
    back = (Fraction(low) / counting.per_volt, Fraction(high) / counting.per_volt)
    return replace(design, backup=replace(backup, return_v=back))


def counts_between(below: CountedHold, above: CountedHold) -> Fraction:
    """Counts of hysteresis left between two neighbours: where readings jump, the fewer of the two rows' counts."""
    one = Fraction(1)
    q_below = below.row.read.high if below.row.read is not None else one
    q_above = above.row.read.low if above.row.read is not None else one
    overlap = Fraction(below.high) / q_below - Fraction(above.low) / q_above
    return overlap * min(q_below, q_above)
