"""What the controller reads and does: sensing, bands, the backup, the order of moves, counts."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from tapplan.design.marks import Called, Entries, Says
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

    at: Annotated[
        Sensed,
        Says(
            "Where the controller reads: the input, the output, or between two points, such as those of a winding "
            "of the same core.",
            example='"input"',
        ),
    ] = "input"
    detector: Annotated[
        Literal["rms", "average", "peak"],
        Says(
            "What a reading is: the RMS value, or a rectified average or a peak set to read a sine right.",
            example='"rms"',
        ),
    ] = "rms"
    error_pct: Annotated[
        Percent,
        Says(
            "The worst static error of a reading, either way.",
            unit="%",
            place="of the true value",
            example="1.0",
        ),
    ] = Fraction(0)
    noise_v: Annotated[
        NotNegative,
        Says(
            "How far the readings of a steady voltage wander, peak to peak.",
            unit="V",
            place="at the points sensed",
            example="1.5",
        ),
    ] = Fraction(0)
    hysteresis_v: Annotated[
        NotNegative,
        Says(
            "The least distance wanted between where a band is entered and where it is left.",
            unit="V",
            place="at the inlet",
            example="4",
        ),
    ] = Fraction(0)
    window_cycles: Annotated[
        Positive, Says("How many cycles of the supply one reading is averaged over.", unit="cycles", example="1")
    ] = Fraction(1)
    confirm_ms: Annotated[
        NotNegative,
        Says(
            "How long readings that leave a band must stand before a relay moves, either way.",
            unit="ms",
            example="40",
        ),
    ] = Fraction(0)
    confirm_up_ms: Annotated[
        NotNegative | None,
        Says(
            "The same for leaving a band upward.",
            unit="ms",
            example="20",
            default="`confirm_ms`",
            instead="`confirm_ms`",
        ),
    ] = None
    confirm_down_ms: Annotated[
        NotNegative | None,
        Says(
            "The same for leaving a band downward.",
            unit="ms",
            example="60",
            default="`confirm_ms`",
            instead="`confirm_ms`",
        ),
    ] = None

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

    name: Annotated[
        Name,
        Says("The name of the band; no other band has it, and none is called `away` or `gap`.", example='"boost"'),
    ]
    energised: Annotated[tuple[Name, ...], Says("The relays that are driven; all others rest.", example='["K1"]')]
    hold_v: Annotated[
        Range | None,
        Says(
            "The readings that keep the band: it is left downward below the first and upward above the second.",
            unit="V",
            place="as read at the points sensed",
            example="[176, 210]",
            default="placed as `tapplan bands` does",
        ),
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """What happens outside all bands: where the load leaves the mains and where it comes back.

    Ends of `leave_v` stand for the outer ends of the outermost bands; `return_v` is what is read while away. A
    reading that allows the return must stand for `return_after_ms`.
    """

    leave_v: Annotated[
        Range,
        Says(
            "Below the first or above the second the load leaves the mains: the outer ends of the outermost bands.",
            unit="V",
            place="as read at the points sensed",
            example="[174, 308]",
        ),
    ]
    return_v: Annotated[
        Range,
        Says(
            "The readings inside which alone the load comes back.",
            unit="V",
            place="as read while away",
            example="[177.4, 303.8]",
        ),
    ]
    energised: Annotated[
        tuple[Name, ...], Says("The relays that are driven while the load is away; all others rest.", example="[]")
    ] = ()
    return_after_ms: Annotated[
        NotNegative, Says("How long readings that allow the return must stand.", unit="ms", example="3000")
    ] = Fraction(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SequenceMove:
    """The order of the relays of one move, from a band to a band; "away" is where no band is in force."""

    old: Annotated[
        Name, Called("from"), Says("The band that is left, or `away` where none is in force.", example='"boost"')
    ]
    new: Annotated[Name, Called("to"), Says("The band that is entered, or `away`.", example='"direct"')]
    order: Annotated[
        tuple[Name, ...],
        Entries(least=1),
        Says("The relays that move, each once, in the order in which their coils change.", example='["K2", "K1"]'),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """How the coils of a move change: all together, or one after the other in the safest order; single moves by name.

    `pause_ms` from coil change to coil change; left out, the most that the relay just moved can take, so that it has
    settled. `blank_ms`: after the last coil change readings are not counted for so long.
    """

    order: Annotated[
        Literal["together", "safest"],
        Says(
            "How the coils of a move change: together, so that nothing is promised about who comes first, or one "
            "after the other in the order that `tapplan moves` advises.",
            example='"safest"',
        ),
    ] = "together"
    pause_ms: Annotated[
        NotNegative | None,
        Says(
            "From one coil's change to the next.",
            unit="ms",
            example="30",
            default="the most that the relay just moved can take, so that it has settled",
        ),
    ] = None
    blank_ms: Annotated[
        NotNegative, Says("How long after the last coil's change readings are not counted.", unit="ms", example="12")
    ] = Fraction(0)
    moves: Annotated[
        tuple[SequenceMove, ...],
        Called("move"),
        Says("The order of single moves, by the bands they lead from and to."),
    ] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """The chain from the sensed points to whole counts: a divider, a reference, a converter, an average.

    The `_pct` are the worst of each part, +/- percent; `divider_pct` and `divider_ppm_k` are of each resistor.
    `calibrated_pct` is what is left of divider and reference after an adjustment on the board, at `adjusted_at_c`.
    `samples` are averaged in one reading. A window that is "fixed" lasts `window_ms` (left out: the window_cycles of
    the middle frequency), whatever the supply's frequency; a "synchronised" one follows the zero crossings.
    """

    bits: Annotated[Bits, Says("How many bits the converter has.", unit="bits", example="12")]
    reference_v: Annotated[
        Positive,
        Says("The reference of the converter: its full range.", unit="V", place="at the converter", example="3.3"),
    ]
    divider_ohm: Annotated[
        Resistors,
        Says(
            "The resistors of the divider before the converter, the upper first.",
            unit="ohm",
            example="[1000000, 3900]",
        ),
    ]
    reference_pct: Annotated[
        Percent, Says("The worst error of the reference, either way.", unit="%", example="0.5")
    ] = Fraction(0)
    divider_pct: Annotated[
        Percent, Says("The worst error of each resistor of the divider, either way.", unit="%", example="0.5")
    ] = Fraction(0)
    divider_ppm_k: Annotated[
        NotNegative,
        Says("How far each resistor of the divider drifts with the temperature.", unit="ppm/K", example="50"),
    ] = Fraction(0)
    temperature_c: Annotated[
        Temperatures,
        Says(
            "The lowest and the highest temperature of the controller in service.",
            unit="degrees Celsius",
            example="[0, 50]",
        ),
    ] = (Fraction(25), Fraction(25))
    adjusted_at_c: Annotated[
        Celsius,
        Says(
            "The temperature at which the controller was made or adjusted; drift counts from there.",
            unit="degrees Celsius",
            example="25",
        ),
    ] = Fraction(25)
    calibrated_pct: Annotated[
        Percent | None,
        Says(
            "What is left of the errors of divider and reference after an adjustment on the board.",
            unit="%",
            example="0.3",
            default="not adjusted: `reference_pct` and `divider_pct` count",
        ),
    ] = None
    converter_pct: Annotated[
        Percent, Says("The worst error of the converter's gain and linearity.", unit="%", example="0.2")
    ] = Fraction(0)
    samples: Annotated[
        SampleCount, Says("How many samples are averaged in one reading.", unit="samples", example="64")
    ] = Fraction(1)
    window: Annotated[
        Literal["synchronised", "fixed"],
        Says(
            "Whether the averaging window follows the zero crossings of the supply or lasts a fixed time.",
            example='"fixed"',
        ),
    ] = "synchronised"
    window_ms: Annotated[
        Positive | None,
        Says(
            "How long a fixed window lasts.",
            unit="ms",
            example="20",
            default="`window_cycles` of the middle of `frequency_hz`",
        ),
    ] = None
