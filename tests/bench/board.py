"""A real stage on a bench, simulated: what a meter shows of it, worked out without a line of what foretells it.

Alternating quantities are complex numbers at the frequency of the supply, solved by modified nodal analysis. Every
section has copper and leakage, every core volts per turn and a magnetising admittance; closed contacts and leads are
resistors, open ones leave a small capacity, and the meter loads what it touches. What a design leaves open is drawn
once for a board, and what a worn or loose part does anew for every reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import exp, log, pi
from random import Random

import numpy as np

from tapplan.bench.defects import Defect
from tapplan.bench.measures import Condition, Measure, resistor
from tapplan.bench.values import MOST, NEVER, SOMETIMES
from tapplan.control.table import ControlTable
from tapplan.design.model import Design

LEAST_SIEMENS = 1e-12  # from every node to the neutral, so that nothing is without any potential
METER_OHM = 10e6
DARK_OHM = 10e3  # across the output on a small source
OPEN_OHM = 1e6  # a meter shows no more
AWAY = -1
COPPER_PER_K = 0.00393


@dataclass(frozen=True, slots=True)
class Winding:
    """Turns between two nodes on a core; the finish stands `turns` above the start."""

    start: str
    finish: str
    turns: float
    core: str
    ohm: complex


@dataclass(frozen=True, slots=True)
class Source:
    """Volts between two nodes, through ohms."""

    high: str
    low: str
    volts: complex
    ohm: complex


@dataclass(slots=True)
class Net:
    """What is joined to what; `joined` are pairs of nodes with siemens between them."""

    ground: str
    joined: list[tuple[str, str, complex]] = field(default_factory=list)
    windings: list[Winding] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    magnetising: dict[str, complex] = field(default_factory=dict)  # siemens of one turn

    def join(self, one: str, other: str, siemens: complex) -> None:
        """Puts an admittance between two nodes."""
        if one != other:
            self.joined.append((one, other, siemens))

    def nodes(self) -> list[str]:
        """All nodes but the ground."""
        ends = [end for one, other, _ in self.joined for end in (one, other)]
        ends += [end for winding in self.windings for end in (winding.start, winding.finish)]
        ends += [end for source in self.sources for end in (source.high, source.low)]
        return [end for end in dict.fromkeys(ends) if end != self.ground]


@dataclass(frozen=True, slots=True)
class Solved:
    """Volts of the nodes above the ground, ampere out of the sources' high ends, volts per turn of the cores."""

    volts: dict[str, complex]
    ampere: tuple[complex, ...]
    per_turn: dict[str, complex]

    def between(self, high: str, low: str) -> complex:
        """Volts from one node to another; a node that nothing is joined to stands at the ground."""
        return self.volts.get(high, 0) - self.volts.get(low, 0)


class _Equations:
    """The square system: a balance for each node, a law for each winding, source and core."""

    def __init__(self, net: Net) -> None:
        self.net, nodes = net, net.nodes()
        self.node = {name: number for number, name in enumerate(nodes)}
        self.cores = list(dict.fromkeys(winding.core for winding in net.windings))
        self.first_winding = len(nodes)
        self.first_source = self.first_winding + len(net.windings)
        self.first_core = self.first_source + len(net.sources)
        size = self.first_core + len(self.cores)
        self.matrix, self.right = np.zeros((size, size), dtype=complex), np.zeros(size, dtype=complex)

    def add(self, row: int | None, column: int | None, value: complex) -> None:
        if row is not None and column is not None:
            self.matrix[row, column] += value

    def admit(self, one: str, other: str, siemens: complex) -> None:
        a, b = self.node.get(one), self.node.get(other)
        for row, column, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            self.add(row, column, sign * siemens)

    def branch(self, number: int, into: str, out: str) -> None:
        """A current that leaves node `into` and comes back at `out`, with volts between them in its own law."""
        for name, sign in ((into, 1), (out, -1)):
            self.add(self.node.get(name), number, sign)
            self.add(number, self.node.get(name), sign)

    def fill(self) -> None:
        for one, other, siemens in self.net.joined:
            self.admit(one, other, siemens)
        for name in self.node:
            self.admit(name, self.net.ground, LEAST_SIEMENS)
        for number, winding in enumerate(self.net.windings, self.first_winding):
            core = self.first_core + self.cores.index(winding.core)
            self.branch(number, winding.finish, winding.start)  # v(finish) - v(start) = turns u + ohm J
            self.add(number, core, -winding.turns)
            self.add(number, number, -winding.ohm)
            self.add(core, number, winding.turns)  # sum of turns J = y u
        for number, source in enumerate(self.net.sources, self.first_source):
            self.branch(number, source.high, source.low)  # J goes into the source: v = volts + ohm J
            self.add(number, number, -source.ohm)
            self.right[number] = source.volts
        for number, core in enumerate(self.cores, self.first_core):
            self.add(number, number, -self.net.magnetising.get(core, 1e-9))

    def solved(self) -> Solved:
        self.fill()
        found = np.linalg.solve(self.matrix, self.right)
        volts = {name: complex(found[number]) for name, number in self.node.items()}
        ampere = tuple(complex(-one) for one in found[self.first_source : self.first_core])
        per_turn = {core: complex(found[self.first_core + number]) for number, core in enumerate(self.cores)}
        return Solved(volts, ampere, per_turn)


