"""Witnesses of what goes on by itself: rounds at a steady source, relays in flight, readings after a move, steps."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.network.circuit import Position


@dataclass(frozen=True, slots=True, kw_only=True)
class EndlessRound:
    """Bands that follow one another at open source volts of `from_v` to `to_v`, `emf_v` one of them.

    `lasts_ms` is the least time of a round, `least_v` the upper end of the first band, in the units sensed, at which
    it stops; None where nothing fixes it.
    """

    bands: tuple[str, ...]
    emf_v: Fraction
    from_v: Fraction
    to_v: Fraction
    lasts_ms: Fraction
    least_v: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupRound:
    """A band and the backup that follow each other on one side of the range.

    `reading_v`, also `least_v`, is what can be read with the load just gone, `limit_v` the end of the return that
    lets it back, both in the units read while away.
    """

    bands: tuple[str, ...]
    side: Literal["low", "high"]
    reading_v: Fraction
    limit_v: Fraction
    least_v: Fraction
    noise_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedTime:
    """A time of a relay that the file leaves out, and the most it is taken for."""

    key: str
    most_ms: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortPassed:
    """A move from the relays `energised` to those of `states` that can meet a short.

    The positions of its movers in one such mixture, how many there are, and how long one can last.
    """

    energised: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]
    movers: tuple[str, ...]
    positions: tuple[Position, ...]
    count: int
    lasts_ms: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortDropped:
    """Relays that, the coil supply gone, can meet a short on their way to rest, and their positions then."""

    energised: tuple[str, ...]
    movers: tuple[str, ...]
    positions: tuple[Position, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioPassed:
    """A move from the relays `energised` to those of `states` that can meet a ratio beyond those of both its ends.

    The positions of its movers then, the worst input, the output there, the window's end it breaks, the output as a
    multiple of nominal, and how long it can last.
    """

    energised: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]
    movers: tuple[str, ...]
    positions: tuple[Position, ...]
    ratio: Fraction
    input_v: Fraction
    output_v: Fraction
    limit_v: Fraction
    factor: Fraction
    lasts_ms: Fraction

    @property
    def side(self) -> Literal["below", "above"]:
        """Where the output stands."""
        return "below" if self.output_v < self.limit_v else "above"


@dataclass(frozen=True, slots=True, kw_only=True)
class TooMany:
    """A move of `count` relays at once, more than the `most` whose mixtures are gone through."""

    energised: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]
    count: int
    most: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsLeft:
    """A table of `count` rows, more than the `most` whose sudden steps are followed where they stop on their way."""

    count: int
    most: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenOutput:
    """The move that leaves the output on nothing longest, for how long, and the times taken for its movers."""

    energised: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]
    movers: tuple[str, ...]
    lasts_ms: Fraction
    assumed: tuple[AssumedTime, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """The move that takes the line off the winding longest; `factor` is the peak flux as a multiple of normal."""

    energised: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]
    lasts_ms: Fraction
    factor: Fraction
    assumed: tuple[AssumedTime, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SteppedThrough:
    """The band left at a source of `emf_v`, those entered (`count` of them), and the inlet in the first of these."""

    bands: tuple[str, ...]
    emf_v: Fraction
    input_v: Fraction
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightRead:
    """A reading, referred to the input, that holds a flight of `lasts_ms` and lies beyond the new band's `limit_v`.

    `input_v` is the inlet once the relays have settled; blanked for `limit_ms`, no reading does so.
    """

    bands: tuple[str, ...]
    emf_v: Fraction
    input_v: Fraction
    reading_v: Fraction
    limit_v: Fraction
    lasts_ms: Fraction
    limit_ms: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class InrushSag:
    """The inlet, `input_v`, under the load's inrush, below the new band's end `limit_v`.

    An inrush longer than `limit_ms` is read; a hold down to `least_v`, a hysteresis of `hysteresis_pct`, stops it.
    """

    bands: tuple[str, ...]
    emf_v: Fraction
    inrush_a: Fraction
    input_v: Fraction
    limit_v: Fraction
    least_v: Fraction
    limit_ms: Fraction
    hysteresis_pct: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class SuddenStep:
    """A sudden line of `input_v`, the bands from the first to the last, and the output that leaves the curve most.

    `factor` is that output as a multiple of nominal; the curve allows the level for `limit_ms`, and for `lasts_ms` a
    level of `allowed_pct` of nominal. `count` steps leave the curve on this side.
    """

    bands: tuple[str, ...]
    side: Literal["over", "under"]
    curve: str
    input_v: Fraction
    output_v: Fraction
    factor: Fraction
    lasts_ms: Fraction
    limit_ms: Fraction
    allowed_pct: Fraction
    count: int


OfMotion = (
    EndlessRound
    | BackupRound
    | ShortPassed
    | ShortDropped
    | RatioPassed
    | TooMany
    | StepsLeft
    | OpenOutput
    | OpenLine
    | SteppedThrough
    | FlightRead
    | InrushSag
    | SuddenStep
)
