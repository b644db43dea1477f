"""Faults as edits: what a relay obtains instead of what its coil asks for, or a lead or winding that is not as drawn.

A relay fault changes which throws close for a coil driven or at rest. A winding or lead fault is a small edit of the
circuit. Either way the ordinary solver then says what the stage does, with one fault or several.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

from tapplan.network.circuit import Circuit, Closed, Contact, Section, Throw

FaultName = Literal[
    "stuck-rest",
    "stuck-driven",
    "nc-open",
    "no-open",
    "com-open",
    "bridged",
    "open",
    "lead-open",
    "leads-swapped",
    "reversed",
    "shorted-turns",
]

_COIL_FAULTS: tuple[FaultName, ...] = ("stuck-rest", "stuck-driven")
_CONTACT_FAULTS: tuple[FaultName, ...] = ("nc-open", "no-open", "com-open", "bridged")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing broken or wired wrongly. `part` is a relay, a pole of a relay (`K1.2`), a winding, or a tap point.

    `other` is the second tap point where two leads are swapped.
    """

    part: str
    fault: FaultName
    relay: int | None = None
    pole: int | None = None
    other: str | None = None


def single_faults(circuit: Circuit) -> Iterator[Fault]:
    """Every single fault of the circuit's relays, windings and tap leads, in the order of the file."""
    for number, relay in enumerate(circuit.relays):
        own = [contact for contact in circuit.contacts if contact.relay == number]
        for fault in _COIL_FAULTS:
            yield Fault(relay, fault, number)
        poles = sorted({contact.pole for contact in own})
        for pole in poles:
            part = relay if pole == 1 else f"{relay}.{pole}"
            throws = {contact.throw for contact in own if contact.pole == pole}
            for fault in _CONTACT_FAULTS:
                if _possible(fault, throws):
                    yield Fault(part, fault, number, pole)
    for section in circuit.sections:
        yield Fault(section.name, "open")
    for point in _tap_points(circuit):
        yield Fault(circuit.points[point], "lead-open")


def _possible(fault: FaultName, throws: set[Throw]) -> bool:
    if fault == "bridged":
        return len(throws) == 2
    return fault == "com-open" or fault.removesuffix("-open") in throws


def _tap_points(circuit: Circuit) -> list[int]:
    """Points where a winding meets a contact or a terminal: there a lead can come off."""
    on_winding = {end for section in circuit.sections for end in (section.start, section.finish)}
    led_out = {end for contact in circuit.contacts for end in (contact.com, contact.end)}
    return sorted(on_winding & (led_out | set(circuit.terminals)))


def wiring_faults(circuit: Circuit) -> Iterator[Fault]:
    """What a repair or a burn can leave behind: two tap leads swapped, a winding turned round, turns shorted."""
    for one, two in combinations(_tap_points(circuit), 2):
        yield Fault(circuit.points[one], "leads-swapped", other=circuit.points[two])
    for section in circuit.sections:
        yield Fault(section.name, "reversed")
        yield Fault(section.name, "shorted-turns")


def edited(circuit: Circuit, fault: Fault) -> Circuit:
    """The circuit with a winding's or a lead's fault in it; the same circuit for a relay's."""
    match fault.fault:
        case "open":
            return replace(circuit, sections=tuple(one for one in circuit.sections if one.name != fault.part))
        case "reversed":
            return replace(circuit, sections=tuple(_turned(one, fault.part) for one in circuit.sections))
        case "shorted-turns":
            return _with_shorted_turns(circuit, fault.part)
        case "lead-open":
            off = len(circuit.points)
            led = _led(circuit, {circuit.points.index(fault.part): off})
            return replace(led, points=(*circuit.points, f"lead of {fault.part}"))
        case "leads-swapped":
            one, two = circuit.points.index(fault.part), circuit.points.index(fault.other or "")
            return _led(circuit, {one: two, two: one})
        case _:
            return circuit


def _turned(section: Section, name: str) -> Section:
    return replace(section, start=section.finish, finish=section.start) if section.name == name else section


def _with_shorted_turns(circuit: Circuit, name: str) -> Circuit:
    """A loop of one unit of turns on the section's core, joined to nothing else."""
    section = next(one for one in circuit.sections if one.name == name)
    alone = len(circuit.points)
    loop = Section(f"shorted turns of {name}", alone, alone, 1, section.core)
    points = (*circuit.points, f"inside {name}")
    return replace(circuit, points=points, sections=(*circuit.sections, loop))


def _led(circuit: Circuit, moved: dict[int, int]) -> Circuit:
    """The circuit with contacts and terminals of some points moved to others, off the windings there."""
    contacts = tuple(
        replace(contact, com=moved.get(contact.com, contact.com), end=moved.get(contact.end, contact.end))
        for contact in circuit.contacts
    )
    line, neutral, output = (moved.get(end, end) for end in circuit.terminals)
    return replace(circuit, contacts=contacts, line=line, neutral=neutral, output=output)


def closed_under(circuit: Circuit, faults: Iterable[Fault], energised: Iterable[str]) -> Closed:
    """The contacts that close when these coils are driven, whatever is wrong with the relays.

    An armature that is stuck sets where a relay stands; then contacts that cannot close, or cannot open, tell.
    """
    driven = frozenset(energised)
    hits = [fault for fault in faults if fault.relay is not None]

    def closes(contact: Contact) -> bool:
        own = {fault.fault for fault in hits if fault.relay == contact.relay and fault.pole in (None, contact.pole)}
        stands_driven = circuit.relays[contact.relay] in driven
        if "stuck-rest" in own or "stuck-driven" in own:
            stands_driven = "stuck-driven" in own
        if "com-open" in own or f"{contact.throw}-open" in own:
            return False
        return "bridged" in own or (contact.throw == "no") == stands_driven

    return frozenset(number for number, contact in enumerate(circuit.contacts) if closes(contact))
