"""Single faults as edits: what a relay obtains instead of what it was commanded, or a lead or winding that opens.

A relay fault is a table from the position commanded to the throws that close. A winding or lead fault is a
small edit of the circuit. Either way the ordinary solver then says what the stage does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from tapplan.network.circuit import Circuit, Closed, Contact, Throw

FaultName = Literal["stuck-rest", "stuck-driven", "nc-open", "no-open", "com-open", "bridged", "open", "lead-open"]

Throws = frozenset[Throw]
_NC: Throws = frozenset({"nc"})
_NO: Throws = frozenset({"no"})
_NEITHER: Throws = frozenset()
_BOTH: Throws = _NC | _NO

# By fault: the throws that close when rest, and when drive, is commanded.
OBTAINED: dict[FaultName, tuple[Throws, Throws]] = {
    "stuck-rest": (_NC, _NC),
    "stuck-driven": (_NO, _NO),
    "nc-open": (_NEITHER, _NO),
    "no-open": (_NC, _NEITHER),
    "com-open": (_NEITHER, _NEITHER),
    "bridged": (_BOTH, _BOTH),
}
_COIL_FAULTS: tuple[FaultName, ...] = ("stuck-rest", "stuck-driven")
_CONTACT_FAULTS: tuple[FaultName, ...] = ("nc-open", "no-open", "com-open", "bridged")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing broken. `part` is a relay, a pole of a relay (`K1.2`), a winding, or a tap point."""

    part: str
    fault: FaultName
    relay: int | None = None
    pole: int | None = None


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


def broken(circuit: Circuit, fault: Fault, energised: tuple[str, ...]) -> tuple[Circuit, Closed]:
    """The circuit with the fault in it, and the contacts that close when these relays are commanded to drive."""
    if fault.fault == "open":
        left = tuple(section for section in circuit.sections if section.name != fault.part)
        return replace(circuit, sections=left), circuit.state(energised)
    if fault.fault == "lead-open":
        return _without_lead(circuit, circuit.points.index(fault.part)), circuit.state(energised)
    return circuit, _closed(circuit, fault, energised)


def _closed(circuit: Circuit, fault: Fault, energised: tuple[str, ...]) -> Closed:
    driven = frozenset(energised)

    def closes(contact: Contact) -> bool:
        commanded = circuit.relays[contact.relay] in driven
        hit = contact.relay == fault.relay and fault.pole in (None, contact.pole)
        if hit:
            return contact.throw in OBTAINED[fault.fault][commanded]
        return (contact.throw == "no") == commanded

    return frozenset(number for number, contact in enumerate(circuit.contacts) if closes(contact))


def _without_lead(circuit: Circuit, point: int) -> Circuit:
    """The circuit with contacts and terminal of a tap point moved to a point of their own, off the winding."""
    off = len(circuit.points)

    def led(end: int) -> int:
        return off if end == point else end

    contacts = tuple(replace(contact, com=led(contact.com), end=led(contact.end)) for contact in circuit.contacts)
    return replace(
        circuit,
        points=(*circuit.points, f"lead of {circuit.points[point]}"),
        contacts=contacts,
        line=led(circuit.line),
        neutral=led(circuit.neutral),
        output=led(circuit.output),
    )
