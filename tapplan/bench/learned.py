"""From what was learnt on the board to a design: the wiring, the turns, and what is still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from tapplan.bench.continuity import Contacts, contacts, joins
from tapplan.bench.heights import FoundTurns, KnownWinding, turns
from tapplan.bench.isolation import Reading
from tapplan.bench.meter import Meter
from tapplan.design.model import Design, Pole, Relay, Winding

MOST_RELAYS = 8  # of which every coil state is gone through for points that are joined and differ all the same
RELATIVE = 1000  # turns that stand for the pair fed, where no test winding says how many they are


@dataclass(frozen=True, slots=True)
class Learned:
    """What the readings say. `settled`: one wiring, and every turn placed."""

    contacts: Contacts
    turns: FoundTurns | None
    relays: tuple[str, ...]

    @property
    def settled(self) -> bool:
        """Whether nothing is open but the meter's error."""
        one = len(self.contacts.wirings) == 1 and self.contacts.whole and not self.contacts.unprobed
        placed = self.turns is not None and not self.turns.unclear and not self.turns.unused
        return one and placed and not self.clashes

    @property
    def clashes(self) -> tuple[tuple[str, str], ...]:
        """Points that continuity joins and volts tell apart: windings of so few ohms that they look like a wire."""
        if self.turns is None:
            return ()
        heights = {one.point: one.within for one in self.turns.heights}
        groups = [set(group) for group in self.contacts.wires]
        for wiring in self.contacts.wirings[:1]:
            for count in range(1 << min(len(self.relays), MOST_RELAYS)):
                state = frozenset(relay for place, relay in enumerate(self.relays) if count >> place & 1)
                groups += _grouped(joins(wiring, self.relays, state))
        found = {
            (one, two)
            for group in groups
            for one, two in combinations(sorted(group & set(heights)), 2)
            if heights[one].meet(heights[two]) is None
        }
        return tuple(sorted(found))


def learned(frame: Design, readings: Sequence[Reading], meter: Meter, winding: KnownWinding | None) -> Learned:
    """The wiring and turns of a board, from readings; its terminals are those of the frame."""
    relays = sorted({relay for one in readings for relay in one.measure.condition.coils or ()})
    ends = frame.terminals
    found = contacts(readings, relays, (ends.line, ends.neutral, ends.output))
    return Learned(found, turns(readings, meter, winding), tuple(relays))


def stage_of(frame: Design, found: Learned) -> Design:
    """The frame with the first wiring and the nearest turns in it, ready to be written."""
    named = {point: group[0] for group in found.contacts.wires for point in group}
    windings = []
    for number, section in enumerate(found.turns.sections() if found.turns else (), 1):
        whole = found.turns.whole_turns(section) if found.turns else None
        count = Fraction(whole.nearest if whole else max(round(section.share * RELATIVE), 1))
        ends = (named.get(section.low, section.low), named.get(section.high, section.high))
        windings.append(Winding(name=f"section {number}", ends=ends, turns=count))
    wiring = found.contacts.wirings[0]
    relays = tuple(
        Relay(name=relay, poles=tuple(Pole(com=one.com, nc=one.nc, no=one.no) for one in poles))
        for relay, poles in zip(found.relays, wiring, strict=True)
        if poles
    )
    return replace(frame, windings=tuple(windings), relays=relays, bands=(), fit=None)


def _grouped(names: dict[str, str]) -> list[set[str]]:
    """Points by the name of their group."""
    found: dict[str, set[str]] = {}
    for point, name in names.items():
        found.setdefault(name, set()).add(point)
    return list(found.values())
