"""Each contact: what it carries, what its open gap holds off, what it makes, what a bridge across it would draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tapplan.control.table import Row
from tapplan.design.model import Design, Relay
from tapplan.network.circuit import Circuit
from tapplan.network.flow import Impedances, flows
from tapplan.network.turns import potentials, shorts_turns
from tapplan.rating.carried import Carried
from tapplan.rating.gaps import Gap, LastingState, gap, lasting_states
from tapplan.rating.service import At, Service
from tapplan.rating.windings import SectionRating


@dataclass(frozen=True, slots=True)
class ContactRating:
    """One contact at its worst over all bands and feeds; `amperes` is None where one of them cannot carry the load.

    `make_a` is the peak it closes onto, its share of the load's inrush; `peak_a` its share of the load's crest.
    """

    label: str
    relay: Relay
    amperes: float | None
    at: At | None
    gap: Gap
    make_a: float | None
    peak_a: float | None


def contact_ratings(design: Design, service: Service) -> list[ContactRating]:
    """Every contact in the circuit's order; empty when the stage is idle."""
    if service.idle:
        return []
    circuit = service.carried.circuit
    states = lasting_states(design, circuit, _bands(service.carried), [feed.used for feed in service.feeds])
    return [_contact(design, service, states, number) for number in range(len(circuit.contacts))]


def _bands(carried: Carried) -> list[LastingState]:
    return [
        LastingState(row.name, carried.circuit.state(row.energised), float(high))
        for row, (_, high) in zip(carried.rows, carried.line_v, strict=True)
    ]


def _contact(design: Design, service: Service, states: Sequence[LastingState], number: int) -> ContactRating:
    circuit = service.carried.circuit
    contact = circuit.contacts[number]
    worst = service.worst([np.abs(cases.contacts[:, number]) for cases in service.cases])
    amperes = worst.amperes
    inrush, crest = design.output.inrush_a, design.output.crest_factor
    return ContactRating(
        contact.label,
        design.relays[contact.relay],
        amperes,
        worst.at if amperes is not None and amperes > 1e-9 else None,
        gap(circuit, contact, states),
        None if inrush is None else _share(service, number) * float(inrush),
        None if crest is None or amperes is None else amperes * float(crest),
    )


def _share(service: Service, number: int) -> float:
    """The contact's largest share of the load's current, in the bands and while a feed serves the load."""
    return max(float(np.abs(cases.flow.contacts[:, 1, number]).max(initial=0.0)) for cases in service.serving)


@dataclass(frozen=True, slots=True)
class _Pole:
    """A pole with both throws: the numbers of its two contacts."""

    one: int
    other: int

    @property
    def contacts(self) -> frozenset[int]:
        return frozenset((self.one, self.other))


@dataclass(frozen=True, slots=True)
class Bridge:
    """A pole with both throws closed in one band at one input: what the shorted turns and the inlet carry.

    Limited by the resistances alone; None where one is missing, or where there is none at all.
    """

    label: str
    row: Row
    line_v: float
    section_a: float | None
    line_a: float | None


def bridges(carried: Carried, sections: Sequence[SectionRating]) -> list[Bridge]:
    """Every pole whose two throws together short turns: a case for every band in which they do, and end of it."""
    ohms = [one.ohm for one in sections]
    stated = carried.impedances
    limits = tuple(complex(ohm or 0, z.imag) for ohm, z in zip(ohms, stated.sections, strict=bool(ohms)))
    impedances = Impedances(limits, stated.contacts, stated.cores)
    return [
        one
        for pole in _poles(carried.circuit)
        for one in _bridged(carried, pole, impedances, known=None not in ohms and _limited(carried, pole, ohms))
    ]


def _limited(carried: Carried, pole: _Pole, ohms: Sequence[float | None]) -> bool:
    """Whether some resistance limits what a bridge can draw: that of its contacts, or of every section."""
    return all(ohms) or any(carried.circuit.contacts[number].ohm for number in pole.contacts)


def _poles(circuit: Circuit) -> Iterator[_Pole]:
    """Every pole with both throws."""
    for number, contact in enumerate(circuit.contacts):
        for other in range(number + 1, len(circuit.contacts)):
            one = circuit.contacts[other]
            if (one.relay, one.pole) == (contact.relay, contact.pole):
                yield _Pole(number, other)


def _bridged(carried: Carried, pole: _Pole, impedances: Impedances, *, known: bool) -> Iterator[Bridge]:
    circuit = carried.circuit
    label = circuit.contacts[pole.one].label.rsplit(".", 1)[0]
    for row, ends in zip(carried.rows, carried.line_v, strict=True):
        closed = circuit.state(row.energised) | pole.contacts
        if not shorts_turns(potentials(circuit, closed)):
            continue
        flow = flows(circuit, [closed], impedances)
        section, line = np.abs(flow.sections[0, 0]).max(), abs(flow.line[0, 0])
        for volts in ends:
            figures = (float(section * volts), float(line * volts)) if known else (None, None)
            yield Bridge(label, row, float(volts), *figures)


def worst_bridges(found: Sequence[Bridge]) -> list[Bridge]:
    """Of each pole the bridge that draws most through the shorted turns."""
    by_pole: dict[str, Bridge] = {}
    for one in found:
        if one.label not in by_pole or (one.section_a or 0) > (by_pole[one.label].section_a or 0):
            by_pole[one.label] = one
    return list(by_pole.values())


def years(relay: Relay) -> float | None:
    """How long the contacts last: endurance over moves a day; None where one of them is not stated."""
    if relay.endurance is None or relay.moves_a_day is None:
        return None
    return float(relay.endurance / relay.moves_a_day / 365)
