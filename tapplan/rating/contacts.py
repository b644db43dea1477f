"""Each contact: what it carries, what its open gap holds off, what it makes, what a bridge across it would draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tapplan.control.table import Row
from tapplan.design.model import Design, Relay
from tapplan.network.circuit import Circuit, Contact
from tapplan.network.flow import Impedances, flows
from tapplan.network.turns import potentials
from tapplan.rating.carried import Carried
from tapplan.rating.feeds import FeedCase
from tapplan.rating.windings import At, SectionRating, places, worst


@dataclass(frozen=True, slots=True)
class ContactRating:
    """One contact at its worst over all bands. `gap_v` is None where nothing fixes one side of the open gap.

    `make_a` is the peak it closes onto, its share of the load's inrush; `peak_a` its share of the load's crest.
    """

    label: str
    relay: Relay
    amperes: float
    at: At | None
    gap_v: float | None
    make_a: float | None
    peak_a: float | None


def contact_ratings(design: Design, carried: Carried, feeds: Sequence[FeedCase]) -> list[ContactRating]:
    """Every contact in the circuit's order; empty when no band holds anything of the range."""
    if not carried.rows:
        return []
    return [_contact(design, (carried, feeds), number) for number in range(len(carried.circuit.contacts))]


def _contact(design: Design, cases: tuple[Carried, Sequence[FeedCase]], number: int) -> ContactRating:
    carried, feeds = cases
    contact = carried.circuit.contacts[number]
    currents = [np.abs(carried.contacts[:, :, number]).ravel(), *(feed.contacts[:, number] for feed in feeds)]
    amperes, at = worst(places(carried, feeds), np.concatenate(currents))
    share = float(np.abs(carried.flow.contacts[:, 1, number]).max())
    inrush, crest = design.output.inrush_a, design.output.crest_factor
    return ContactRating(
        contact.label,
        design.relays[contact.relay],
        amperes,
        at if amperes > 1e-9 else None,
        _gap(carried, contact),
        None if inrush is None else share * float(inrush),
        None if crest is None else amperes * float(crest),
    )


def _gap(carried: Carried, contact: Contact) -> float | None:
    """The most volts between the two throws of the contact's pole (or its common and throw), over all bands."""
    circuit = carried.circuit
    throws = [other for other in circuit.contacts if (other.relay, other.pole) == (contact.relay, contact.pole)]
    ends = (throws[0].end, throws[1].end) if len(throws) == 2 else (contact.com, contact.end)
    found: list[float] = []
    for place, row in enumerate(carried.rows):
        turns = potentials(circuit, circuit.state(row.energised)).between(*ends)
        if turns is None:
            return None
        per_turn = carried.per_turn[place].max(axis=0)
        volts = [abs(float(n * circuit.turn_unit)) * per_turn[core] for core, n in enumerate(turns)]
        found.append(float(sum(volts)))
    return max(found)


@dataclass(frozen=True, slots=True)
class Bridge:
    """A pole with both throws closed in one band, at its highest input: what the shorted turns and the inlet carry.

    Limited by the resistances alone; None where one is missing.
    """

    label: str
    row: Row
    section_a: float | None
    line_a: float | None


def bridges(design: Design, carried: Carried, sections: list[SectionRating]) -> list[Bridge]:
    """The worst band of every pole that has two throws and whose bridging shorts turns."""
    if not carried.rows:
        return []
    known = all(one.ohm for one in sections)
    impedances = Impedances(
        tuple(complex(one.ohm or 0, z.imag) for one, z in zip(sections, carried.impedances.sections, strict=True)),
        carried.impedances.contacts,
        carried.impedances.cores,
    )
    return [_worst_bridge(carried, pole, impedances if known else None) for pole in _poles(carried.circuit)]


def _poles(circuit: Circuit) -> Iterator[tuple[int, int]]:
    """The numbers of the two throws of each pole that has both."""
    for number, contact in enumerate(circuit.contacts):
        for other in range(number + 1, len(circuit.contacts)):
            one = circuit.contacts[other]
            if (one.relay, one.pole) == (contact.relay, contact.pole):
                yield number, other


def _worst_bridge(carried: Carried, pole: tuple[int, int], impedances: Impedances | None) -> Bridge:
    circuit = carried.circuit
    label = circuit.contacts[pole[0]].label.rsplit(".", 1)[0]
    if impedances is None:
        return Bridge(label, carried.rows[0], None, None)
    states = [circuit.state(row.energised) | set(pole) for row in carried.rows]
    flow = flows(circuit, states, impedances)
    high = carried.line_v[:, 1]
    section = np.abs(flow.sections[:, 0]).max(axis=1) * high
    line = np.abs(flow.line[:, 0]) * high
    worst = int(np.argmax(section))
    return Bridge(label, carried.rows[worst], float(section[worst]), float(line[worst]))


def years(relay: Relay) -> float | None:
    """How long the contacts last: endurance over moves a day; None where one of them is not stated."""
    if relay.endurance is None or relay.moves_a_day is None:
        return None
    return float(relay.endurance / relay.moves_a_day / 365)
