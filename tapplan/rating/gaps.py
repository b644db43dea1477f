"""What stands across each open contact: in every band, at rest, in the backup, and while a feed runs. Exact.

A point's level is a share of the mains volts and a share of the feed's. A feed keeps no step with mains that come
back, so at worst the two add. Where the line is off the winding and nothing else drives it, it stands at neutral.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.design.model import Design
from tapplan.network.circuit import Across, Circuit, Closed, Contact
from tapplan.network.excited import axis, cores_on, excited_from, settled
from tapplan.network.spaces import Vector, holds, multiple
from tapplan.network.turns import Kind, Potentials, outcome, potentials
from tapplan.rating.fed import Fed


@dataclass(frozen=True, slots=True)
class PointLevel:
    """How high a point stands: its share of the mains volts, and of the feed's."""

    mains: Fraction = Fraction(0)
    feed: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class LastingState:
    """A relay state that lasts, by name, the most volts at the line pin, and the feed that runs in it, if any."""

    name: str
    closed: Closed
    line_v: float
    feed: Fed | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """The most volts across an open contact that are known, and where; not `known` where other states hide some."""

    volts: float | None
    where: str | None
    known: bool


def lasting_states(
    design: Design, circuit: Circuit, bands: Sequence[LastingState], feeds: Sequence[Fed]
) -> list[LastingState]:
    """The bands as given, the rest state, the backup's and the feeds', those that short turns left out."""
    high = float(design.mains.span.high)
    away = () if design.backup is None else design.backup.energised
    driven = {"all relays at rest": (), **({"backup": away} if design.backup is not None else {})}
    idle = [LastingState(name, circuit.state(energised), high) for name, energised in driven.items()]
    sound = [one for one in idle if outcome(circuit, one.closed).kind is not Kind.SHORTED]
    running = [
        LastingState(f"feed {one.feed.name}", circuit.state(one.state.energised), high, one)
        for one in feeds
        if one.state.kind is not Kind.SHORTED
    ]
    return [*bands, *sound, *running]


def gap(circuit: Circuit, contact: Contact, states: Sequence[LastingState]) -> Gap:
    """Between the two throws of the contact's pole, or between its common and its only throw."""
    throws = [other for other in circuit.contacts if (other.relay, other.pole) == (contact.relay, contact.pole)]
    open_gap = Across(throws[0].end, throws[1].end) if len(throws) == 2 else Across(contact.com, contact.end)
    found = [(_volts(circuit, state, open_gap), state.name) for state in states]
    fixed = [(volts, name) for volts, name in found if volts is not None]
    most, where = max(fixed, key=lambda pair: pair[0], default=(None, None))
    return Gap(most, where, len(fixed) == len(found))


def _volts(circuit: Circuit, lasting: LastingState, open_gap: Across) -> float | None:
    found = potentials(circuit, lasting.closed)
    apart = _apart(circuit, lasting, found, open_gap)
    if apart is None:
        return None
    fed_v = float(lasting.feed.feed.volts_v[1]) if lasting.feed is not None else 0.0
    return abs(float(apart.mains)) * lasting.line_v + abs(float(apart.feed)) * fed_v


def _apart(circuit: Circuit, lasting: LastingState, found: Potentials, open_gap: Across) -> PointLevel | None:
    """The levels' difference, or, of two points of one part that floats, what its turns put between them."""
    one, other = (_level(circuit, lasting, found, point) for point in open_gap.points)
    if one is not None and other is not None:
        return PointLevel(one.mains - other.mains, one.feed - other.feed)
    turns, live = found.between(open_gap.low, open_gap.high), lasting.feed is not None and lasting.feed.inlet_live
    floats = one is None and other is None and found.between(circuit.neutral, open_gap.high) is None
    on_line = found.between(circuit.line, open_gap.high) is not None
    if turns is None or not floats or (on_line and not live):
        return None
    return _of_turns(circuit, lasting, found, turns)


def _level(circuit: Circuit, lasting: LastingState, found: Potentials, point: int) -> PointLevel | None:
    if lasting.feed is not None:
        return _while_fed(circuit, lasting, found, point)
    if found.between(circuit.neutral, circuit.line) is None:
        return _off_the_winding(circuit, found, frozenset(), point)
    turns = found.between(circuit.neutral, point)
    return None if turns is None else _of_turns(circuit, lasting, found, turns)


def _of_turns(circuit: Circuit, lasting: LastingState, found: Potentials, turns: Vector) -> PointLevel | None:
    """What the sources put on so many turns: the mains, the feed, or each its own cores where the inlet is dead."""
    if lasting.feed is None:
        share = _of_mains(circuit, found, turns)
        return None if share is None else PointLevel(share)
    section = next(one for one in circuit.sections if one.name == lasting.feed.feed.winding)
    known = settled(circuit, found, excited_from(circuit, found, [section.core]))
    of_core = multiple(known, turns, axis(circuit, section.core))
    share = Fraction(0) if lasting.feed.inlet_live else _of_mains(circuit, found, turns)
    return None if of_core is None or share is None else PointLevel(share, of_core / section.turns)


def _of_mains(circuit: Circuit, found: Potentials, turns: Vector) -> Fraction | None:
    """The share of the mains on so many turns; a core that nothing drives has no volts."""
    line = found.between(circuit.neutral, circuit.line)
    known = settled(circuit, found, excited_from(circuit, found, cores_on(line)))
    if line is None:
        return Fraction(0) if holds(known, turns) else None
    return None if holds(known, line) else multiple(known, turns, line)


def _off_the_winding(circuit: Circuit, found: Potentials, cores: frozenset[int], point: int) -> PointLevel | None:
    """A point on the line's side is at the mains volts; one on neutral's side at none; only these cores excited."""
    known = settled(circuit, found, cores)
    for end, share in ((circuit.line, Fraction(1)), (circuit.neutral, Fraction(0))):
        turns = found.between(end, point)
        if turns is not None and holds(known, turns):
            return PointLevel(share)
    return None


def _while_fed(circuit: Circuit, lasting: LastingState, found: Potentials, point: int) -> PointLevel | None:
    fed = lasting.feed
    if fed is None:
        return None
    contacts = potentials(circuit, circuit.state(fed.state.energised), windings=False).part
    if not fed.inlet_live and contacts[point] == contacts[circuit.line]:
        return PointLevel(Fraction(1))
    turns = found.between(circuit.neutral, point)
    if turns is not None:
        return _of_turns(circuit, lasting, found, turns)
    section = next(one for one in circuit.sections if one.name == fed.feed.winding)
    excited = excited_from(circuit, found, [section.core])
    return None if fed.inlet_live else _off_the_winding(circuit, found, excited, point)
