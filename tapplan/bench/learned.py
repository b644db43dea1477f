"""From what was learnt on the board to a design: the wiring, the turns, and what is still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from itertools import combinations

from tapplan.bench.continuity import Contacts, board_of, wirings
from tapplan.bench.heights import FoundTurns, KnownWinding, RestsOn, clashing, seen_volts, turns_by
from tapplan.bench.isolation import Reading
from tapplan.bench.joined import NOTHING_SEEN, DrivenCoils, Evidence, coils_of, evidence, without_lugs
from tapplan.bench.meter import Meter
from tapplan.bench.poles import FoundWiring, joins
from tapplan.bench.wirings import Board
from tapplan.design.model import Design, Pole, Relay, Terminals, Winding

RELATIVE = 1000  # turns that stand for the pair fed, where no test winding says how many they are


@dataclass(frozen=True, slots=True)
class Learned:
    """What the readings say. `settled`: one wiring, and every point and turn placed.

    `points` are all that were named, the test winding's own left out; `states` the coil states of the readings.
    """

    contacts: Contacts
    turns: FoundTurns | None
    relays: tuple[str, ...]
    points: tuple[str, ...] = ()
    states: tuple[DrivenCoils, ...] = ()
    seen: Evidence = NOTHING_SEEN
    winding: KnownWinding | None = None

    @property
    def settled(self) -> bool:
        """Whether nothing is open but the meter's error."""
        one = len(self.contacts.wirings) == 1 and self.contacts.whole and not self.contacts.unprobed
        placed = self.turns is not None and not self.turns.unclear and not self.turns.unused
        return one and placed and not (self.clashes or self.idle or self.unplaced or self.unwound)

    @property
    def unwound(self) -> bool:
        """Whether a test winding was put on, and its volts were never read."""
        return self.winding is not None and (self.turns is None or self.turns.per_share is None)

    @property
    def idle(self) -> tuple[str, ...]:
        """Relays of which no contact was found."""
        wiring = self.contacts.wirings[0] if self.contacts.wirings else ()
        return tuple(relay for relay, poles in zip(self.relays, wiring, strict=False) if not poles)

    @property
    def unplaced(self) -> tuple[str, ...]:
        """Points named in readings that are neither on a winding nor on a contact."""
        wiring = self.contacts.wirings[0] if self.contacts.wirings else ()
        known = {end for poles in wiring for pole in poles for edge in pole.edges.values() for end in edge}
        if self.turns is not None:
            known |= {one.point for each in (self.turns.heights, *self.turns.others) for one in each}
        known |= {point for group in self.contacts.wires if known & set(group) for point in group}
        return tuple(point for point in self.points if point not in known)

    @property
    def clashes(self) -> tuple[tuple[str, str], ...]:
        """Points that continuity joins and volts tell apart: windings of so few ohms that they look like a wire."""
        if self.turns is None:
            return ()
        heights = {one.point: one.within for one in self.turns.heights}
        groups = [set(group) for group in self.contacts.wires]
        for wiring in self.contacts.wirings[:1]:
            for state in self.states:
                groups += _grouped(joins(wiring, self.relays, state))
        found = {
            (one, two)
            for group in groups
            for one, two in combinations(sorted(group & set(heights)), 2)
            if heights[one].meet(heights[two]) is None
        }
        return tuple(sorted(found | set(self.turns.clashes)))


def learned(frame: Design, readings: Sequence[Reading], meter: Meter, winding: KnownWinding | None) -> Learned:
    """The wiring and turns of a board, from readings; its terminals are those of the frame.

    Relays and points are those that any reading names, one whose value is unknown too.
    """
    ends = frame.terminals
    read = without_lugs(readings)
    relays = tuple(sorted({relay for one in read for relay in _relays(one)}))
    points = _points(read, winding)
    own = frozenset() if winding is None else winding.ends
    seen = evidence([one for one in read if not own & set(one.measure.at)], meter, points)
    volts = seen_volts(read, meter)
    tried: list[Learned] = []
    for wired in (True, False):  # two points may look wired, for one contact takes over where another opens
        board = board_of(seen, relays, (ends.line, ends.neutral, ends.output), wired=wired)

        def rest(wiring: FoundWiring, board: Board = board) -> RestsOn:
            return _rest(wiring, relays, board, seen.fixed, ends)

        found = wirings(board, relays, lambda wiring, here: not clashing(volts, winding, rest(wiring, here)))
        placed = turns_by(volts, winding, rest(found.wirings[0] if found.wirings else ()))
        states = tuple(dict.fromkeys(coils_of(one.measure.condition) for one in read))
        tried.append(Learned(found, placed, relays, points, states, seen, winding))
        if not board.wires or (found.fits and not tried[0].idle):
            break
    return next((one for one in tried[::-1] if one.contacts.fits and not one.idle), tried[0])


def _relays(one: Reading) -> frozenset[str]:
    """The relays that a reading names."""
    own = one.measure.at if one.measure.what in ("coil-ohms", "click") else ()
    return coils_of(one.measure.condition) | frozenset(own)


def _points(readings: Sequence[Reading], winding: KnownWinding | None) -> tuple[str, ...]:
    """All points that readings name, but those of the test winding."""
    named: dict[str, None] = {}
    for one in readings:
        if one.measure.what in ("volts", "ohms"):
            named |= dict.fromkeys((*(one.measure.condition.fed or ()), *one.measure.at))
    own = frozenset() if winding is None else winding.ends
    return tuple(point for point in named if point not in own)


def _rest(
    wiring: FoundWiring, relays: Sequence[str], board: Board, fixed: frozenset[str], ends: Terminals
) -> RestsOn:
    """For a point and coils, the point of the winding that it rests on; a free common rests on none."""
    names = board.names
    moving = _moving(wiring, {names.get(point, point) for point in fixed}, [ends.output, ends.line])

    @cache
    def groups(coils: DrivenCoils) -> dict[str, list[str]]:
        group = joins(wiring, relays, coils)
        return {point: sorted(other for other in group if group[other] == group[point]) for point in group}

    def rest(point: str, coils: DrivenCoils) -> str | None:
        named = names.get(point, point)
        if named not in moving:
            return named
        return next((other for other in groups(coils).get(named, ()) if other not in moving), None)

    return rest


def _moving(wiring: FoundWiring, fixed: set[str], ends: Sequence[str]) -> set[str]:
    """Points that contacts move: the commons of changeovers, and of a single throw the end that is led outside."""
    poles = [pole for each in wiring for pole in each]
    moving = {pole.com for pole in poles if pole.nc is not None and pole.no is not None}
    for pole in poles:
        for edge in pole.edges.values():
            outside = [point for point in ends if point in edge and point not in fixed | moving]
            if outside and (pole.nc is None or pole.no is None):
                moving.add(outside[0])
    return moving


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