def solved(net: Net) -> Solved:
    """The volts and currents of a network."""
    return _Equations(net).solved()


@dataclass(frozen=True, slots=True)
class Section:
    """A section as it was wound: its copper and leakage in ohms, and what of its copper a meter finds."""

    name: str
    start: str
    finish: str
    turns: float
    core: str
    ohm: float
    reactance: float
    found: float = 1.0
    shorted: float = 0.0  # turns, with `bridge` ohms across them
    bridge: float = 0.0


@dataclass(frozen=True, slots=True)
class Throw:
    """One throw of one pole, closed with so many ohms."""

    relay: str
    pole: int
    side: str
    com: str
    end: str
    ohm: float

    @property
    def pin(self) -> str:
        """The name of the pole's pins up to the last dot."""
        return self.relay if self.pole == 1 else f"{self.relay}.{self.pole}"


@dataclass(frozen=True, slots=True)
class Figures:
    """What no design states, drawn once for a board."""

    throws: tuple[Throw, ...]
    sections: tuple[Section, ...]
    magnetising: dict[str, complex]
    leads: dict[str, float]
    stray: float
    inner_ohm: float
    line_ohm: float
    lamp_w: float
    coil_ohm: dict[str, float]
    nominal_rail: float
    rail: float
    ripple: float
    error: float  # share by which the controller reads too much
    rest_v: float  # of float, of the battery at rest
    float_v: float
    feed_v: dict[str, float]


def _between(random: Random, low: float, high: float) -> float:
    """A number between two, as likely in one decade as in another."""
    return exp(random.uniform(log(low), log(high)))


def _throws(design: Design, random: Random) -> Iterator[Throw]:
    for relay in design.relays:
        for number, pole in enumerate(relay.all_poles, 1):
            for side, end in (("nc", pole.nc), ("no", pole.no)):
                if end is not None:
                    stated = float(relay.contact_ohm or 0) * random.uniform(0.8, 1.2)
                    ohm = stated or random.uniform(0.01, 0.06)
                    yield Throw(relay.name, number, side, pole.com, end, ohm)


def _windings_of(design: Design) -> dict[str, float]:
    """For each section the turns of all that hang together with it by their ends, on its core."""
    groups: list[set[str]] = [{one.name} for one in design.windings]
    by_name = {one.name: one for one in design.windings}
    for one in design.windings:
        touching = [
            group
            for group in groups
            if any({*one.ends} & {*by_name[name].ends} and by_name[name].core == one.core for name in group)
        ]
        groups = [group for group in groups if group not in touching] + [set().union(*touching)]
    return {name: sum(float(by_name[each].turns) for each in group) for group in groups for name in group}


def _sections(table: ControlTable, random: Random) -> Iterator[Section]:
    """Copper as stated, or as its wire has it cold or warm, else so that the load makes it drop a little."""
    design = table.design
    whole, nominal, load = _windings_of(design), float(design.mains.nominal_v), float(design.output.load_va or 500)
    drop, leak = random.uniform(0.005, 0.06), random.uniform(0.002, 0.03)
    celsius, warm = random.uniform(15, 75), float(design.copper.temperature_c)
    heat = (1 + COPPER_PER_K * (celsius - 20)) / (1 + COPPER_PER_K * (warm - 20))
    for winding, known in zip(design.windings, table.circuit.sections, strict=True):
        most = max(whole[one.name] for one in design.windings if one.core == winding.core)
        volts = nominal * whole[winding.name] / most
        share = volts**2 / load * float(winding.turns) / whole[winding.name]
        ohm = drop * share * random.uniform(0.8, 1.2)
        if winding.resistance_ohm is not None:
            ohm = float(winding.resistance_ohm) * random.uniform(0.92, 1.08)
        elif known.resistance_ohm is not None:
            ohm = float(known.resistance_ohm) * heat * random.uniform(0.98, 1.02)
        reactance = float(winding.leakage_ohm) or leak * share
        yield Section(winding.name, *winding.ends, float(winding.turns), winding.core, ohm, reactance)


def _magnetising(design: Design, random: Random) -> dict[str, complex]:
    """Siemens of one turn on each core: VA at nominal volts, part of it lost in the iron."""
    whole, nominal, load = _windings_of(design), float(design.mains.nominal_v), float(design.output.load_va or 500)
    found = {}
    for core in dict.fromkeys(one.core for one in design.windings):
        most = max(whole[one.name] for one in design.windings if one.core == core)
        share = random.uniform(0.005, 0.1)
        va, lost = share * load, min(random.uniform(0.1, 0.5), 0.02 / share)  # iron takes no more than that
        siemens = complex(lost, -((1 - lost**2) ** 0.5)) * va / nominal**2
        found[core] = siemens * most**2
    return found


