"""Witnesses of what is carried beyond a limit: by copper, iron, contacts and the fuse; amounts to a millionth.

`bands` is None where it is a feed that does it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


def exact(amount: float) -> Fraction:
    """A rating as a witness has it: to a millionth."""
    return Fraction(round(amount * 10**6), 10**6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Backfed:
    """The relays while a feed runs, the volts at the inlet's line pin and the most at the output.

    None where nothing fixes them. `safe`: a relay state in which the inlet would be dead; None where there is none.
    """

    energised: tuple[str, ...]
    from_v: Fraction | None
    to_v: Fraction | None
    output_v: Fraction | None
    safe: tuple[str, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Collapsed:
    """The volts in at which no output carries the load stated."""

    bands: tuple[str, ...] | None
    input_v: Fraction
    load_va: Fraction
    load_model: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FedOutput:
    """The least and the most output while a feed runs, with the load and without: the one farther out, its limit."""

    energised: tuple[str, ...]
    least_v: Fraction
    most_v: Fraction
    output_v: Fraction
    limit_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargerReach:
    """The least and the most volts that a step-down charger gets, `output_v` and `most_v`, and those it must make.

    `bands` are those in which they are too few somewhere, `enough_v` for each the input from which they do; None:
    nowhere in it.
    """

    bands: tuple[str, ...]
    charge: str
    output_v: Fraction
    most_v: Fraction
    limit_v: Fraction
    enough_v: tuple[Fraction | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadPermitted:
    """The largest `load_va` at one input, what limits it there, and the one stated; `stated`: so is the limit.

    `worst_pct` is by how much of the permitted load the stated one is more; nought where none is permitted.
    """

    bands: tuple[str, ...]
    input_v: Fraction
    permitted_va: Fraction
    load_va: Fraction
    worst_pct: Fraction
    limited_by: str
    stated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyFlux:
    """The flux density at the highest volts in, above the limit."""

    bands: tuple[str, ...] | None
    input_v: Fraction
    flux_t: Fraction
    limit_t: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class SuddenFlux:
    """The flux density in a band when the line jumps to `input_v`, above the limit until the relays have moved."""

    bands: tuple[str, ...] | None
    input_v: Fraction
    flux_t: Fraction
    limit_t: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class WireCurrent:
    """What a section carries, and at most may; the wire's name is None where only its diameter is known.

    `stated`: the file states the density; else it is common practice.
    """

    bands: tuple[str, ...]
    input_v: Fraction
    current_a: Fraction
    limit_a: Fraction
    wire: str | None
    density_a_mm2: Fraction
    limit_a_mm2: Fraction
    stated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactCurrent:
    """What a contact carries, above its rating."""

    bands: tuple[str, ...]
    input_v: Fraction
    current_a: Fraction
    limit_a: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactGap:
    """The volts across an open contact, above its rating, and the state that lasts in which they stand there."""

    standing: str
    output_v: Fraction
    limit_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactMaking:
    """The inrush a contact closes onto, above what it can make."""

    current_a: Fraction
    limit_a: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowFill:
    """Bare copper, and the share of the window it takes and may take; `stated` by the file, or common practice."""

    copper_mm2: Fraction
    worst_pct: Fraction
    limit_pct: Fraction
    stated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildUp:
    """How far a coil stands out from the limb: its layers flat, then with their bulge, and the window's width."""

    layers: int
    flat_mm: Fraction
    build_mm: Fraction
    width_mm: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnTooWide:
    """One turn along the limb, and what there is for it between the margins."""

    turn_mm: Fraction
    width_mm: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Hotness:
    """An estimated rise over the air around, the temperature it makes, and the limit or the cut-out it reaches."""

    bands: tuple[str, ...] | None
    rise_k: Fraction
    ambient_c: Fraction
    reached_c: Fraction
    limit_c: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilVolts:
    """The coil supply at a band's lowest input, `output_v`, and what its coils need to pull in; None: not stated."""

    bands: tuple[str, ...]
    energised: tuple[str, ...]
    output_v: Fraction
    limit_v: Fraction | None
    power_w: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseCurrent:
    """The inlet's normal current, above the fuse's rating."""

    bands: tuple[str, ...]
    current_a: Fraction
    limit_a: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseInrush:
    """The peak of the inrush at the inlet, the A2s that half a cycle of it lets through, those that melt the fuse."""

    current_a: Fraction
    lets_a2s: Fraction
    melts_a2s: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseSight:
    """A bridged contact: the current in the shorted turns, and how little of it the inlet carries.

    `melts_s` is when the fuse melts at the earliest; None where its A2s is not stated, `limit_a` its rating likewise.
    """

    bands: tuple[str, ...]
    input_v: Fraction
    section_a: Fraction
    current_a: Fraction
    limit_a: Fraction | None
    melts_s: Fraction | None


OfLoad = (
    Backfed
    | Collapsed
    | FedOutput
    | ChargerReach
    | LoadPermitted
    | SteadyFlux
    | SuddenFlux
    | WireCurrent
    | ContactCurrent
    | ContactGap
    | ContactMaking
    | WindowFill
    | BuildUp
    | TurnTooWide
    | Hotness
    | CoilVolts
    | FuseCurrent
    | FuseInrush
    | FuseSight
)
