"""What is worth measuring on a design, the safest first.

A winding is measured fed, in a state in which a healthy stage excites it; a contact that should be open is measured
by the volts across it, for the ohms of a winding beside it hide a weld.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tapplan.bench.measures import PARTS, Condition, Measure, lug
from tapplan.bench.ratings import has_cutout
from tapplan.control.table import ControlTable, Row
from tapplan.errors import UsageError
from tapplan.network.circuit import Across, Circuit, Closed, Contact
from tapplan.network.spaces import Vector, holds, multiple
from tapplan.network.turns import Potentials, potentials

AWAY_SHARE = Fraction(9, 10)  # of the volts at which the load leaves the mains: sure to be away
MOST_FORCED = 16  # coil states that are offered under low voltage
MOST_FORETOLD = 1_000_000  # readings, one of each measurement under each single fault

HowFar = Callable[[int, int], None]  # told how many of how many are done


def unwatched(done: int, of: int) -> None:
    """Nobody is told how far it is."""


def keep_to_work(table: ControlTable, faults: int) -> None:
    """Refuses designs of which more readings would have to be foretold than can be waited for.

    `faults` is how many single faults there are.

    Raises:
        UsageError: there are more than `MOST_FORETOLD`.
    """
    listed = len(measures(table, Fraction(1)))  # as many whatever the small source
    if listed * faults > MOST_FORETOLD:
        raise UsageError(
            f"found {faults:,} single faults and {listed:,} measurements, {listed * faults:,} readings to foretell; "
            f"accepted: up to {MOST_FORETOLD:,} of them, so a design with fewer relays, taps or bands, or a part of "
            "this one; `tapplan faults` tells what each fault does to this one"
        )


def measures(table: ControlTable, low_volts: Fraction) -> list[Measure]:
    """What is worth measuring on a design, the safest first; `low_volts` is the small source."""
    circuit = table.circuit
    found = [*_power_off(circuit), *_of_parts(table), *_low_voltage(table, low_volts), *_on_battery(table)]
    return [*found, *_on_line(table)]


def _power_off(circuit: Circuit) -> Iterator[Measure]:
    rest = Condition("off", frozenset())
    for number, relay in enumerate(circuit.relays):
        drive = Condition("off", frozenset({relay}))
        yield Measure(rest, "coil-ohms", (relay,))
        yield Measure(drive, "click", (relay,))
        for contact in circuit.contacts:
            if contact.relay == number:
                yield Measure(rest, "ohms", _throw(contact))
                yield Measure(drive, "ohms", _throw(contact))
    for section in circuit.sections:
        yield Measure(rest, "ohms", (lug(circuit.points[section.start]), lug(circuit.points[section.finish])))
    for point, end in _leads(circuit):
        yield Measure(rest, "ohms", (lug(point), end))


def _throw(contact: Contact) -> tuple[str, ...]:
    """The two pins of a throw."""
    return f"{contact.label.rpartition('.')[0]}.com", contact.label


def _of_parts(table: ControlTable) -> Iterator[Measure]:
    rest, design = Condition("off", frozenset()), table.design
    for part in PARTS:
        if part != "cut-out" or has_cutout(design):
            yield Measure(rest, "part-ohms", (part,))
    if design.battery is not None:
        yield Measure(rest, "battery")


def _leads(circuit: Circuit) -> Iterator[tuple[str, str]]:
    """Each winding end that is led out, with a place at the other end of its lead: a terminal or a relay's pin."""
    ends = {end for section in circuit.sections for end in (section.start, section.finish)}
    for point in sorted(ends):
        pins = [contact.label for contact in circuit.contacts if contact.end == point]
        pins += [f"{one.label.rpartition('.')[0]}.com" for one in circuit.contacts if one.com == point]
        places = [circuit.points[point]] if point in circuit.terminals else []
        for place in [*places, *dict.fromkeys(pins)]:
            yield circuit.points[point], place


def _low_voltage(table: ControlTable, volts: Fraction) -> Iterator[Measure]:
    circuit = table.circuit
    line, neutral, output = (circuit.points[end] for end in circuit.terminals)
    states = [Condition("low", coils, (line, neutral), volts) for coils in forced_states(table)]
    for condition in states:
        yield Measure(condition, "current")
        yield Measure(condition, "volts", (output, neutral))
    known = [_Excited.under(circuit, condition) for condition in states]
    for section in circuit.sections:
        ends = (lug(circuit.points[section.finish]), lug(circuit.points[section.start]))
        yield from _first(known, Across(section.finish, section.start), ends)
    for contact in circuit.contacts:
        open_here = [one for one in known if circuit.contacts.index(contact) not in one.closed]
        yield from _first(open_here, Across(contact.com, contact.end), _throw(contact))