def _coil_ohm(design: Design, random: Random) -> dict[str, float]:
    found = {}
    for relay in design.relays:
        stated = relay.coil_v is not None and relay.coil_w is not None
        ohm = float(relay.coil_v**2 / relay.coil_w) * random.uniform(0.9, 1.1) if stated else random.uniform(60, 1500)
        found[relay.name] = ohm
    return found


def figures(table: ControlTable, random: Random) -> Figures:
    """Draws what the design does not state."""
    design = table.design
    coil_v = next((float(relay.coil_v) for relay in design.relays if relay.coil_v is not None), 12.0)
    ends = dict.fromkeys(end for winding in design.windings for end in winding.ends)
    battery, error = design.battery, float(design.sensing.error_pct) / 100
    float_low, float_high = (0.0, 0.0) if battery is None else map(float, battery.float_v)
    rail = coil_v * random.uniform(0.9, 1.2)
    return Figures(
        throws=tuple(_throws(design, random)),
        sections=tuple(_sections(table, random)),
        magnetising=_magnetising(design, random),
        leads={end: random.uniform(0.002, 0.03) for end in ends},
        stray=random.uniform(100e-12, 400e-12),
        inner_ohm=random.uniform(0, 10),
        line_ohm=float(design.mains.source_ohm or 0) or random.uniform(0.1, 1),
        lamp_w=random.uniform(25, 60),
        coil_ohm=_coil_ohm(design, random),
        nominal_rail=coil_v,
        rail=rail,
        ripple=rail * random.uniform(0, 0.05),
        error=random.uniform(-error, error),
        rest_v=float_low * random.uniform(0.91, 0.96),
        float_v=random.uniform(float_low, float_high),
        feed_v={feed.name: random.uniform(*map(float, feed.volts_v)) for feed in design.feeds},
    )


def _relays(defect: Defect) -> tuple[str, ...]:
    """The relays that a defect is about."""
    pole = 1 if defect.contact is None else defect.contact.pole or 1
    return defect.relays or (defect.part if pole == 1 else defect.part.rpartition(".")[0],)


def _shorted(turns: float, random: Random) -> float:
    """Turns that are shorted: from one to all, as many of one size as of another."""
    return float(turns ** random.random())


def _with_windings_hit(section: Section, hypothesis: Iterable[Defect], random: Random) -> Section:
    """A section as its defects leave it; an open one is left out later."""
    for defect in hypothesis:
        if defect.part != section.name or (defect.contact is not None and defect.contact.relay is not None):
            continue
        if defect.fault == "reversed":
            section = replace(section, start=section.finish, finish=section.start)
        elif defect.fault == "shorted-turns":
            turns = _shorted(section.turns, random)
            bridge = section.ohm * turns / section.turns * random.uniform(0, 0.5)
            section = replace(section, shorted=turns, bridge=bridge, found=random.uniform(0.5, 1))
    return section


@dataclass(frozen=True, slots=True)
class Stand:
    """How the controller stands: rows in turn where it hunts, else one; `AWAY` for none of them."""

    rows: tuple[int, ...]


