"""Witnesses of the table: what a band holds, what is read, and how neighbours overlap.

Volts are exact and, where nothing else is said, true volts at the inlet.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldOutside:
    """A promised input that a band really holds with the output outside the window.

    `limit_v` is the window's end, `reading_v` the reading referred to the input, `course_v` the inputs one after the
    other that lead there, the first at switch-on; None where none inside the range does.
    """

    bands: tuple[str, ...]
    energised: tuple[str, ...]
    ratio: Fraction
    input_v: Fraction
    reading_v: Fraction
    course_v: tuple[Fraction, ...] | None
    output_v: Fraction
    limit_v: Fraction

    @property
    def side(self) -> Literal["below", "above"]:
        """Where the output stands."""
        return "below" if self.output_v < self.limit_v else "above"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldBeyond:
    """An input outside the range that a band still holds with the output outside the window's end `limit_v`."""

    bands: tuple[str, ...]
    energised: tuple[str, ...]
    ratio: Fraction
    input_v: Fraction
    output_v: Fraction
    limit_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Rising:
    """Neighbours whose ratio rises: the lower one's, and the upper one's relays, ratio, least input and output.

    Input and output are None where nothing fixes what the upper band reads.
    """

    bands: tuple[str, ...]
    energised: tuple[str, ...]
    below_ratio: Fraction
    ratio: Fraction
    input_v: Fraction | None
    output_v: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindBand:
    """A band in whose state nothing fixes what is read of an input volt."""

    bands: tuple[str, ...]
    energised: tuple[str, ...]
    ratio: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindAway:
    """The same with no band in force; the ratio is None where the state has none."""

    energised: tuple[str, ...]
    ratio: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Two neighbours, and the input volts `from_v` to `to_v` that both surely hold.

    `noise_v` is the noise as stated, at the points sensed, `noise_input_v` the same as it acts on this overlap, in
    input volts; `wanted_v` the hysteresis asked for.
    """

    bands: tuple[str, ...]
    input_v: Fraction
    from_v: Fraction
    to_v: Fraction
    overlap_v: Fraction
    noise_v: Fraction
    noise_input_v: Fraction
    wanted_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class NoisyRound:
    """Bands that are no neighbours and yet follow one another at a steady input, moved by the noise at the sensor."""

    bands: tuple[str, ...]
    from_v: Fraction
    to_v: Fraction
    noise_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Wandering:
    """What a steady line is read as, at least and at most, in shares of it; `factor` is the one farther from 1."""

    window_cycles: Fraction
    factor: Fraction
    least_factor: Fraction
    most_factor: Fraction


OfTheTable = HeldOutside | HeldBeyond | Rising | BlindBand | BlindAway | Overlap | NoisyRound | Wandering
