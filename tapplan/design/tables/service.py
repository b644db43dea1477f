"""What the stage is asked to do: the supply it meets, what the load is promised, limits, and what is accepted."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.design.names import Name, Title
from tapplan.design.numbers import Frequency, NotNegative, Positive, Range, UnitFraction
from tapplan.exact import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Mains:
    """The supply at the inlet: nominal volts and the steady RMS extremes the plan must serve.

    `standard` names the published supply the two came from, or is None when the file gives the numbers.
    """

    nominal_v: Positive
    range_v: Range
    standard: Name | None = None
    frequency_hz: Frequency = (Fraction(50), Fraction(50))
    source_ohm: NotNegative = Fraction(0)

    @property
    def span(self) -> Span:
        """The inputs, in volts, that must be served."""
        return Span(*self.range_v)


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """What the load is promised: nominal volts and the steady window; the load itself where known."""

    nominal_v: Positive
    window_v: Range
    load_va: Positive | None = None
    power_factor: UnitFraction = Fraction(1)
    load_model: Literal["impedance", "current", "power"] = "impedance"
    crest_factor: Positive | None = None
    inrush_a: Positive | None = None
    tolerance_curve: Name | None = None

    @property
    def window(self) -> Span:
        """The output volts allowed at the load."""
        return Span(*self.window_v)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the figures of a stage may be at most (`dip_v`: at least); one beyond its limit is a fault.

    `surge_v`, `dip_v` and `rest_v` are output volts: in flight and on losing the coil supply, and with every coil
    off. `flux_factor` is peak flux over normal after the line has been off the winding; `stuck_shorts` counts single
    faults that short turns.
    """

    move_gap_ms: NotNegative | None = None
    flux_factor: Positive | None = None
    surge_v: Positive | None = None
    dip_v: NotNegative | None = None
    stuck_shorts: NotNegative | None = None
    rest_v: Positive | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Accept:
    """Warnings and notes of one code, at one place where that is given, that are accepted for a reason."""

    code: Name
    where: Title | None = None
    reason: Title