class Board:
    """One board with something wrong, or nothing, and what a meter on it shows."""

    def __init__(self, table: ControlTable, hypothesis: tuple[Defect, ...], random: Random) -> None:
        self.table, self.design, self.random = table, table.design, random
        self.hypothesis = hypothesis
        made = figures(table, random)
        sections = tuple(_with_windings_hit(one, hypothesis, random) for one in made.sections)
        self.figures = replace(made, sections=sections)
        self.wound = frozenset(end for winding in self.design.windings for end in winding.ends)
        self._part = {id(one): self._drawn(one) for one in hypothesis}
        hertz = self.design.mains.frequency_hz
        self.omega = 2 * pi * float(sum(hertz) / 2 if isinstance(hertz, tuple) else hertz)

    # What is wrong -------------------------------------------------------------------------------------------------

    def _drawn(self, defect: Defect) -> float:
        """The figure of a defect: ohms of a contact or part, the factor of a reading, a share of volts."""
        random = self.random
        match defect.fault:
            case "nc-worn" | "no-worn":
                return _between(random, 2, 200)
            case "bridged":
                return _between(random, 0.01, 1)
            case "coil-shorted":
                return random.uniform(1, 4)
            case "diode-shorted":
                return random.uniform(0, 1)
            case "suppressor-shorted":
                return random.uniform(0.1, 3)
            case "missing":
                return random.uniform(0, 0.5)
            case "battery-flat":
                return random.uniform(0.3, 0.85)
            case "rail-weak":
                return random.uniform(0.4, 0.75)
        if defect.scale is not None:
            return random.uniform(float(defect.scale.low), float(defect.scale.high))
        return 0.0

    def _of(self, *faults: str) -> Iterator[Defect]:
        return (one for one in self.hypothesis if one.fault in faults)

    def _any(self, *faults: str) -> bool:
        return any(True for _ in self._of(*faults))

    def _hit(self, relay: str, *faults: str) -> Defect | None:
        return next((one for one in self._of(*faults) if relay in _relays(one)), None)

    def _at_pole(self, throw: Throw, *faults: str) -> Defect | None:
        """A defect of this throw's pole."""
        return next((one for one in self._of(*faults) if one.part == throw.pin), None)

    # Coils and contacts --------------------------------------------------------------------------------------------

    def _coils(self, commanded: frozenset[str]) -> frozenset[str]:
        """The coils that have their volts when the controller commands these relays."""
        if self._any("missing"):
            return frozenset()
        for defect in self._of("drives-swapped"):
            one, two = defect.relays
            other = {one: two, two: one}
            commanded = frozenset(other.get(relay, relay) for relay in commanded)
        dead = {relay for defect in self._of("driver-dead") for relay in defect.relays}
        shorted = {relay for defect in self._of("driver-shorted") for relay in defect.relays}
        return (commanded - dead) | shorted

    def _pulled(self, coils: frozenset[str], *, bench: bool) -> frozenset[str]:
        """The relays whose armatures move: of weak or loose ones it is drawn anew each time."""
        weak = self._any("rail-weak") and not bench
        pulled = set()
        for relay in coils:
            if self._hit(relay, "coil-open", "coil-shorted", "diode-shorted"):
                continue
            loose = weak or self._hit(relay, "intermittent") is not None
            if not loose or self.random.random() < 0.5:
                pulled.add(relay)
        return frozenset(pulled)

    def _contact(self, throw: Throw, pulled: frozenset[str]) -> float | None:
        """Ohms of a throw now, None where it is open."""
        driven = throw.relay in pulled
        if self._hit(throw.relay, "stuck-rest"):
            driven = False
        elif self._hit(throw.relay, "stuck-driven"):
            driven = True
        if self._at_pole(throw, "com-open", f"{throw.side}-open"):
            return None
        if (throw.side == "no") != driven:
            bridge = self._at_pole(throw, "bridged")
            return None if bridge is None else self._part[id(bridge)]
        worn = self._at_pole(throw, f"{throw.side}-worn")
        if worn is not None:
            return min(max(self._part[id(worn)] * 3 ** self.random.uniform(-0.5, 0.5), 2), 200)
        return throw.ohm

    # The network ---------------------------------------------------------------------------------------------------

    def place(self, name: str) -> str:
        """The node that a name stands for; what no winding ends at has no lug."""
        terminals = self.design.terminals
        if name in (terminals.line, terminals.neutral, terminals.output):
            return name
        for throw in self.figures.throws:
            if name == f"{throw.pin}.{throw.side}":
                return throw.end
            if name == f"{throw.pin}.com":
                return throw.com
        bare = name.removeprefix("lug ")
        return f"lug {bare}" if bare in self.wound else bare

    def net(self, pulled: frozenset[str], *, direct: bool = False) -> Net:
        """The board with these armatures moved; `direct`: as direct current finds it."""
        net = Net(self.design.terminals.neutral)
        stray = 1e-12 if direct else 1j * self.omega * self.figures.stray
        self._wind(net, direct=direct, stray=stray)
        self._lead(net, stray)
        for throw in self.figures.throws:
            ohm = self._contact(throw, pulled)
            net.join(throw.com, throw.end, stray if ohm is None else 1 / ohm)
        for node in net.nodes():
            net.join(node, net.ground, stray / 3)
        for defect in self._of("suppressor-shorted"):
            net.join(self.design.terminals.line, net.ground, 1 / self._part[id(defect)])
        return net

    def _wind(self, net: Net, *, direct: bool, stray: complex) -> None:
        net.magnetising = self.figures.magnetising
        for one in self.figures.sections:
            start, finish = f"lug {one.start}", f"lug {one.finish}"
            if any(defect.part == one.name for defect in self._of("open")):
                net.join(start, finish, stray)
            elif direct:
                net.join(start, finish, 1 / max(one.ohm * one.found, 1e-6))
            elif not one.shorted:
                net.windings.append(Winding(start, finish, one.turns, one.core, complex(one.ohm, one.reactance)))
            else:
                self._wind_shorted(net, one)

    @staticmethod
    def _wind_shorted(net: Net, one: Section) -> None:
        """Some turns next to the finish have met: they carry what they drive through the place where they touch."""
        start, finish, inside = f"lug {one.start}", f"lug {one.finish}", f"inside {one.name}"
        share, whole = one.shorted / one.turns, complex(one.ohm, one.reactance)
        if share < 1:
            net.windings.append(Winding(start, inside, one.turns - one.shorted, one.core, (1 - share) * whole))
        else:
            inside = start
        burnt = complex(share * one.ohm, share**2 * one.reactance)
        net.windings.append(Winding(inside, finish, one.shorted, one.core, burnt))
        net.join(inside, finish, 1 / max(one.bridge, 1e-6))

    def _lead(self, net: Net, stray: complex) -> None:
        other = {end: end for end in self.figures.leads}
        for defect in self._of("leads-swapped"):
            far = defect.contact.other if defect.contact is not None else None
            if far is not None:
                other |= {defect.part: far, far: defect.part}
        off = {defect.part for defect in self._of("lead-open")}
        off |= {defect.part for defect in self._of("lead-cracked") if self.random.random() < 0.5}
        for end, ohm in self.figures.leads.items():
            net.join(end, f"lug {other[end]}", stray if end in off else 1 / ohm)

    # The controller ------------------------------------------------------------------------------------------------

    @property
    def line_dead(self) -> bool:
        """Whether the line does not come past the inlet."""
        return self._any("fuse-open", "cut-out-open")

    @property
    def own_power(self) -> bool:
        """Whether the coils have another source than the line."""
        return bool(self.design.feeds) or self.design.battery is not None

    def _energised(self, row: int) -> frozenset[str]:
        """What is commanded in a row; away the backup's relays, else none."""
        if row != AWAY:
            return frozenset(self.table.rows[row].energised)
        return frozenset(self.design.backup.energised if self.design.backup is not None else ())

    def _ends(self) -> list[tuple[float, float]]:
        """Readings that keep each row: those of the file, the two outermost ends those where the load leaves."""
        ends = [(float(row.hold.low), float(row.hold.high)) for row in self.table.rows]
        if self.design.backup is not None and ends:
            low, high = map(float, self.design.backup.leave_v)
            ends[0] = (low, ends[0][1])
            ends[-1] = (ends[-1][0], high)
        return ends

    def _per_volt(self) -> dict[int, float]:
        """What the board brings to the points sensed, of one volt at its inlet, in each row and away."""
        rows = [*range(len(self.table.rows)), AWAY]
        if self.design.sensing.at == "input":
            return dict.fromkeys(rows, 1.0)
        high, low = self._sensed()
        found = {}
        for row in rows:
            volts = float(self.design.mains.nominal_v)
            shown = self._on_line(volts, self._pulled(self._coils(self._energised(row)), bench=False), inverter=False)
            found[row] = abs(shown.between(high, low)) / volts
        return found

    def _sensed(self) -> tuple[str, str]:
        """The nodes that the controller reads across, where that is not the inlet; wires to lugs stay on them."""
        at, terminals = self.design.sensing.at, self.design.terminals
        if at == "output" or isinstance(at, str):
            return terminals.output, terminals.neutral
        high, low = (f"lug {point}" if point in self.wound else point for point in at)
        return high, low

    def _reader(self) -> Reader:
        scale = next((self._part[id(one)] for one in self.hypothesis if one.scale is not None), 1.0)
        noise = float(self.design.sensing.noise_v) / 2 * self.random.uniform(0, 1)
        factor = 0.0 if self.line_dead else scale * (1 + self.figures.error)
        return Reader(self, self._ends(), self._per_volt(), factor, noise)

    def _stand(self, condition: Condition) -> Stand:
        """The rows in force after the course of a condition."""
        frozen = next((one.row for one in self.hypothesis if one.row is not None), None)
        if frozen is not None:
            return Stand((frozen,))
        reader, volts = self._reader(), float(condition.volts or 0)
        if condition.course == "start":
            return Stand(reader.settled(AWAY, volts))
        return Stand(reader.course(volts, rising=condition.course != "falling")[-1].rows)

    def _line_coils(self, condition: Condition) -> list[tuple[frozenset[str], bool]]:
        """The coils with volts on the line, and whether that is away; several where the controller hunts."""
        if condition.coils is not None:
            return [(condition.coils, False)]
        if self.line_dead and not self.own_power:
            return [(frozenset(), True)]
        return [(self._coils(self._energised(row)), row == AWAY) for row in self._stand(condition).rows]

    # Readings ------------------------------------------------------------------------------------------------------

    def show(self, measure: Measure) -> Fraction | None:
        """What a meter, an eye or an ear finds: a yes is 1, a no 0, an open circuit `MOST`, never `NEVER`."""
        match measure.condition.power:
            case "off":
                return self._off(measure)
            case "low":
                return self._low(measure)
            case "line":
                return self._line(measure)
            case _:
                return self._on_battery(measure)

    def _meter(self, value: float, share: float, fixed: float) -> Fraction:
        random = self.random
        seen = value * (1 + random.uniform(-share, share)) + random.uniform(-fixed, fixed)
        return Fraction(str(round(max(seen, 0.0), 6)))

    def _ohms(self, ohm: float) -> Fraction:
        return MOST if ohm > OPEN_OHM else self._meter(ohm, 0.05, 0.5)

    def _off(self, measure: Measure) -> Fraction | None:
        coils = measure.condition.coils or frozenset()
        match measure.what:
            case "click":
                return self._click(measure.at[0], coils)
            case "coil-ohms":
                return self._ohms(self._coil(measure.at[0]))
            case "part-ohms":
                return self._ohms(self._part_ohm(measure.at[0]))
            case "battery":
                return None if self.design.battery is None else self._meter(self._rested(), 0.01, 0.1)
        net = self.net(self._pulled(coils, bench=True), direct=True)
        high, low = map(self.place, measure.at)
        net.sources.append(Source(high, low, 1, 1))
        found = solved(net)
        ampere = abs(found.ampere[0])
        return self._ohms(abs(found.between(high, low)) / ampere if ampere > 1e-15 else float("inf"))

    def _click(self, relay: str, coils: frozenset[str]) -> Fraction:
        if relay not in coils or relay not in self._pulled(frozenset({relay}), bench=True):
            return Fraction(0)
        jammed = self._hit(relay, "stuck-rest", "stuck-driven", "bridged")
        return Fraction(1 if not jammed else self.random.randrange(2))

    def _coil(self, relay: str) -> float:
        if self._hit(relay, "coil-open"):
            return float("inf")
        short = self._hit(relay, "coil-shorted", "diode-shorted")
        return self.figures.coil_ohm[relay] if short is None else self._part[id(short)]

    def _part_ohm(self, part: str) -> float:
        if part == "suppressor":
            return next((self._part[id(one)] for one in self._of("suppressor-shorted")), float("inf"))
        return float("inf") if self._any(f"{part}-open") else self.random.uniform(0, 0.5)

    def _rested(self) -> float:
        """Volts of the battery while nothing charges it."""
        flat = next(self._of("battery-flat"), None)
        if flat is None:
            return self.figures.rest_v
        return float(self.design.battery.float_v[0]) * self._part[id(flat)] if self.design.battery else 0.0

    def _low(self, measure: Measure) -> Fraction | None:
        condition = measure.condition
        volts = condition.volts or Fraction(0)
        net = self.net(self._pulled(condition.coils or frozenset(), bench=True))
        terminals = self.design.terminals
        high, low = map(self.place, condition.fed or (terminals.line, terminals.neutral))
        ohm = float(condition.ohm or resistor(volts)) + self.figures.inner_ohm
        net.sources.append(Source(high, low, float(volts), ohm))
        net.join(terminals.output, terminals.neutral, 1 / DARK_OHM)
        probes = (high, low) if measure.what != "volts" else tuple(map(self.place, measure.at))
        net.join(*probes, 1 / METER_OHM)
        found = solved(net)
        if measure.what == "lamp":
            return Fraction(int(abs(found.between(high, low)) < float(volts) / 2))
        if measure.what == "current":
            return self._meter(abs(found.ampere[0]), 0.02, 1e-4)
        return self._meter(abs(found.between(*probes)), 0.02, 0.02)

    def _lamp_ohm(self, volts: float, watts: float) -> float:
        """A lamp at these volts: a tenth of its resistance while it is cold."""
        nominal = float(self.design.output.nominal_v)
        return nominal**2 / watts * (0.1 + 0.9 * min(volts / nominal, 1.2))

    def _on_line(
        self,
        volts: float,
        pulled: frozenset[str],
        *,
        inverter: bool,
        probes: tuple[str, str] | None = None,
        series: float = 0.0,
    ) -> Solved:
        """The board with the line at its inlet (0: the plug is out) and a lamp at its output."""
        net, terminals = self.net(pulled), self.design.terminals
        if volts and not self.line_dead:
            net.sources.append(Source(terminals.line, terminals.neutral, volts, self.figures.line_ohm + series))
        if inverter and not self._any("battery-flat"):
            net.sources += self._inverter()
        if probes is not None:
            net.join(*probes, 1 / METER_OHM)
        across, bare = volts, len(net.joined)
        for _ in range(6):  # a lamp's resistance goes with its volts
            del net.joined[bare:]
            net.join(terminals.output, terminals.neutral, 1 / self._lamp_ohm(across, self.figures.lamp_w))
            found = solved(net)
            across = abs(found.between(terminals.output, terminals.neutral))
        return found

    def _inverter(self) -> Iterator[Source]:
        by_name = {winding.name: winding for winding in self.design.windings}
        for feed in self.design.feeds[:1]:
            start, finish = by_name[feed.winding].ends
            yield Source(f"lug {finish}", f"lug {start}", self.figures.feed_v[feed.name], 0.005)

    def _line(self, measure: Measure) -> Fraction | None:
        condition = measure.condition
        if measure.what == "switch":
            return self._switch(measure)
        stands = self._line_coils(condition)
        coils, away = stands[0]
        match measure.what:
            case "drive":
                return _told({self._drive(measure.at[0], one) for one, _ in stands})
            case "chatter":
                return self._chatter(measure.at[0], [one for one, _ in stands])
            case "rail":
                return self._meter(self._rail(coils, dead=self.line_dead and not self.own_power), 0.01, 0.1)
            case "ripple":
                return self._meter(self._ripple(coils, dead=self.line_dead and not self.own_power), 0.02, 0.1)
            case "battery":
                charged = not away and not self.line_dead
                return None if self.design.battery is None else self._meter(self._charged(charged), 0.01, 0.1)
            case "lamp":
                return _told({self._bright(condition, one, away) for one, away in stands})
        shown = [self._line_volts(measure, one, away) for one, away in stands]
        if max(shown) - min(shown) > 0.03 * max(shown) + 2:
            return SOMETIMES
        return self._meter(shown[0], 0.02, 1)

    def _line_volts(self, measure: Measure, coils: frozenset[str], away: bool) -> float:
        volts = float(measure.condition.volts or 0)
        pulled = self._pulled(coils, bench=measure.condition.coils is not None)
        probes = tuple(map(self.place, measure.at))
        inverter = away and self.design.backup is not None
        watts = self._fault_w(volts, pulled, inverter=inverter)
        series = self._lamp_ohm(float(self.design.output.nominal_v), 100) if watts > 50 else 0.0
        found = self._on_line(volts, pulled, inverter=inverter, probes=(probes[0], probes[1]), series=series)
        return abs(found.between(*probes))

    def _fault_w(self, volts: float, pulled: frozenset[str], *, inverter: bool) -> float:
        """Watts that the line gives beyond what the lamp at the output and sound iron take."""
        if self.line_dead or not volts:
            return 0.0
        found, terminals = self._on_line(volts, pulled, inverter=inverter), self.design.terminals
        out = abs(found.between(terminals.output, terminals.neutral))
        taken = out**2 / self._lamp_ohm(out, self.figures.lamp_w)
        taken += sum(abs(found.per_turn.get(one, 0)) ** 2 * y.real for one, y in self.figures.magnetising.items())
        return (volts * found.ampere[0].conjugate()).real - taken

    def _bright(self, condition: Condition, coils: frozenset[str], away: bool) -> Fraction:
        pulled = self._pulled(coils, bench=condition.coils is not None)
        inverter = away and self.design.backup is not None
        watts = self._fault_w(float(condition.volts or 0), pulled, inverter=inverter)
        return Fraction(int(watts > self.random.uniform(40, 60)))

    def shorts(self) -> bool:
        """Whether the mains are shorted in some row, or away, at their nominal volts."""
        volts = float(self.design.mains.nominal_v)
        rows = [*range(len(self.table.rows)), AWAY]
        stands = [self._pulled(self._coils(self._energised(row)), bench=False) for row in rows]
        return any(self._fault_w(volts, pulled, inverter=False) > 50 for pulled in stands)

    def _drive(self, relay: str, coils: frozenset[str]) -> Fraction:
        if relay in coils and self._hit(relay, "coil-shorted", "diode-shorted"):
            return Fraction(self.random.randrange(2))
        return Fraction(int(relay in coils))

    def _chatter(self, relay: str, stands: list[frozenset[str]]) -> Fraction:
        """Whether a relay rattles: its volts are weak, its drive comes and goes, or its armature is loose."""
        driven = {relay in coils for coils in stands}
        if len(driven) > 1:
            return Fraction(1)
        if self._hit(relay, "coil-open", "coil-shorted", "diode-shorted", "stuck-rest", "stuck-driven"):
            return Fraction(0)
        if driven == {True} and self._any("rail-weak"):
            return Fraction(1)
        loose = driven == {True} and self._hit(relay, "intermittent") is not None
        return Fraction(self.random.randrange(2) if loose else 0)

    def _rail(self, coils: frozenset[str], *, dead: bool) -> float:
        if dead:
            return 0.0
        missing, weak = next(self._of("missing"), None), next(self._of("rail-weak"), None)
        if missing is not None:
            return self._part[id(missing)]
        if weak is None:
            return self.figures.rail
        share = self._part[id(weak)] if coils else self.random.uniform(0.75, 1.1)  # little is drawn then
        return self.figures.nominal_rail * share

    def _ripple(self, coils: frozenset[str], *, dead: bool) -> float:
        if dead or self._any("missing"):
            return 0.0
        if not self._any("rail-weak"):
            return self.figures.ripple
        low, high = (0.2, 0.6) if coils else (0.05, 0.2)
        return self.figures.nominal_rail * self.random.uniform(low, high)

    def _charged(self, charged: bool) -> float:
        """Volts of the battery with the line there."""
        if not charged or self._any("charger-dead"):
            return self._rested()
        if self._any("battery-flat"):
            return self.random.uniform(self._rested(), self.figures.float_v)
        return self.figures.float_v

    def _switch(self, measure: Measure) -> Fraction:
        """The line volts at which the coils change from one band to the next; `NEVER` where none does."""
        names = [row.name for row in self.table.rows]
        here, there = (names.index(name) for name in measure.at)
        if any(one.row is not None for one in self.hypothesis) or self.line_dead:
            return NEVER
        seen = {row: self._coils(self._energised(row)) for row in (here, there, AWAY)}
        if seen[here] == seen[there]:
            return NEVER
        passed = self._reader().course(None, rising=measure.condition.course != "falling")
        begun = False
        for one in passed:
            begun = begun or one.rows == (here,)
            if begun and not {*one.rows} <= {here, there, AWAY}:
                return NEVER
            if begun and any(row != here and seen[row] == seen[there] for row in one.rows):
                return self._meter(one.volts, 0.02, 1)
        return NEVER

    def _on_battery(self, measure: Measure) -> Fraction | None:
        if not self.design.feeds:
            return None
        feed, flat = self.design.feeds[0], self._any("battery-flat")
        backup = self.design.backup.energised if self.design.backup is not None else ()
        commanded = frozenset(feed.energised if feed.energised is not None else backup)
        coils = frozenset() if flat else self._coils(commanded)
        match measure.what:
            case "drive":
                return self._drive(measure.at[0], coils)
            case "rail":
                share = self.random.uniform(0, 0.85) if flat else 1.0
                return self._meter(self._rail(coils, dead=False) * share, 0.01, 0.1)
            case "battery":
                return None if self.design.battery is None else self._meter(self._rested(), 0.01, 0.1)
        high, low = map(self.place, measure.at)
        found = self._on_line(0, self._pulled(coils, bench=False), inverter=True, probes=(high, low))
        return self._meter(abs(found.between(high, low)), 0.02, 1)


