"""What mends a finding: a change in numbers that was tried on the design, or what is known of its order of relays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from tapplan.design.model import Sensing


@dataclass(frozen=True, slots=True)
class HoldEnd:
    """One end of a band's `hold_v`, in the units sensed, that keeps its output inside the window."""

    band: str
    end: Literal["low", "high"]
    volts_v: Fraction


@dataclass(frozen=True, slots=True)
class Overlapping:
    """One end of a band's `hold_v`, in the units sensed, with which it overlaps its neighbour as far as is wanted."""

    band: str
    end: Literal["low", "high"]
    volts_v: Fraction


@dataclass(frozen=True, slots=True)
class HoldOn:
    """The upper end of a band's `hold_v`, in the units sensed, beyond which the band above no longer sends back."""

    band: str
    volts_v: Fraction


@dataclass(frozen=True, slots=True)
class ReturnInside:
    """The two ends of `return_v` of the backup, in the units read while away."""

    low_v: Fraction
    high_v: Fraction


@dataclass(frozen=True, slots=True)
class Cure:
    """What would keep every step on one side inside a curve: a confirmation, or none and a shorter window.

    `window_cycles` None: the window as it is. It is never other than a whole number of half cycles, for anything else
    lets a steady reading wander.
    """

    confirm_ms: Fraction
    window_cycles: Fraction | None = None

    def applied(self, sensing: Sensing) -> Sensing:
        """The sensing with it."""
        window = sensing.window_cycles if self.window_cycles is None else self.window_cycles
        return replace(
            sensing, confirm_ms=self.confirm_ms, confirm_up_ms=None, confirm_down_ms=None, window_cycles=window
        )


@dataclass(frozen=True, slots=True)
class Blanking:
    """The `blank_ms` of [sequence] after which no reading holds a flight any more."""

    blank_ms: Fraction


@dataclass(frozen=True, slots=True)
class SafeOrder:
    """An order of a move's relays that shorts nothing."""

    relays: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NoSafeOrder:
    """Every order of a move's relays shorts turns, so that only other wiring mends it."""


@dataclass(frozen=True, slots=True)
class MilderOrder:
    """The safest order of a move's relays, and the ratios it passes beside those of the two ends, rising."""

    relays: tuple[str, ...]
    passes: tuple[Fraction, ...]


Mend = HoldEnd | Overlapping | HoldOn | ReturnInside | Cure | Blanking | SafeOrder | NoSafeOrder | MilderOrder