@dataclass(frozen=True, slots=True)
class _Excited:
    """A circuit on the small source: the condition, the contacts closed, and where its points stand."""

    condition: Condition
    closed: Closed
    joined: Potentials
    fed: Vector | None

    @staticmethod
    def under(circuit: Circuit, condition: Condition) -> _Excited:
        closed = circuit.state(condition.coils or ())
        joined = potentials(circuit, closed)
        return _Excited(condition, closed, joined, joined.between(circuit.neutral, circuit.line))

    def shows(self, asked: Across) -> bool:
        """Whether volts stand across two points, by turns alone."""
        apart = self.joined.between(asked.low, asked.high)
        if self.fed is None or apart is None or holds(self.joined.loops, self.fed):
            return False
        return bool(multiple(self.joined.loops, apart, self.fed))


def _first(known: Sequence[_Excited], asked: Across, ends: tuple[str, ...]) -> Iterator[Measure]:
    """Volts across two points, in the first state in which a healthy stage shows any there."""
    found = next((one for one in known if one.shows(asked)), None)
    if found is not None:
        yield Measure(found.condition, "volts", ends)


def forced_states(table: ControlTable) -> list[frozenset[str]]:
    """The coil states in which a small source is used: those of the bands, none, and each relay alone."""
    states = [frozenset(row.energised) for row in table.rows]
    states += [frozenset(), *(frozenset({relay}) for relay in table.circuit.relays)]
    return list(dict.fromkeys(states))[:MOST_FORCED]


def _on_battery(table: ControlTable) -> Iterator[Measure]:
    """What the stage does without its mains, for designs that say what feeds it then."""
    if not table.design.feeds or table.design.backup is None:
        return
    condition, circuit = Condition("battery"), table.circuit
    yield Measure(condition, "volts", (circuit.points[circuit.output], circuit.points[circuit.neutral]))
    for relay in circuit.relays:
        yield Measure(condition, "drive", (relay,))
    yield Measure(condition, "rail")
    if table.design.battery is not None:
        yield Measure(condition, "battery")


def _on_line(table: ControlTable) -> Iterator[Measure]:
    circuit = table.circuit
    _, neutral, output = (circuit.points[end] for end in circuit.terminals)
    heard: set[str] = set()
    for one in _inside_bands(table):
        row, condition = one.row, one.condition
        yield Measure(condition, "lamp")
        yield Measure(condition, "volts", (output, neutral))
        for relay in circuit.relays:
            yield Measure(condition, "drive", (relay,))
        for relay in (name for name in row.energised if name not in heard):
            heard.add(relay)
            yield Measure(condition, "chatter", (relay,))
    yield from _supplies_on_line(table)
    yield from _outside_bands(table)
    for below, above in pairwise(table.rows):
        yield Measure(Condition("line", course="rising"), "switch", (below.name, above.name))
    for above, below in pairwise(reversed(table.rows)):
        yield Measure(Condition("line", course="falling"), "switch", (above.name, below.name))


@dataclass(frozen=True, slots=True)
class _Inside:
    """A band and a line voltage in its middle."""

    row: Row
    condition: Condition


def _inside_bands(table: ControlTable) -> Iterator[_Inside]:
    mains = table.design.mains.span
    for row in table.rows:
        inside = row.input_hold.meet(mains) if row.input_hold is not None else None
        if inside is not None:
            middle = Fraction(round((inside.low + inside.high) / 2))
            volts = middle if middle in inside else (inside.low + inside.high) / 2
            yield _Inside(row, Condition("line", None, None, volts, "rising"))


def _supplies_on_line(table: ControlTable) -> Iterator[Measure]:
    """The coil rail where the most coils load it, and the battery as it is charged."""
    bands = list(_inside_bands(table))
    if not bands:
        return
    most = max(bands, key=lambda one: len(one.row.energised))
    if table.circuit.relays:
        yield Measure(most.condition, "rail")
        yield Measure(most.condition, "ripple")
    if table.design.battery is not None:
        yield Measure(bands[len(bands) // 2].condition, "battery")


def _outside_bands(table: ControlTable) -> Iterator[Measure]:
    """The drives below all bands: there a driver shows that every band has driven anyway."""
    backup = table.design.backup
    if backup is None:
        return
    condition = Condition("line", None, None, Fraction(round(backup.leave_v[0] * AWAY_SHARE)), "falling")
    for relay in table.circuit.relays:
        yield Measure(condition, "drive", (relay,))
