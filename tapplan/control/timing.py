"""How long things take: a reading, a confirmation, a relay's travel. Milliseconds throughout.

A relay's operate or release time runs from the coil's change to the first change of a contact, and leaves out
bounce; transfer runs from one throw's opening to the other's closing (terms as in IEC 61810-1, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
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


@dataclass(frozen=True, slots=True)
class Travel:
    """Relays that are commanded together: until the first contact opens, and until the last has settled."""

    first_ms: Fraction
    last_ms: Fraction

    @property
    def gap_ms(self) -> Fraction:
        """How long some contact of them may be open."""
        return self.last_ms - self.first_ms


_DEFAULTS = {
    "operate": DEFAULT_OPERATE_MS,
    "release": DEFAULT_RELEASE_MS,
    "transfer": DEFAULT_TRANSFER_MS,
    "bounce": DEFAULT_BOUNCE_MS,
}

STILL = Travel(Fraction(0), Fraction(0))


def delay_ms(relay: Relay, *, driven: bool) -> Fraction:
    """From the coil's change to the first change of a contact: the operate or the release time."""
    if driven:
        return relay.operate_ms if relay.operate_ms is not None else DEFAULT_OPERATE_MS
    return relay.release_ms if relay.release_ms is not None else DEFAULT_RELEASE_MS


def flight_ms(relay: Relay) -> Fraction:
    """From the first change of a contact until the other throw has closed and stopped bouncing."""
    transfer = relay.transfer_ms if relay.transfer_ms is not None else DEFAULT_TRANSFER_MS
    return transfer + (relay.bounce_ms if relay.bounce_ms is not None else DEFAULT_BOUNCE_MS)


def travel(design: Design, movers: Mapping[str, bool]) -> Travel:
    """The travel of these relays, each with whether it is being driven, when commanded together."""
    relays = [relay for relay in design.relays if relay.name in movers]
    begins = [delay_ms(relay, driven=movers[relay.name]) for relay in relays]
    ends = [begin + flight_ms(relay) for begin, relay in zip(begins, relays, strict=True)]
    return Travel(min(begins), max(ends)) if relays else STILL


def travel_between(design: Design, old: Iterable[str], new: Iterable[str]) -> Travel:
    """The travel from one set of driven relays to another."""
    before, after = frozenset(old), frozenset(new)
    return travel(design, {relay: relay in after for relay in before ^ after})


def reading_ms(design: Design) -> Fraction:
    """How long one reading looks back: the averaging window at the lowest frequency."""
    return 1000 * design.sensing.window_cycles / design.mains.frequency_hz[0]


def times_note(design: Design, movers: Iterable[str]) -> str:
    """Whether the times of these relays stand in the file, and which defaults stand in for those that do not."""
    named = frozenset(movers)
    relays = [relay for relay in design.relays if relay.name in named]
    missing = [
        f"{key} {float(default):g}"
        for key, default in _DEFAULTS.items()
        if any(getattr(relay, f"{key}_ms") is None for relay in relays)
    ]
    if not missing:
        return "times as the file gives them"
    return f"by default, common practice, no source: {', '.join(missing)} ms"
