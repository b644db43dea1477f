"""What can be wrong with a stage on the bench, and what each defect does to coils, contacts, circuit and reading.

A hypothesis is a tuple of defects: none (a healthy stage), one, or two. Contacts, windings and leads are the faults
of `network.faults`; coils, drivers and the reading add what lies between the controller's table and those contacts,
the inlet and the supplies what lies before them.

What a defect leaves open (how many turns are shorted, by how much a reading is off) is cut into a few defects of one
part and fault that share one prior. Each of them foretells all readings together, so that what is open is one unknown
and not one for each reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations, pairwise

from tapplan.bench.ratings import has_cutout, iron_va
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.network.circuit import Circuit, Section
from tapplan.network.faults import Fault, edited, single_faults, wiring_faults


@dataclass(frozen=True, slots=True)
class Defect:
    """One thing wrong. `fault` is a key of `PRIORS`; what else is set depends on it.

    `contact` is a fault of contacts, windings or leads; `relays` those whose coil or drive is hit; `scale` what the
    reading is multiplied by; `row` the band that a frozen reading keeps; `shorted` the volt-amperes that shorted
    turns take at the nominal volts of the line.
    """

    part: str
    fault: str
    contact: Fault | None = None
    relays: tuple[str, ...] = ()
    scale: Span | None = None
    row: int | None = None
    shorted: Span | None = None

    def __hash__(self) -> int:
        """By what tells most of them apart; the rest is long fractions."""
        return hash((self.part, self.fault))

    @property
    def name(self) -> str:
        """Part and fault: what several defects of one unknown, or mended at one place, have in common.

        Shorted turns are one, wherever; those that take no more than iron does pass for no fault.
        """
        if self.shorted is not None:
            return "" if self.light else self.fault
        if self.scale is not None or self.row is not None:
            return f"reading {self.fault}"
        return f"{self.part} {_MENDED_AS[self.fault]}" if self.fault in _MENDED_AS else self.told()

    @property
    def light(self) -> bool:
        """Whether it is shorted turns that take no more than iron may, so that no measurement here shows them."""
        return self.shorted is not None and self.shorted.low == _LEAST_VA

    def told(self) -> str:
        """The defect in a few words."""
        if self.contact is not None and self.contact.other is not None:
            return f"{self.part} and {self.contact.other} {self.fault}"
        if self.scale is not None and self.scale.high > 0:
            ends = [abs(float(100 * (end - 1))) for end in (self.scale.low, self.scale.high)]
            return f"{self.part} {self.fault}, {min(ends):g} to {max(ends):g} %"
        if self.shorted is not None and self.light:
            return f"{self.part} {self.fault} of less than {float(self.shorted.high):.0f} VA"
        if self.contact is None and self.fault.startswith(f"{self.part}-"):
            return self.fault  # of fuse, cut-out, suppressor, battery and charger, which are named in it
        return f"{self.part} {self.fault}"


# What does not always show is mended where what it is at its worst is mended.
_MENDED_AS = {
    "nc-worn": "nc-open",
    "no-worn": "no-open",
    "lead-cracked": "lead-open",
    "intermittent": "stuck-rest",
    "rail-weak": "missing",
}
Hypothesis = tuple[Defect, ...]
DEAD_COILS = ("coil-open", "coil-shorted", "diode-shorted")
HEALTHY: Hypothesis = ()
SUPPRESSOR_OHM = Fraction(1)  # of one that has failed short; common practice, no source

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
    "intermittent": Fraction(2),
    "lead-cracked": Fraction(1),
    "diode-shorted": Fraction(1),
    "rail-weak": Fraction(3),
    "fuse-open": Fraction(4),
    "cut-out-open": Fraction(1),
    "suppressor-shorted": Fraction(2),
    "battery-flat": Fraction(5),
    "charger-dead": Fraction(2),
}

# A scaled reading is looked for in steps, so that several measurements together must agree on one of them.
_OFF = tuple(Fraction(pct, 100) for pct in (4, 6, 9, 12, 16, 20, 25))

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
    "lead-open": "resolder the lead at winding and board; a cracked joint opens when it is moved or warm",
    "leads-swapped": "exchange the two leads",
    "open": "the winding is open: rewind, or find the break at its ends",
    "reversed": "exchange the ends of the section",
    "shorted-turns": "the winding has shorted turns: rewind or replace it",
    "scaled-high": "test divider, reference and adjustment of the reading",
    "scaled-low": "test divider, reference and adjustment of the reading",
    "lost": "test the sensing wire, the divider and the converter's input",
    "frozen": "test the controller: its program or its converter has stopped",
    "intermittent": "replace the relay, or resolder its coil and contact pins: it works only sometimes",
    "lead-cracked": "resolder the lead at winding and board; a cracked joint opens when it is moved or warm",
    "diode-shorted": "replace the diode across the coil, and test the driver; from a bench supply plus goes to the "
    "coil's end where the diode has its ring",
    "rail-weak": "replace the smoothing capacitor of the coils' supply; test its rectifier and regulator",
    "fuse-open": "find what blew the fuse first (suppressor, winding, relay), then one of the same kind and rating",
    "cut-out-open": "let it cool, find what made it hot; one that stays open is replaced by its like",
    "suppressor-shorted": "replace the surge suppressor, and the fuse that it blew",
    "battery-flat": "charge and load-test the battery; replace it where it does not hold",
    "charger-dead": "test the charger: its fuse, rectifier and regulator",
}

# What shorted turns take at the nominal volts, as multiples of the most that iron takes: the first hide behind it.
_SHORTED = tuple(map(Fraction, (1, 3, 10, 40, 300, 10**5)))
_LEAST_VA = Fraction(2)
_OVERLAP = Fraction(8, 10)  # each class begins within the one before, for copper and leakage are not known to a hair


def defects(table: ControlTable) -> list[Defect]:
    """Every single defect of a design, in the order of the file: relays, windings, leads, drives, inlet, reading."""
    circuit = table.circuit
    singles = [*single_faults(circuit), *wiring_faults(circuit)]
    iron = iron_va(table.design).high
    found = [defect for one in singles for defect in _of_fault(one, iron)]
    for relay in circuit.relays:
        for fault in ("coil-open", "coil-shorted", "diode-shorted", "driver-dead", "driver-shorted", "intermittent"):
            found.append(Defect(relay, fault, relays=(relay,)))
    for one, two in combinations(circuit.relays, 2):
        found.append(Defect(f"{one} and {two}", "drives-swapped", relays=(one, two)))
    if circuit.relays:
        found += [Defect("coil supply", fault, relays=circuit.relays) for fault in ("missing", "rail-weak")]
    return [*found, *_of_inlet(table), *(_of_reading(table) if table.rows else ())]


def _of_fault(fault: Fault, iron: Fraction) -> Iterator[Defect]:
    """A fault of contacts, windings or leads, with what comes of it: worn, cracked, or turns by what they take."""
    if fault.fault != "shorted-turns":
        yield Defect(fault.part, fault.fault, contact=fault)
    if fault.fault in ("nc-open", "no-open"):
        yield Defect(fault.part, fault.fault.replace("open", "worn"), contact=fault)
    if fault.fault == "lead-open":
        yield Defect(fault.part, "lead-cracked", contact=fault)
    if fault.fault == "shorted-turns":
        yield Defect(fault.part, fault.fault, contact=fault, shorted=Span(_LEAST_VA, iron))
        for low, high in pairwise(_SHORTED):
            yield Defect(fault.part, fault.fault, contact=fault, shorted=Span(low * iron * _OVERLAP, high * iron))


def _of_inlet(table: ControlTable) -> Iterator[Defect]:
    """What lies between plug and winding, and at the battery."""
    yield Defect("fuse", "fuse-open")
    if has_cutout(table.design):
        yield Defect("cut-out", "cut-out-open")
    yield Defect("suppressor", "suppressor-shorted")
    if table.design.battery is not None:
        yield Defect("battery", "battery-flat")
        yield Defect("charger", "charger-dead")


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


# Faults of one part of which only one can be there at a time.
_STATES = (
    frozenset({"stuck-rest", "stuck-driven"}),
    frozenset({"coil-open", "coil-shorted", "diode-shorted"}),
    frozenset({"driver-dead", "driver-shorted"}),
    frozenset({"nc-open", "nc-worn"}),
    frozenset({"no-open", "no-worn"}),
    frozenset({"lead-open", "lead-cracked"}),
    frozenset({"missing", "rail-weak"}),
    frozenset({"shorted-turns"}),
)


def _exclude(one: Defect, two: Defect) -> bool:
    """Whether two defects are two states of one thing."""
    if one.part == two.part and any({one.fault, two.fault} <= states for states in _STATES):
        return True
    if one.part == two.part and "open" in (one.fault, two.fault) and one.contact and two.contact:
        return True  # an open section can be neither turned round nor shorted in a way that shows
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
    return coils - {one for defect in hypothesis if defect.fault in DEAD_COILS for one in defect.relays}


def faulty_circuit(circuit: Circuit, hypothesis: Hypothesis) -> Circuit:
    """The circuit with the windings and leads as the hypothesis has them."""
    for defect in hypothesis:
        if defect.contact is not None:
            circuit = edited(circuit, defect.contact)
        if defect.fault == "suppressor-shorted":
            circuit = with_suppressor(circuit)
    return circuit


def with_suppressor(circuit: Circuit) -> Circuit:
    """The circuit with line and neutral joined by what is left of the surge suppressor, a resistor without turns."""
    left = Section("suppressor", circuit.line, circuit.neutral, 0, 0, SUPPRESSOR_OHM)
    return replace(circuit, sections=(*circuit.sections, left))
