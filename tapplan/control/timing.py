"""How long things take: a reading, a confirmation, a relay's travel. Milliseconds throughout.

A relay's operate or release time runs from the coil's change to the first change of a contact, and leaves out
bounce; transfer runs from one throw's opening to the other's first touch (terms as in IEC 61810-1, from memory). Each
is anywhere between the least and the most that the file gives.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from tapplan.design.model import (
    DEFAULT_BOUNCE_MS,
    DEFAULT_OPERATE_MS,
    DEFAULT_RELEASE_MS,
    DEFAULT_TRANSFER_MS,
    Design,
    Relay,
)
from tapplan.exact import Span

_DEFAULTS = {
    "operate": DEFAULT_OPERATE_MS,
    "release": DEFAULT_RELEASE_MS,
    "transfer": DEFAULT_TRANSFER_MS,
    "bounce": DEFAULT_BOUNCE_MS,
}


@dataclass(frozen=True, slots=True)
class Travel:
    """What one relay takes to change over: to a contact's first change, to the first touch, until it is still.

    With `makes_first` the first change is the touch, and the transfer, with both throws closed, comes last.
    """

    delay: Span
    transfer: Span
    bounce: Span
    makes_first: bool = False

    @property
    def most(self) -> Fraction:
        """From the coil's change until the contact is still, at the longest."""
        return self.delay.high + self.transfer.high + self.bounce.high


def travel(relay: Relay, *, driven: bool) -> Travel:
    """The travel of a relay whose coil gets its voltage, or loses it."""
    return Travel(
        _taken(relay, "operate" if driven else "release"),
        _taken(relay, "transfer"),
        _taken(relay, "bounce"),
        relay.makes_first,
    )


def _taken(relay: Relay, what: str) -> Span:
    stated: tuple[Fraction, Fraction] | None = getattr(relay, f"{what}_ms")
    return Span(Fraction(0), _DEFAULTS[what]) if stated is None else Span(*stated)


def reading_ms(design: Design) -> Fraction:
    """How long one reading looks back: the averaging window at the lowest frequency."""
    return 1000 * design.sensing.window_cycles / design.mains.frequency_hz[0]


def assumed_ms(design: Design, movers: Iterable[str]) -> dict[str, Fraction]:
    """The times of these relays that the file leaves out, by key, each with the most it is taken for."""
    named = frozenset(movers)
    relays = [relay for relay in design.relays if relay.name in named]
    return {
        key: default
        for key, default in _DEFAULTS.items()
        if any(getattr(relay, f"{key}_ms") is None for relay in relays)
    }
