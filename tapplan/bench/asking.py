"""The reading to take next on an undrawn board.

First the volts of every point to neutral, with no coil driven and with each coil alone: unlike volts tell points
apart, like volts leave a few pairs to be read across. Then what the wirings that are left would tell apart. The
small source stands on line and neutral, or on the pair of most turns that is known; never on a few turns, where a
low voltage makes a high one elsewhere.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import combinations

from tapplan.bench.isolation import Reading
from tapplan.bench.joined import DrivenCoils, Edge, coils_of, is_zero, live_points, volts_of, without_lugs
from tapplan.bench.learned import Learned
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.meter import Meter
from tapplan.bench.values import MOST
from tapplan.design.model import Design
from tapplan.exact import Span

FIRST_V = Fraction(3)  # with nothing known: sixteen times as much elsewhere is still no harm
TRIES = 2
NO_COIL: DrivenCoils = frozenset()


def next_reading(frame: Design, readings: Sequence[Reading], meter: Meter, found: Learned) -> Measure | None:
    """What to measure next; None when the board is settled, or when nothing more would tell.

    A reading that is twice given as unknown is asked again only where no other tells anything; once may only name
    the points.
    """
    if found.settled:
        return None
    asking = _Asking(frame, without_lugs(readings), meter, found)
    wanted = dict.fromkeys(asking.wanted())
    lost = Counter(_place(one.measure) for one in asking.read if one.value is None)
    return next((one for one in wanted if lost[_place(one)] < TRIES), next(iter(wanted), None))


@dataclass(frozen=True, slots=True)
class _Place:
    """Where and in which condition something is read, either probe first."""

    condition: Condition
    what: str
    ends: Edge


def _place(measure: Measure) -> _Place:
    return _Place(measure.condition, measure.what, frozenset(measure.at))


class _Asking:
    def __init__(self, frame: Design, read: list[Reading], meter: Meter, found: Learned) -> None:
        self.read, self.meter, self.found = read, meter, found
        self.line, self.neutral, self.out = frame.terminals.line, frame.terminals.neutral, frame.terminals.output
        self.names = {point: group[0] for group in found.contacts.wires for point in group}
        listed = (self.out, *found.points, self.line, self.neutral)
        self.points = tuple(dict.fromkeys(self.names.get(point, point) for point in listed))
        self.taken = {_place(self._named(one.measure)) for one in read if one.value is not None}
        self.live = live_points(read, meter)
        self.ohms = {
            (coils_of(one.measure.condition), frozenset(one.measure.at)): one.value
            for one in read
            if one.measure.what == "ohms" and one.value is not None
        }
        self.facts = {
            (one.coils, frozenset(self.names.get(end, end) for end in one.pair)): one for one in found.seen.facts
        }

    def _named(self, measure: Measure) -> Measure:
        """A measure with the one name of each wire's points."""
        if measure.what not in ("volts", "ohms"):
            return measure
        return replace(measure, at=tuple(self.names.get(end, end) for end in measure.at))

    def wanted(self) -> Iterator[Measure]:
        """Readings that tell something, the first most."""
        contacts = self.found.contacts
        if len(contacts.wirings) == 1 and contacts.fits and contacts.whole and not self.found.idle:
            yield from self._sides()
            yield from self._test_winding()
        states = [NO_COIL, *(frozenset({relay}) for relay in self.found.relays)]
        more = [frozenset(pair) for pair in combinations(self.found.relays, 2)]
        everything = [frozenset(self.found.relays)] if len(self.found.relays) > 2 else []
        for state in sorted(states, key=lambda one: not self.live.get(self._source(one))):
            yield from self._state(state)
        if not any(self.live.values()):  # a relay that is at rest may keep the line off: look where it does not
            for state in (*more, *everything):
                yield from self._levels(self._source(state))
            return
        yield from self._sides()
        yield from self._test_winding()
        yield from self._wirings()
        for state in (*more, *everything):
            source = next(iter(self._sources(state)))
            yield from self._new(Measure(source, "volts", (self.out, self.neutral)))
        yield from self._doubts()

    def _state(self, coils: DrivenCoils) -> Iterator[Measure]:
        for source in self._sources(coils):
            levels = list(self._levels(source))
            yield from levels
            if levels or self.live.get(source):
                yield from self._alike(source)
                yield from self._free(source)
                return

    def _sources(self, coils: DrivenCoils) -> Iterator[Condition]:
        """Line and neutral; where no volts show then, the pair of most turns, known from another coil state."""
        own = self._source(coils)
        if self.top is None or self.top == self.line:
            yield own
            return
        others = [one for one, seen in self.live.items() if seen and coils_of(one) == coils and one != own]
        used = (one.fed for one, seen in self.live.items() if seen and one.fed != own.fed)
        fed = next((each for each in used if each is not None and each[1] == self.neutral), None)
        ends = fed or (self.top, self.neutral)
        others = others[:1] or [replace(own, fed=ends)]
        yield from (*others, own) if self._dark(own) or self.live.get(others[0]) else (own, *others)

    def _dark(self, source: Condition) -> bool:
        """Whether a source reaches nothing: its two points are open to each other, or no point shows volts."""
        ohms = self.ohms.get((coils_of(source), frozenset(source.fed or ())))
        return ohms == MOST or (source in self.live and not self.live[source])

    def _source(self, coils: DrivenCoils) -> Condition:
        return replace(self._first, coils=coils)

    @cached_property
    def _first(self) -> Condition:
        """The source on line and neutral that was used already, or the one to begin with."""
        used = [one.measure.condition for one in volts_of(self.read)]
        own = [one for one in used if one.fed is not None and set(one.fed) == {self.line, self.neutral} and one.volts]
        return own[0] if own else Condition("low", NO_COIL, (self.line, self.neutral), FIRST_V)

    @cached_property
    def top(self) -> str | None:
        """The point highest above neutral that no contact is known to move, by the volts between the two."""
        turns, still = self.found.turns, self.found.seen.fixed
        if turns is None:
            return None
        poles = [pole for each in self.found.contacts.wirings[:1] for poles in each for pole in poles]
        moving = {pole.com for pole in poles} | ({self.line, self.out} - still)
        levels = {min(ends - {self.neutral}): span for ends, span in turns.direct.items() if self.neutral in ends}
        able = [point for point in levels if point not in moving and point in self.points]
        return max(able, key=lambda point: levels[point].low, default=None)

    def _levels(self, source: Condition) -> Iterator[Measure]:
        """Volts of every point to neutral, as long as the source is not seen to reach nothing."""
        fed = source.fed or ()
        read = [one for one in volts_of(self.read) if one.measure.condition == source]
        if len(read) > 1 and not self.live[source]:
            off = Measure(Condition("off", coils_of(source)), "ohms", (self.line, self.neutral))
            if source.fed == self._first.fed:
                yield from self._new(off)
            if self._dark(source) and self.ohms.get((coils_of(source), frozenset(fed))) == MOST:
                return
        for point in self.points:
            if point not in fed and (point == self.out or point not in self._wound):
                yield from self._new(Measure(source, "volts", (point, self.neutral)))

    def _new(self, measure: Measure) -> Iterator[Measure]:
        if _place(measure) not in self.taken:
            yield measure

    def _level(self, source: Condition, point: str) -> Span | None:
        """True volts of a point to neutral; None where they are nothing, or not read."""
        if source.fed is not None and point == source.fed[0] and source.volts is not None:
            return Span(source.volts, source.volts)
        for one in volts_of(self.read):
            if _place(self._named(one.measure)) == _Place(source, "volts", frozenset({point, self.neutral})):
                return None if is_zero(one, self.meter) else self.meter.true(one.measure, one.value or Fraction(0))
        return None

    def _alike(self, source: Condition) -> Iterator[Measure]:
        """Volts across pairs of like volts to neutral, of which it is not known whether they are joined."""
        levels = {point: self._level(source, point) for point in self.points}
        coils, still = coils_of(source), self.found.seen.fixed
        for one, two in combinations(self.points, 2):
            here, there = levels[one], levels[two]
            if here is None or there is None or here.meet(there) is None or {one, two} <= still:
                continue
            fact = self.facts.get((coils, frozenset({one, two})))
            if (fact is None or not fact.sure) and not self._linked(coils, one, two):
                yield from self._new(Measure(source, "volts", (one, two)))

    def _linked(self, coils: DrivenCoils, one: str, two: str) -> bool:
        """Whether the two are known to be joined, or apart, by way of a third point."""
        for third in self.points:
            facts = [self.facts.get((coils, frozenset({end, third}))) for end in (one, two)]
            if all(fact is not None and fact.sure for fact in facts) and any(fact and fact.joined for fact in facts):
                return True
        return False

    def _free(self, source: Condition) -> Iterator[Measure]:
        """Ohms between points without volts to neutral, and volts between those that ohms link."""
        coils = coils_of(source)
        free = [
            point for point in self.points if point not in (source.fed or ()) and self._level(source, point) is None
        ]
        for pair in combinations((self.neutral, *free), 2):
            ends = frozenset(pair)
            if ends <= self._wound and coils:
                continue
            off = Measure(Condition("off", coils), "ohms", pair)
            yield from self._new(off)
            linked = any(
                one.value is not None and one.value < MOST and _place(self._named(one.measure)) == _place(off)
                for one in self.read
            )
            if linked and self.neutral not in pair:
                yield from self._new(Measure(source, "volts", pair))

    @cached_property
    def _wound(self) -> set[str]:
        """Points of windings of their own: with volts between them and none to neutral."""
        found: set[str] = set()
        for one in volts_of(self.read):
            source, ends = one.measure.condition, set(self._named(one.measure).at)
            if (
                ends <= set(self.points)
                and not is_zero(one, self.meter)
                and all(self._is_free(source, end) for end in ends)
            ):
                found |= ends
        return found

    def _is_free(self, source: Condition, point: str) -> bool:
        """Whether a point was read, and shows no volts to neutral."""
        taken = _Place(source, "volts", frozenset({point, self.neutral})) in self.taken
        return taken and point not in (source.fed or ()) and self._level(source, point) is None

    def _live_source(self, *ends: str) -> Condition | None:
        """A condition in which all these points show volts, the one with the fewest coils."""
        fit = [source for source, seen in self.live.items() if seen and set(ends) <= seen]
        return min(
            fit, key=lambda source: (len(coils_of(source)), source.fed != (self.line, self.neutral)), default=None
        )

    def _sides(self) -> Iterator[Measure]:
        """Volts that tell on which side of another point one lies."""
        turns = self.found.turns
        for one in () if turns is None else turns.unclear:
            source = self._live_source(one.point, one.other) or self._live_source(one.point) or self._live_source()
            if source is not None:
                yield from self._new(Measure(source, "volts", (one.point, one.other)))

    def _test_winding(self) -> Iterator[Measure]:
        source = self._live_source()
        if self.found.unwound and self.found.winding is not None and source is not None:
            yield from self._new(Measure(source, "volts", (self.found.winding.one, self.found.winding.other)))

    def _wirings(self) -> Iterator[Measure]:
        """What tells wirings apart, and throws that were not looked for."""
        settling = self.found.contacts.settling
        if settling is not None:
            yield from self._pair(settling.coils, *settling.ends)
        for one in self.found.contacts.unprobed:
            yield from self._pair(frozenset({one.relay}) if one.driven else NO_COIL, one.one, one.other)

    def _pair(self, coils: DrivenCoils, one: str, two: str) -> Iterator[Measure]:
        """Volts across, those to neutral where they are nothing, and ohms where no source shows anything."""
        for source in self._sources(coils):
            yield from self._new(Measure(source, "volts", (one, two)))
            for point in (one, two):
                if point not in (source.fed or ()):
                    yield from self._new(Measure(source, "volts", (point, self.neutral)))
            if self.live.get(source):
                break
        yield from self._new(Measure(Condition("off", coils), "ohms", (one, two)))

    def _doubts(self) -> Iterator[Measure]:
        """Volts across pairs that few ohms alone call joined."""
        for (coils, pair), fact in self.facts.items():
            if fact.joined and not fact.sure and len(pair) == 2:
                yield from self._pair(coils, *sorted(pair))
