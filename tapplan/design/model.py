"""The design as a person wrote it: frozen values, exact numbers, names as in the file.

The same classes validate a file (through pydantic), publish its JSON Schema and serve the rest of the
program. Units stand in the names: `_v` volts, `_ms` milliseconds, `_ohm`, `_mm`, `_hz`, `_va`, `_a`, `_w`.
Rules that need more than one key are in `tapplan.design.sense`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, ClassVar, Literal, get_args

from pydantic import ConfigDict, Field, StringConstraints, WithJsonSchema

from tapplan.design.numbers import (
    PAIR,
    SENSED,
    Bits,
    Celsius,
    CopperCelsius,
    Few,
    Frequency,
    NotNegative,
    Percent,
    Positive,
    Range,
    Resistors,
    SampleCount,
    Temperatures,
    Times,
    Turns,
    TurnsSpan,
    UnitFraction,
)
from tapplan.exact import Span

_STRICT = ConfigDict(extra="forbid")

# What a name may not hold: control characters, and marks that turn the direction of writing on a terminal.
_UNSEEN = r"\x00-\x1f\x7f" + "\u202a-\u202e\u2066-\u2069"
_EDGE = rf"[^\s{_UNSEEN}]"
Name = Annotated[str, StringConstraints(strict=True, pattern=rf"^{_EDGE}(?:[^{_UNSEEN}]*{_EDGE})?$", max_length=80)]
Title = Annotated[str, StringConstraints(strict=True, pattern=rf"^[^{_UNSEEN}]+$", max_length=500)]

_SENSED_SCHEMA = WithJsonSchema(
    {
        "anyOf": [
            {"enum": ["input", "output"]},
            {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2},
        ]
    }
)

# The most that each relay time takes where a design gives none; common practice, no source.
DEFAULT_OPERATE_MS = Fraction(15)
DEFAULT_RELEASE_MS = Fraction(10)
DEFAULT_TRANSFER_MS = Fraction(10)
DEFAULT_BOUNCE_MS = Fraction(5)

# Current density in A/mm2 and share of bare copper in a window where a design gives none; common practice, no source.
DEFAULT_DENSITY = Fraction(3)
DEFAULT_FILL = Fraction(35, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mains:
    """The supply at the inlet: nominal volts and the steady RMS extremes the plan must serve.

    `standard` names the published supply the two came from, or is None when the file gives the numbers.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

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

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

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
class Terminals:
    """The three points where the stage meets the world."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    line: Name
    neutral: Name
    output: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """One section between two points of a core; its finish stands `turns` above its start."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    name: Name
    ends: Annotated[tuple[Name, Name], PAIR]
    turns: Turns
    resistance_ohm: NotNegative | None = None
    leakage_ohm: NotNegative = Fraction(0)
    wire_mm: Positive | None = None
    core: Name = "core"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pole:
    """One changeover contact: COM rests on NC and moves to NO when the coil is driven."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    com: Name
    nc: Name | None = None
    no: Name | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay:
    """A coil and the contacts it moves: one pole written in the table itself, or several as `poles`.

    Times are the least and the most a relay can take: from the coil's change to the first change of a contact
    (operate, release), from one throw's opening to the other's first touch (transfer), and until that is still
    (bounce). A file that gives one number gives the most; the least is then 0.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    name: Name
    com: Name | None = None
    nc: Name | None = None
    no: Name | None = None
    poles: Annotated[tuple[Pole, ...], Field(min_length=1)] | None = None
    operate_ms: Times | None = None
    release_ms: Times | None = None
    transfer_ms: Times | None = None
    bounce_ms: Times | None = None
    contact_a: Positive | None = None
    contact_v: Positive | None = None
    contact_ohm: NotNegative | None = None
    contact_make_a: Positive | None = None
    coil_v: Positive | None = None
    coil_w: Positive | None = None
    endurance: Positive | None = None
    moves_a_day: Positive | None = None

    @property
    def all_poles(self) -> tuple[Pole, ...]:
        """The poles, however the file wrote them."""
        if self.poles is not None:
            return self.poles
        return () if self.com is None else (Pole(com=self.com, nc=self.nc, no=self.no),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensing:
    """Where and how well the controller reads a voltage, and how long a reading must stand.

    `confirm_up_ms` is for leaving a row upward, `confirm_down_ms` for leaving it downward; `confirm_ms` for both.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    at: Annotated[Literal["input", "output"] | tuple[str, str], SENSED, _SENSED_SCHEMA] = "input"
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

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    name: Name
    energised: tuple[Name, ...]
    hold_v: Range | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """What happens outside all bands: where the load leaves the mains and where it comes back.

    Ends of `leave_v` stand for the outer ends of the outermost bands; `return_v` is what is read while away. A
    reading that allows the return must stand for `return_after_ms`.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    leave_v: Range
    return_v: Range
    energised: tuple[Name, ...] = ()
    return_after_ms: NotNegative = Fraction(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SequenceMove:
    """The order of the relays of one move, from a band to a band; "away" is where no band is in force."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    old: Annotated[Name, Field(alias="from")]
    new: Annotated[Name, Field(alias="to")]
    order: Annotated[tuple[Name, ...], Field(min_length=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """How the coils of a move change: all together, or one after the other in the safest order; single moves by name.

    `pause_ms` from coil change to coil change; left out, the most that the relay just moved can take, so that it has
    settled. `blank_ms`: after the last coil change readings are not counted for so long.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    order: Literal["together", "safest"] = "together"
    pause_ms: NotNegative | None = None
    blank_ms: NotNegative = Fraction(0)
    moves: Annotated[tuple[SequenceMove, ...], Field(alias="move")] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Core:
    """The iron of one core, and what it may carry.

    `lamination` with `stack_mm` gives area, window, path and mean turn; figures given outright go before them.
    `area_mm2` is the gross area of the leg, `stack_factor` the iron's share of it. `fill_limit` is the most of the
    window that bare copper may take.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    name: Name = "core"
    lamination: Name | None = None
    stack_mm: Positive | None = None
    area_mm2: Positive | None = None
    stack_factor: UnitFraction = Fraction(1)
    flux_limit_t: Positive | None = None
    grade: Name | None = None
    mass_kg: Positive | None = None
    path_mm: Positive | None = None
    window_mm2: Positive | None = None
    mean_turn_mm: Positive | None = None
    fill_limit: UnitFraction | None = None
    thermal_k_per_w: Positive | None = None
    ambient_c: Celsius = Fraction(40)
    temperature_limit_c: Celsius | None = None

    @property
    def fill(self) -> Fraction:
        """The most of the window that bare copper may take; where not stated, a common practice without source."""
        return DEFAULT_FILL if self.fill_limit is None else self.fill_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Copper:
    """How the wire is chosen: current density, series of sizes, and the temperature of its resistance."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    density_a_mm2: Positive | None = None
    series: Literal["metric", "awg"] = "metric"
    temperature_c: CopperCelsius = Fraction(75)

    @property
    def density(self) -> Fraction:
        """The most current density; where not stated, a common practice without source."""
        return DEFAULT_DENSITY if self.density_a_mm2 is None else self.density_a_mm2


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilSupply:
    """Where the coils get their volts: a winding, rectified and smoothed (else as it is), and what it can give.

    A coil pulls in from `pick_up_pct` of its rated volts (80: class 1 of IEC 61810-1, from memory).
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    winding: Name
    rectified: Annotated[bool, Field(strict=True)] = True
    drop_v: NotNegative = Fraction(14, 10)
    power_w: Positive | None = None
    pick_up_pct: Percent = Fraction(80)


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """Another source that may drive a winding, such as an inverter: RMS volts at the winding, lowest and highest.

    `energised` is the relay state while it runs; left out, it is chosen.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    name: Name
    winding: Name
    volts_v: Range
    energised: tuple[Name, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A battery charged from a winding through a rectifier; its volts are for the whole battery."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    winding: Name
    float_v: Range
    cyclic_v: Range | None = None
    drop_v: NotNegative = Fraction(14, 10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Protection:
    """The fuse in the line, and the temperature at which a cut-out on the winding opens."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    fuse_a: Positive | None = None
    fuse_a2s: Positive | None = None
    cutout_c: Celsius | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the figures of a stage may be at most (`dip_v`: at least); one beyond its limit is a fault.

    `surge_v`, `dip_v` and `rest_v` are output volts: in flight and on losing the coil supply, and with every coil
    off. `flux_factor` is peak flux over normal after the line has been off the winding; `stuck_shorts` counts single
    faults that short turns.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    move_gap_ms: NotNegative | None = None
    flux_factor: Positive | None = None
    surge_v: Positive | None = None
    dip_v: NotNegative | None = None
    stuck_shorts: NotNegative | None = None
    rest_v: Positive | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Accept:
    """Warnings and notes of one code, at one place where that is given, that are accepted for a reason."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    code: Name
    where: Title | None = None
    reason: Title


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """The chain from the sensed points to whole counts: a divider, a reference, a converter, an average.

    The `_pct` are the worst of each part, +/- percent; `divider_pct` and `divider_ppm_k` are of each resistor.
    `calibrated_pct` is what is left of divider and reference after an adjustment on the board, at `adjusted_at_c`.
    `samples` are averaged in one reading. A window that is "fixed" lasts `window_ms` (left out: the window_cycles of
    the middle frequency), whatever the supply's frequency; a "synchronised" one follows the zero crossings.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

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


Arrangement = Literal["line-chain", "output-chain", "both-sides", "add-in", "reversing", "free"]
Objective = Literal["room", "moves", "deviation", "transformed"]
OBJECTIVES: tuple[str, ...] = get_args(Objective)
Rest = Literal["lowest", "direct"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What `fit` may choose: the turns from neutral to the highest tap, the arrangements, and limits people have.

    `taps`: the taps of a winding that exists, in place of `total_turns`. `relays`: just so many. `require_direct`:
    one ratio is exactly 1. `rest`: what the output stands on with all coils off, the lowest ratio or the direct one.
    `single_moves`: neighbouring bands differ in one relay. Turns are multiples of `turns_multiple`;
    neighbouring ratios differ by at most `largest_step_pct`; no turn carries more than `volts_per_turn_max`.
    `preferred_v`: outputs wanted, inside the window that is a must.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    total_turns: TurnsSpan | None = None
    taps: Annotated[tuple[Turns, ...], Field(max_length=12)] = ()
    arrangements: Annotated[tuple[Arrangement, ...], Field(min_length=1)] = (
        "line-chain",
        "output-chain",
        "both-sides",
        "add-in",
        "reversing",
    )
    relays: Few | None = None
    relays_max: Few = Fraction(4)
    taps_max: Few | None = None
    require_direct: Annotated[bool, Field(strict=True)] = False
    single_moves: Annotated[bool, Field(strict=True)] = False
    rest: Rest = "lowest"
    turns_multiple: Few = Fraction(1)
    largest_step_pct: Positive | None = None
    volts_per_turn_max: Positive | None = None
    preferred_v: Range | None = None
    objective: Objective = "room"


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A whole design file."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    format: Literal[1]
    title: Title
    mains: Mains
    output: Output
    terminals: Terminals
    windings: Annotated[tuple[Winding, ...], Field(alias="winding")] = ()
    relays: Annotated[tuple[Relay, ...], Field(alias="relay")] = ()
    sensing: Sensing = Sensing()
    bands: Annotated[tuple[Band, ...], Field(alias="band")] = ()
    backup: Backup | None = None
    sequence: Sequence = Sequence()
    limits: Limits = Limits()
    accept: tuple[Accept, ...] = ()
    controller: Controller | None = None
    core: Core | None = None
    copper: Copper = Copper()
    coil_supply: CoilSupply | None = None
    feeds: Annotated[tuple[Feed, ...], Field(alias="feed")] = ()
    battery: Battery | None = None
    protection: Protection | None = None
    fit: Fit | None = None

    @property
    def relay_names(self) -> tuple[str, ...]:
        """The relays in the order of the file; the first counts as the most significant."""
        return tuple(relay.name for relay in self.relays)
