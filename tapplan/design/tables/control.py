"""What the controller reads and does: sensing, bands, the backup, the order of moves, counts."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from tapplan.design.marks import Called, Entries
from tapplan.design.names import Name, Sensed
from tapplan.design.numbers import (
    Bits,
    Celsius,
    NotNegative,
    Percent,
    Positive,
    Range,
    Resistors,
    SampleCount,
    Temperatures,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensing:
    """Where and how well the controller reads a voltage, and how long a reading must stand.

    `confirm_up_ms` is for leaving a row upward, `confirm_down_ms` for leaving it downward; `confirm_ms` for both.
    """

    at: Sensed = "input"
    detector: Literal["rms", "average", "peak"] = "rms"
    error_pct: Percent = Fraction(0)
    noise_v: NotNegative = Fraction(0)
    hysteresis_v: NotNegative = Fraction(0)
    window_cycles: Positive = Fraction(1)
    confirm_ms: NotNegative = Fraction(0)
    confirm_up_ms: NotNegative | None = None
    confirm_down_ms: NotNegative | None = None

    def confirmation_ms(self, *, upward: bool) -> Fraction:
        """How long readings that leave a row upward, or downward, must stand."""
        own = self.confirm_up_ms if upward else self.confirm_down_ms
        return self.confirm_ms if own is None else own

    @property
    def longest_confirmation_ms(self) -> Fraction:
        """The longer of the two confirmations."""
        return max(self.confirmation_ms(upward=True), self.confirmation_ms(upward=False))

    @property
    def shortest_confirmation_ms(self) -> Fraction:
        """The shorter of the two confirmations."""
        return min(self.confirmation_ms(upward=True), self.confirmation_ms(upward=False))

    @property
    def error(self) -> Fraction:
        """The worst static error as a fraction of the true value."""
        return self.error_pct / 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One row of the control table: the relays driven and the readings in which this state is kept.

    `hold_v` is in the units sensed; None where the file leaves it to be placed.
    """

    name: Name
    energised: tuple[Name, ...]
    hold_v: Range | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """What happens outside all bands: where the load leaves the mains and where it comes back.

    Ends of `leave_v` stand for the outer ends of the outermost bands; `return_v` is what is read while away. A
    reading that allows the return must stand for `return_after_ms`.
    """

    leave_v: Range
    return_v: Range
    energised: tuple[Name, ...] = ()
    return_after_ms: NotNegative = Fraction(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SequenceMove:
    """The order of the relays of one move, from a band to a band; "away" is where no band is in force."""

    old: Annotated[Name, Called("from")]
    new: Annotated[Name, Called("to")]
    order: Annotated[tuple[Name, ...], Entries(least=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """How the coils of a move change: all together, or one after the other in the safest order; single moves by name.

    `pause_ms` from coil change to coil change; left out, the most that the relay just moved can take, so that it has
    settled. `blank_ms`: after the last coil change readings are not counted for so long.
    """

    order: Literal["together", "safest"] = "together"
    pause_ms: NotNegative | None = None
    blank_ms: NotNegative = Fraction(0)
    moves: Annotated[tuple[SequenceMove, ...], Called("move")] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """The chain from the sensed points to whole counts: a divider, a reference, a converter, an average.

    The `_pct` are the worst of each part, +/- percent; `divider_pct` and `divider_ppm_k` are of each resistor.
    `calibrated_pct` is what is left of divider and reference after an adjustment on the board, at `adjusted_at_c`.
    `samples` are averaged in one reading. A window that is "fixed" lasts `window_ms` (left out: the window_cycles of
    the middle frequency), whatever the supply's frequency; a "synchronised" one follows the zero crossings.
    """

    bits: Bits
    reference_v: Positive
    divider_ohm: Resistors
    reference_pct: Percent = Fraction(0)
    divider_pct: Percent = Fraction(0)
    divider_ppm_k: NotNegative = Fraction(0)
    temperature_c: Temperatures = (Fraction(25), Fraction(25))
    adjusted_at_c: Celsius = Fraction(25)
    calibrated_pct: Percent | None = None
    converter_pct: Percent = Fraction(0)
    samples: SampleCount = Fraction(1)
    window: Literal["synchronised", "fixed"] = "synchronised"
    window_ms: Positive | None = None
