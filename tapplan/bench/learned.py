"""From what was learnt on the board to a design: the wiring, the turns, and what is still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.bench.isolation import Reading
from tapplan.bench.learning import Contacts, Turns, contacts, turns
from tapplan.bench.meter import Meter
from tapplan.design.model import Design, Pole, Relay, Winding

RELATIVE = 1000  # turns that stand for the pair fed, where no test winding says how many they are


@dataclass(frozen=True, slots=True)
class Learned:
    """What the readings say. `settled`: one wiring, and every turn placed."""

    contacts: Contacts
    turns: Turns | None
    relays: tuple[str, ...]

    @property
    def settled(self) -> bool:
        """Whether nothing is open but the meter's error."""
        one = len(self.contacts.wirings) == 1 and self.contacts.whole
        return one and self.turns is not None and not self.turns.unclear


def learned(
    frame: Design, readings: Sequence[Reading], how: tuple[Meter, tuple[str, str, Fraction] | None]
) -> Learned:
    """The wiring and turns of a board, from readings; its terminals are those of the frame."""
    relays = sorted({relay for one in readings for relay in one.measure.condition.coils or ()})
    ends = frame.terminals
    found = contacts(readings, relays, (ends.line, ends.neutral, ends.output))
    return Learned(found, turns(readings, *how), tuple(relays))


def stage_of(frame: Design, found: Learned) -> Design:
    """The frame with the first wiring and the nearest turns in it, ready to be written."""
    named = {point: group[0] for group in found.contacts.wires for point in group}
    windings = []
    for number, (low, high, share, span) in enumerate(found.turns.sections() if found.turns else (), 1):
        whole = found.turns.whole_turns(share, span) if found.turns else None
        count = Fraction(whole[0] if whole else max(round(share * RELATIVE), 1))
        ends = (named.get(low, low), named.get(high, high))
        windings.append(Winding(name=f"section {number}", ends=ends, turns=count))
    wiring = found.contacts.wirings[0]
    relays = tuple(
        Relay(name=relay, poles=tuple(Pole(com=one.com, nc=one.nc, no=one.no) for one in poles))
        for relay, poles in zip(found.relays, wiring, strict=True)
        if poles
    )
    return replace(frame, windings=tuple(windings), relays=relays, bands=(), fit=None)
