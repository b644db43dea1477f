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
from tapplan.network.spaces import holds, multiple
from tapplan.network.turns import Kind, Potentials, outcome, potentials
from tapplan.rating.fed import Fed, axis, excited_from, settled


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
    one, other = (_level(circuit, lasting, point) for point in open_gap.points)
    if one is None or other is None:
        return None
    fed_v = float(lasting.feed.feed.volts_v[1]) if lasting.feed is not None else 0.0
    return abs(float(one.mains - other.mains)) * lasting.line_v + abs(float(one.feed - other.feed)) * fed_v


def _level(circuit: Circuit, lasting: LastingState, point: int) -> PointLevel | None:
    found = potentials(circuit, lasting.closed)
    turns, line = found.between(circuit.neutral, point), found.between(circuit.neutral, circuit.line)
    if lasting.feed is not None:
        return _while_fed(circuit, lasting.feed, found, point)
    if line is None:
        return _off_the_winding(circuit, found, frozenset(), point)
    known = settled(circuit, found, excited_from(circuit, found, [n for n, entry in enumerate(line) if entry]))
    share = None if turns is None or holds(known, line) else multiple(known, turns, line)
    return None if share is None else PointLevel(share)


def _off_the_winding(circuit: Circuit, found: Potentials, cores: frozenset[int], point: int) -> PointLevel | None:
    """A point on the line's side is at the mains volts; one on neutral's side at none; only these cores excited."""
    known = settled(circuit, found, cores)
    for end, share in ((circuit.line, Fraction(1)), (circuit.neutral, Fraction(0))):
        turns = found.between(end, point)
        if turns is not None and holds(known, turns):
            return PointLevel(share)
    return None


def _while_fed(circuit: Circuit, fed: Fed, found: Potentials, point: int) -> PointLevel | None:
    contacts = potentials(circuit, circuit.state(fed.state.energised), windings=False).part
    if not fed.inlet_live and contacts[point] == contacts[circuit.line]:
        return PointLevel(Fraction(1))
    section = next(one for one in circuit.sections if one.name == fed.feed.winding)
    excited = excited_from(circuit, found, [section.core])
    turns = found.between(circuit.neutral, point)
    if turns is None:
        return None if fed.inlet_live else _off_the_winding(circuit, found, excited, point)
    of_core = multiple(settled(circuit, found, excited), turns, axis(circuit, section.core))
    return None if of_core is None else PointLevel(feed=of_core / section.turns)
