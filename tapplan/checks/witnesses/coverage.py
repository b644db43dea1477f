"""Witnesses of coverage: the inputs that no state serves, that no band holds, from which there is no way back.

Volts are exact and, where nothing else is said, true volts at the inlet.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretched:
    """The state that serves nearest to an opening, and the ratio with which it alone would close it."""

    energised: tuple[str, ...]
    ratio: Fraction
    wanted_ratio: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Unserved:
    """Inputs that no state serves: one of them, the nearest state with its output there, and both neighbours."""

    from_v: Fraction
    to_v: Fraction
    input_v: Fraction
    energised: tuple[str, ...] | None
    ratio: Fraction | None
    output_v: Fraction | None
    below: Stretched | None
    above: Stretched | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadZone:
    """Inputs some reading of which no band holds: one of them, such a reading referred to the input, and a course.

    `bands` are the neighbours below and above, of which one may be missing at an end of the table.
    """

    bands: tuple[str, ...]
    from_v: Fraction
    to_v: Fraction
    input_v: Fraction
    reading_v: Fraction
    course_v: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoReturn:
    """A promised input that can be read, while away, at `reading_v` beyond the end `limit_v` of the return.

    Readings are in the units sensed. `least_v` is the end of the return that mends it.
    """

    input_v: Fraction
    reading_v: Fraction
    limit_v: Fraction
    least_v: Fraction

    @property
    def side(self) -> Literal["low", "high"]:
        """Which end of the return stands too far in."""
        return "low" if self.reading_v < self.limit_v else "high"


OfCoverage = Unserved | DeadZone | NoReturn
