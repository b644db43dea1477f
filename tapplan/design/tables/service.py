"""What the stage is asked to do: the supply it meets, what the load is promised, limits, and what is accepted."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from tapplan.design.marks import Says
from tapplan.design.names import Name, Title
from tapplan.design.numbers import Frequency, NotNegative, Positive, Range, UnitFraction
from tapplan.exact import Span

LoadModel = Literal["impedance", "current", "power"]
"""What of a load stays the same while its voltage changes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mains:
    """The supply at the inlet: nominal volts and the steady RMS extremes the plan must serve.

    `standard` names the published supply the two came from, or is None when the file gives the numbers.
    """

    nominal_v: Annotated[
        Positive,
        Says(
            "The nominal voltage of the supply.",
            unit="V",
            place="at the inlet",
            example="220",
            default="required, or `standard` in its place",
        ),
    ]
    range_v: Annotated[
        Range,
        Says(
            "The steady RMS extremes that the plan must serve, the lower first.",
            unit="V",
            place="at the inlet",
            example="[180, 300]",
            default="required, or `standard` in its place",
        ),
    ]
    standard: Annotated[
        Name | None,
        Says(
            "A published supply, by its key in `tapplan standards`: it gives nominal, range and frequency.",
            example='"iec-60038-230"',
            default="none",
            instead="`nominal_v` and `range_v`",
        ),
    ] = None
    frequency_hz: Annotated[
        Frequency,
        Says(
            "The frequency of the supply, or its lowest and its highest.",
            unit="Hz",
            example="[47, 53]",
            default="that of the `standard`",
        ),
    ] = (Fraction(50), Fraction(50))
    source_ohm: Annotated[
        NotNegative,
        Says(
            "The resistance of the supply behind the inlet, by which a load pulls the inlet down.",
            unit="ohm",
            place="behind the inlet",
            example="0.6",
        ),
    ] = Fraction(0)

    @property
    def span(self) -> Span:
        """The inputs, in volts, that must be served."""
        return Span(*self.range_v)


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """What the load is promised: nominal volts and the steady window; the load itself where known."""

    nominal_v: Annotated[
        Positive,
        Says(
            "The voltage for which the load is made; its impedance or current follows from it, and the load comes "
            "back from the backup to the band whose output is nearest.",
            unit="V",
            place="at the output",
            example="220",
        ),
    ]
    window_v: Annotated[
        Range,
        Says(
            "The steady limits that the load is promised, the lower first.",
            unit="V",
            place="at the output",
            example="[198, 242]",
        ),
    ]
    load_va: Annotated[
        Positive | None,
        Says(
            "What the load takes at its nominal voltage.",
            unit="VA",
            place="at the output",
            example="600",
            default="none: no drop under load is counted",
        ),
    ] = None
    power_factor: Annotated[
        UnitFraction, Says("The power factor of the load, lagging.", place="at the output", example="0.8")
    ] = Fraction(1)
    load_model: Annotated[
        LoadModel,
        Says(
            "What of the load stays the same while its voltage changes: its impedance, its current, or its power.",
            place="at the output",
            example='"impedance"',
        ),
    ] = "impedance"
    crest_factor: Annotated[
        Positive | None,
        Says(
            "The peak of the load's current as a multiple of its RMS: from it follows the peak that each contact "
            "carries.",
            place="at the output",
            example="2.4",
            default="not counted",
        ),
    ] = None
    inrush_a: Annotated[
        Positive | None,
        Says(
            "The peak current of the load when it comes on: contacts close onto it, the fuse lets it through, and "
            "it pulls the inlet down.",
            unit="A",
            place="at the output",
            example="16",
            default="not counted",
        ),
    ] = None
    tolerance_curve: Annotated[
        Name | None,
        Says(
            "The published curve that the load rides through, by its key in `tapplan standards`; a sudden step "
            "that leaves it is then a fault.",
            example='"iti-2000"',
            default="steps are held against `iti-2000`, and leaving it is no fault",
        ),
    ] = None

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

    move_gap_ms: Annotated[
        NotNegative | None,
        Says(
            "The longest time that a move may leave the load on nothing.",
            unit="ms",
            place="at the output",
            example="25",
            default="no limit",
        ),
    ] = None
    flux_factor: Annotated[
        Positive | None,
        Says(
            "The highest peak flux after a move that takes the line off the winding, as a multiple of the normal "
            "peak.",
            place="in the core",
            example="2.5",
            default="no limit",
        ),
    ] = None
    surge_v: Annotated[
        Positive | None,
        Says(
            "The highest output while relays move, and when the coils lose their supply.",
            unit="V",
            place="at the output",
            example="264",
            default="no limit",
        ),
    ] = None
    dip_v: Annotated[
        NotNegative | None,
        Says(
            "The lowest output while relays move; times with nothing on the output do not count.",
            unit="V",
            place="at the output",
            example="180",
            default="no limit",
        ),
    ] = None
    stuck_shorts: Annotated[
        NotNegative | None,
        Says("How many single faults of a contact may short turns.", example="0", default="no limit"),
    ] = None
    rest_v: Annotated[
        Positive | None,
        Says(
            "The highest output with every coil off.",
            unit="V",
            place="at the output",
            example="253",
            default="no limit",
        ),
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Accept:
    """Warnings and notes of one code, at one place where that is given, that are accepted for a reason."""

    code: Annotated[
        Name,
        Says(
            "The code of the warnings or notes that are accepted; a fault cannot be.", example='"holds-beyond-range"'
        ),
    ]
    where: Annotated[
        Title | None,
        Says(
            "The one place at which they are accepted, as the finding names it.",
            example="'band \"boost\"'",
            default="at every place",
        ),
    ] = None
    reason: Annotated[
        Title,
        Says(
            "Why they are accepted; the verdict shows it beside them.",
            example='"below 200 V the stage is switched off by hand"',
        ),
    ]