def _told(found: set[Fraction]) -> Fraction:
    """One answer, or that it is now so and now otherwise."""
    return next(iter(found)) if len(found) == 1 else SOMETIMES


@dataclass(frozen=True, slots=True)
class Passed:
    """Where the line is on its course, and the rows in force there."""

    volts: float
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Reader:
    """The controller: what it reads, and the row it takes next."""

    board: Board
    ends: list[tuple[float, float]]
    per_volt: dict[int, float]
    factor: float
    noise: float

    STEP = 0.1

    def next_row(self, row: int, volts: float, noise: float) -> int:
        """The row after one reading."""
        reading = self.factor * self.per_volt[row] * volts
        if row == AWAY:
            return self._back(reading)
        low, high = self.ends[row]
        if low <= reading - noise and reading + noise <= high:
            return row
        side = 1 if reading + noise > high else -1
        beyond = reading + side * noise
        others = range(row + 1, len(self.ends)) if side > 0 else range(row - 1, -1, -1)
        if self.board.design.sensing.at != "input":
            return next(iter(others), AWAY)
        return next((one for one in others if self.ends[one][0] <= beyond <= self.ends[one][1]), AWAY)

    def _back(self, reading: float) -> int:
        """The row that is taken after being away, by the ratios that the controller was given."""
        table, design = self.board.table, self.board.design
        if design.backup is not None and not design.backup.return_v[0] <= reading <= design.backup.return_v[1]:
            return AWAY
        away = float(table.away.sensed or 0)
        if not away:
            return AWAY
        fitting = []
        for number, row in enumerate(table.rows):
            would = reading * float(row.sensed or 0) / away
            if row.ratio is not None and self.ends[number][0] <= would <= self.ends[number][1]:
                ratio = float(row.ratio)
                off = abs(ratio * reading / away - float(design.output.nominal_v))
                fitting.append((round(off, 9), ratio, number))
        return min(fitting)[2] if fitting else AWAY

    def settled(self, row: int, volts: float) -> tuple[int, ...]:
        """The row in which it comes to rest, or those between which it hunts."""
        seen = [row]
        for _ in range(60):
            row = self.next_row(row, volts, self.noise)
            if row == seen[-1]:
                return (row,)
            seen.append(row)
        return tuple(dict.fromkeys(seen[-20:]))

    def course(self, target: float | None, *, rising: bool) -> list[Passed]:
        """A slow line from nought, or from far above, to its volts; None: all the way."""
        top = 1.3 * max((float(row.input_hold.high) for row in self.board.table.rows if row.input_hold), default=400)
        top = max(top, 1.3 * float(self.board.design.mains.span.high), target or 0)
        begin, end = (0.0, top if target is None else target) if rising else (top, target or 0.0)
        steps = int(abs(end - begin) / self.STEP) + 1
        row, passed = AWAY, []
        for number in range(steps + 1):
            volts = begin + (end - begin) * number / steps
            rows = self.settled(row, volts)
            if not passed or rows != passed[-1].rows:
                passed.append(Passed(volts, rows))
            row = rows[-1]
        return passed
