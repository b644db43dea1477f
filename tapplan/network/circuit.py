"""Windings and contacts as a multigraph of numbered points.

A relay position is the set of contacts it closes: at rest its NC contacts, driven its NO contacts, in flight none (or
both, where it makes before it breaks), welded across both. Settled states, moves and faults are then one thing to the
solver.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from math import lcm
from typing import Literal

from tapplan.design.model import Design
from tapplan.design.wound import section_ohms

Throw = Literal["nc", "no"]
Closed = frozenset[int]


class Position(Enum):
    """Where the moving contacts of a relay stand; the value is the set of throws that are closed."""

    REST = frozenset({"nc"})
    DRIVEN = frozenset({"no"})
    FLIGHT = frozenset[str]()
    BRIDGED = frozenset({"nc", "no"})


@dataclass(frozen=True, slots=True)
class Across:
    """Two numbered points that volts stand across, or are read or put across: first minus second."""

    high: int
    low: int

    @property
    def points(self) -> tuple[int, int]:
        """The first point, then the second."""
        return self.high, self.low


@dataclass(frozen=True, slots=True)
class Section:
    """A winding between two numbered points; the finish stands `turns` units above the start."""

    name: str
    start: int
    finish: int
    turns: int
    core: int
    resistance_ohm: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Contact:
    """One throw of one pole: closed, it joins two points."""

    label: str
    relay: int
    pole: int
    throw: Throw
    com: int
    end: int
    ohm: Fraction


@dataclass(frozen=True, slots=True)
class Circuit:
    """A design reduced to what decides voltages.

    `turn_unit` is the size of one unit of `Section.turns` in turns, chosen so that all are whole.
    `sensed` are the points read across, or None when input or output is read. `makes_first` are the relays, by
    number, that close the new throw before they open the old one.
    """

    points: tuple[str, ...]
    sections: tuple[Section, ...]
    contacts: tuple[Contact, ...]
    relays: tuple[str, ...]
    cores: tuple[str, ...]
    turn_unit: Fraction
    line: int
    neutral: int
    output: int
    sensed: Across | None
    makes_first: frozenset[int] = frozenset()

    @property
    def terminals(self) -> tuple[int, int, int]:
        """Line, neutral and output, as numbered points."""
        return self.line, self.neutral, self.output

    @property
    def kept_points(self) -> frozenset[int]:
        """Points whose potential somebody asks for: the terminals and the sensed pair."""
        read = () if self.sensed is None else self.sensed.points
        return frozenset((*self.terminals, *read))

    def closed(self, positions: Mapping[int, Position]) -> Closed:
        """The closed contacts when each relay stands as given; a relay not named rests."""
        return frozenset(
            number
            for number, contact in enumerate(self.contacts)
            if contact.throw in positions.get(contact.relay, Position.REST).value
        )

    def between(self, relay: int) -> Position:
        """Where a relay stands while it changes over: on neither throw, or on both."""
        return Position.BRIDGED if relay in self.makes_first else Position.FLIGHT

    def state(self, energised: Iterable[str]) -> Closed:
        """The closed contacts when exactly these relays are driven and have settled."""
        driven = frozenset(energised)
        return frozenset(
            number
            for number, contact in enumerate(self.contacts)
            if (contact.throw == "no") == (self.relays[contact.relay] in driven)
        )


def circuit_of(design: Design) -> Circuit:
    """The circuit of a design."""
    numbers: dict[str, int] = {}

    def number(point: str) -> int:
        return numbers.setdefault(point, len(numbers))

    terminals = design.terminals
    line, neutral, output = (number(point) for point in (terminals.line, terminals.neutral, terminals.output))
    cores = tuple(dict.fromkeys(winding.core for winding in design.windings))
    unit = Fraction(1, lcm(*(winding.turns.denominator for winding in design.windings)))
    sections = tuple(
        Section(
            winding.name,
            number(winding.ends[0]),
            number(winding.ends[1]),
            int(winding.turns / unit),
            cores.index(winding.core),
            ohm,
        )
        for winding, ohm in zip(design.windings, section_ohms(design), strict=True)
    )
    contacts = tuple(_contacts(design, number))
    at = design.sensing.at
    sensed = None if isinstance(at, str) else Across(number(at[0]), number(at[1]))
    first = frozenset(place for place, relay in enumerate(design.relays) if relay.makes_first)
    return Circuit(
        tuple(numbers), sections, contacts, design.relay_names, cores, unit, line, neutral, output, sensed, first
    )


def _contacts(design: Design, number: Callable[[str], int]) -> Iterator[Contact]:
    """Every throw of every pole, in the order of the file, its points numbered as they come."""
    for relay_number, relay in enumerate(design.relays):
        for pole_number, pole in enumerate(relay.all_poles, start=1):
            for throw, end in _throws(pole.nc, pole.no).items():
                named = f"{relay.name}.{throw}" if pole_number == 1 else f"{relay.name}.{pole_number}.{throw}"
                ohm = relay.contact_ohm or Fraction(0)
                yield Contact(named, relay_number, pole_number, throw, number(pole.com), number(end), ohm)


def _throws(nc: str | None, no: str | None) -> dict[Throw, str]:
    """Where each throw that there is leads."""
    throws: dict[Throw, str] = {}
    if nc is not None:
        throws["nc"] = nc
    if no is not None:
        throws["no"] = no
    return throws
