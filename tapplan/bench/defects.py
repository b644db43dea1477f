"""What can be wrong with a stage on the bench, and what each defect does to coils, contacts, circuit and reading.

A hypothesis is a tuple of defects: none (a healthy stage), one, or two. Contacts, windings and leads are the faults
of `network.faults`; coils, drivers and the reading add what lies between the controller's table and those contacts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise

from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.network.circuit import Circuit
from tapplan.network.faults import Fault, edited, single_faults, wiring_faults


@dataclass(frozen=True, slots=True)
class Defect:
    """One thing wrong. `fault` is a key of `PRIORS`; what else is set depends on it.

    `contact` is a fault of contacts, windings or leads; `relays` those whose coil or drive is hit; `scale` what the
    reading is multiplied by; `row` the band that a frozen reading keeps.
    """

    part: str
    fault: str
    contact: Fault | None = None
    relays: tuple[str, ...] = ()
    scale: Span | None = None
    row: int | None = None

    def told(self) -> str:
        """The defect in a few words."""
        if self.contact is not None and self.contact.other is not None:
            return f"{self.part} and {self.contact.other} {self.fault}"
        if self.scale is not None and self.scale.high > 0:
            ends = [abs(float(100 * (end - 1))) for end in (self.scale.low, self.scale.high)]
            return f"{self.part} {self.fault}, {min(ends):g} to {max(ends):g} %"
        return f"{self.part} {self.fault}"


Hypothesis = tuple[Defect, ...]
HEALTHY: Hypothesis = ()

# How often each defect is met, one against another, and that nothing is wrong; common practice, no source.
PRIORS: dict[str, Fraction] = {
    "none": Fraction(5),
    "stuck-rest": Fraction(5),
    "stuck-driven": Fraction(5),
    "nc-open": Fraction(2),
    "no-open": Fraction(2),
    "nc-worn": Fraction(4),
    "no-worn": Fraction(4),
    "com-open": Fraction(1),
    "bridged": Fraction(1),
    "coil-open": Fraction(2),
    "coil-shorted": Fraction(1),
    "driver-dead": Fraction(3),
    "driver-shorted": Fraction(2),
    "drives-swapped": Fraction(1),
    "missing": Fraction(3),
    "lead-open": Fraction(2),
    "leads-swapped": Fraction(1),
    "open": Fraction(1),
    "reversed": Fraction(1, 2),
    "shorted-turns": Fraction(1),
    "scaled-high": Fraction(1, 2),
    "scaled-low": Fraction(1, 2),
    "lost": Fraction(2),
    "frozen": Fraction(1, 2),
}

# A scaled reading is looked for in steps, so that several measurements together must agree on one of them.
_OFF = tuple(Fraction(pct, 100) for pct in (3, 6, 9, 12, 16, 20, 25))

# What to do about each defect; common practice, no source.
MENDS: dict[str, str] = {
    "stuck-rest": "open or replace the relay: welded, jammed, or no pull on the armature",
    "stuck-driven": "open or replace the relay: welded or jammed",
    "nc-open": "replace the relay, or resolder its pin: the contact does not close",
    "no-open": "replace the relay, or resolder its pin: the contact does not close",
    "nc-worn": "replace the relay: burnt or dirty contact",
    "no-worn": "replace the relay: burnt or dirty contact",
    "com-open": "replace the relay, or resolder its common pin",
    "bridged": "replace the relay: both throws closed",
    "coil-open": "replace the relay, or resolder its coil pins",
    "coil-shorted": "replace the relay, and test its driver, which fed a short",
    "driver-dead": "test the driver transistor and its base resistor, and the controller's pin",
    "driver-shorted": "replace the driver transistor",
    "drives-swapped": "exchange the two drives",
    "missing": "test the supply of the coils: fuse, rectifier, regulator",
    "lead-open": "resolder the lead at winding and board",
    "leads-swapped": "exchange the two leads",
    "open": "the winding is open: rewind, or find the break at its ends",
    "reversed": "exchange the ends of the section",
    "shorted-turns": "the winding has shorted turns: rewind or replace it",
    "scaled-high": "test divider, reference and adjustment of the reading",
    "scaled-low": "test divider, reference and adjustment of the reading",
    "lost": "test the sensing wire, the divider and the converter's input",
    "frozen": "test the controller: its program or its converter has stopped",
}


def defects(table: ControlTable) -> list[Defect]:
    """Every single defect of a design, in the order of the file: relays, windings, leads, drives, reading."""
    circuit = table.circuit
    found = [Defect(one.part, one.fault, contact=one) for one in (*single_faults(circuit), *wiring_faults(circuit))]
    for worn in single_faults(circuit):
        if worn.fault in ("nc-open", "no-open"):
            found.append(Defect(worn.part, worn.fault.replace("open", "worn"), contact=worn))
    for relay in circuit.relays:
        for fault in ("coil-open", "coil-shorted", "driver-dead", "driver-shorted"):
            found.append(Defect(relay, fault, relays=(relay,)))
    for one, two in combinations(circuit.relays, 2):
        found.append(Defect(f"{one} and {two}", "drives-swapped", relays=(one, two)))
    if circuit.relays:
        found.append(Defect("coil supply", "missing", relays=circuit.relays))
    return [*found, *(_of_reading(table) if table.rows else ())]


def _of_reading(table: ControlTable) -> Iterator[Defect]:
    for near, far in pairwise(_OFF):
        yield Defect("reading", "scaled-high", scale=Span(1 + near, 1 + far))
        yield Defect("reading", "scaled-low", scale=Span(1 - far, 1 - near))
    yield Defect("reading", "lost", scale=Span(Fraction(0), Fraction(0)))
    for number, row in enumerate(table.rows):
        yield Defect(f'reading (band "{row.name}")', "frozen", row=number)


def pairs(singles: Iterable[Defect]) -> Iterator[Hypothesis]:
    """Every two defects that can be there together."""
    for one, two in combinations(singles, 2):
        if not _exclude(one, two):
            yield one, two


def _exclude(one: Defect, two: Defect) -> bool:
    """Whether two defects are two states of one thing."""
    if one.part == two.part and {one.fault, two.fault} <= {"stuck-rest", "stuck-driven"}:
        return True
    if one.part == two.part and {one.fault, two.fault} <= {"coil-open", "coil-shorted"}:
        return True
    if one.part == two.part and {one.fault, two.fault} <= {"driver-dead", "driver-shorted"}:
        return True
    if one.part == two.part and "open" in (one.fault, two.fault) and one.contact and two.contact:
        return True  # an open section can be neither turned round nor shorted in a way that shows
    if one.part == two.part and {one.fault.partition("-")[2], two.fault.partition("-")[2]} == {"open", "worn"}:
        return True
    return _reads(one) and _reads(two)


def _reads(defect: Defect) -> bool:
    return defect.scale is not None or defect.row is not None


def driven(hypothesis: Hypothesis, commanded: frozenset[str]) -> frozenset[str]:
    """The coils that get their voltage when the controller commands these relays."""
    commands = commanded
    for defect in hypothesis:
        if defect.fault == "drives-swapped":
            one, two = defect.relays
            turned = {one: two, two: one}
            commands = frozenset(turned.get(relay, relay) for relay in commands)
    for defect in hypothesis:
        if defect.fault == "driver-dead":
            commands -= set(defect.relays)
        elif defect.fault == "driver-shorted":
            commands |= set(defect.relays)
    if any(defect.fault == "missing" for defect in hypothesis):
        return frozenset()
    return commands


def pulled(hypothesis: Hypothesis, coils: frozenset[str]) -> frozenset[str]:
    """The relays whose coils pull when these coils get their voltage."""
    dead = {one for defect in hypothesis if defect.fault in ("coil-open", "coil-shorted") for one in defect.relays}
    return coils - dead


def faulty_circuit(circuit: Circuit, hypothesis: Hypothesis) -> Circuit:
    """The circuit with the windings and leads as the hypothesis has them."""
    for defect in hypothesis:
        if defect.contact is not None:
            circuit = edited(circuit, defect.contact)
    return circuit
