"""Questions about copper put to the solver under test and to ngspice, on stages wired at random.

The engine's side is written from the design's text by `tests.outside.copper` and `tests.outside.spice`, which import
nothing of the package; what an engine can tell of kinds, and of volts that nothing fixes, is said here once more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import sqrt
from pathlib import Path
from random import Random

import numpy as np

from tapplan.bench.fed import FedCircuit
from tapplan.bench.values import ANY
from tapplan.control.away import away_of
from tapplan.control.drop import loaded
from tapplan.control.source import source_of
from tapplan.design.file import parse
from tapplan.design.model import Backup, Design
from tapplan.errors import DesignError
from tapplan.network.circuit import Across, Circuit, Closed, circuit_of
from tapplan.network.faults import Fault, closed_under, edited, single_faults, wiring_faults
from tapplan.network.flow import flows, stated_impedances
from tapplan.network.states import State, state_of
from tapplan.network.turns import USABLE, Gain, Kind, Outcome, outcome, potentials, sensed_ratio, shorts_turns
from tapplan.rating.carried import Cases, Excitation, cases_of, load_of
from tapplan.rating.fed import Fed, fed
from tapplan.rating.feeds import feed_case
from tapplan.rating.gaps import LastingState, gap
from tapplan.rating.iron import iron_of
from tests.engines.tallied import Tally
from tests.outside.copper import Copper, copper, damaged
from tests.outside.spice import NONE, Deck, Phasors, Run, answered
from tests.outside.wirings import random_wiring

NGSPICE = "ngspice"
JOINED = 1e-10  # ohm
ASIDE = 0.05  # of the guard's volts: what follows it by more is held by nothing else
STILL = 1e-6  # of 1 V: what the iron moves by less is fixed by turns
RATIO, LOADED = 1e-9, 1e-5
CURRENT = 5e-5  # of the largest: what the engine's cores take
LEAKED = 1e-5  # of 1 V: what leaks make across a winding of a core that nothing drives
OPEN = Run(line_ohm=NONE)
PLAIN, IRONS = Run(mains=1), Run(mains=1, irons=True)
KIND_RUNS = (
    PLAIN,
    IRONS,
    Run(mains=1, load_ohm=1e4),
    Run(mains=1, load_ohm=1e4, irons=True),
    Run(guard=1),
    Run(guard=1, line_ohm=NONE),
)

Judge = Callable[[list[Phasors]], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """A deck to be run, and what is then said of the phasors."""

    deck: Deck
    judge: Judge


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage for both sides."""

    name: str
    design: Design
    circuit: Circuit
    copper: Copper
    chance: Random
    tally: Tally


def stage_of(text: str, name: str, tally: Tally) -> Stage | None:
    """A stage, or None for a text that the reader refuses."""
    try:
        design = parse(text)
    except DesignError:
        return None
    return Stage(name, design, circuit_of(design), copper(text), Random(name), tally)


def ask_copper(stage: Stage) -> Iterator[Asked]:
    """Every question about one stage."""
    states = _states(stage)
    for energised in states[:4]:
        yield _asked_state(stage, energised)
    yield _asked_mixture(stage)
    yield from _asked_faults(stage, states[0])
    usable = [one for one in (state_of(stage.circuit, energised) for energised in states) if one.usable]
    for state in usable[:3]:
        yield _asked_load(stage, state)
        yield from _asked_bridge(stage, state)
    if usable:
        yield from _asked_source(stage, usable[0])
    for state in (state_of(stage.circuit, energised) for energised in states[:3]):
        if state.kind is not Kind.SHORTED and stage.design.feeds:
            yield from _asked_feed(stage, state)


def _states(stage: Stage) -> list[tuple[str, ...]]:
    """Some states of relays, most of them not shorted."""
    relays, chance = stage.circuit.relays, stage.chance
    found: dict[tuple[str, ...], bool] = {}
    for _ in range(12):
        energised = tuple(relay for relay in relays if chance.random() < 0.5)
        found[energised] = outcome(stage.circuit, stage.circuit.state(energised)).kind is Kind.SHORTED
    sound = [one for one, shorted in found.items() if not shorted]
    return sound + [one for one, shorted in found.items() if shorted][: 1 if sound else 2]


def labels(circuit: Circuit, closed: Closed) -> frozenset[str]:
    """Closed contacts by name."""
    return frozenset(circuit.contacts[number].label for number in closed)


# States: kind, ratio, pair sensed, open contacts


def kind_runs(copper: Copper) -> tuple[Run, ...]:
    """The runs from which a kind can be told; the last are one a core."""
    return (*KIND_RUNS, *(Run(core=number, line_ohm=NONE) for number in range(len(copper.cores))))


def kind_found(copper: Copper, runs: list[Phasors]) -> str:
    """What the engine says a stage does, in the order in which the kinds are tested."""
    plain, _, under, under_irons, guarded, opened, *cores = runs
    driven = [run.per_turn[core] for run, core in zip(cores, copper.cores, strict=True)]
    if any(abs(volts.imag) < abs(volts.real) for volts in driven):  # held by ohms, not by iron
        return "shorted"
    if plain.line.real > max(1e-3, abs(plain.line.imag)):
        return "shorted"
    out = copper.output
    if abs(opened.points[copper.line]) > ASIDE:
        return "bypass" if abs(under.points[out] - 1) < STILL else "unfed"
    if abs(guarded.points[out]) > ASIDE:
        moved = any(abs(under.per_turn[core] - under_irons.per_turn[core]) > STILL for core in copper.cores)
        return "undetermined" if moved else "floating"
    ratio, moved_to = under.points[out], under_irons.points[out]
    if max(abs(ratio - moved_to), abs(ratio - plain.points[out])) > 1e-5 * max(1, abs(ratio)) ** 2:
        return "undetermined"
    value = plain.points[out].real
    if abs(value) < 1e-9:
        return "dead"
    if value < 0:
        return "reversed"
    if abs(value - 1) < 1e-9:
        return "direct"
    return "boost" if value > 1 else "buck"


def _asked_state(stage: Stage, energised: tuple[str, ...]) -> Asked:
    closed = stage.circuit.state(energised)
    found = outcome(stage.circuit, closed)
    case = f"{stage.name} {'+'.join(energised) or 'rest'}"
    deck = Deck(stage.copper, stage.copper.closed(frozenset(energised)), kind_runs(stage.copper))
    assert labels(stage.circuit, closed) == deck.closed

    def judge(runs: list[Phasors]) -> None:
        _judge_outcome(stage, "state", found, deck.copper, runs, case)
        if found.kind is not Kind.SHORTED:
            _judge_pair(stage, closed, found, runs, case)
            _judge_gaps(stage, closed, runs, case)
        if found.kind in USABLE:
            _judge_flux(stage, energised, runs, case)

    return Asked(deck, judge)


def _judge_flux(stage: Stage, energised: tuple[str, ...], runs: list[Phasors], case: str) -> None:
    """The flux that the inductors' own ampere-turns make at 230 V, 1 henry a turn squared."""
    iron, of, (plain, irons, *_) = iron_of(stage.design), stage.copper, runs
    if iron is None or iron.net_mm2 is None or iron.name not in of.cores:
        return
    if abs(plain.per_turn[iron.name] - irons.per_turn[iron.name]) > STILL:
        stage.tally.of("flux density, by ampere-turns", NGSPICE, LOADED).outcomes["hangs on the iron"] += 1
        return
    excitation = Excitation((stage.circuit.state(energised),), np.array([230.0]))
    cases = cases_of(stage.design, stage.circuit, excitation, load_of(stage.design))
    ours = iron.flux_t(float(cases.per_turn[0, of.cores.index(iron.name)]), of.hertz) or 0.0
    amperes = sum(plain.windings[one.name] * one.turns for one in of.windings if one.core == iron.name)
    tesla = sqrt(2) * abs(230 * amperes) / (iron.net_mm2 * 1e-6)
    stage.tally.of("flux density, by ampere-turns", NGSPICE, LOADED).near(ours, tesla, case)


def _asked_mixture(stage: Stage) -> Asked:
    """Relays in flight, and contacts bridged or burnt, in any mixture."""
    numbers = range(len(stage.circuit.contacts))
    share = stage.chance.choice((0.2, 0.35, 0.5))
    closed = frozenset(number for number in numbers if stage.chance.random() < share)
    found = outcome(stage.circuit, closed)
    deck = Deck(stage.copper, labels(stage.circuit, closed), kind_runs(stage.copper))
    case = f"{stage.name} {sorted(deck.closed)}"
    return Asked(deck, lambda runs: _judge_outcome(stage, "mixture", found, stage.copper, runs, case))


def _judge_outcome(stage: Stage, what: str, found: Outcome, of: Copper, runs: list[Phasors], case: str) -> None:
    kind = kind_found(of, runs)
    row = stage.tally.of(f"{what}: kind", NGSPICE)
    if (found.kind, kind) == (Kind.UNDETERMINED, "dead"):
        # The output hangs on a winding of a core that nothing drives: nought by the iron, open by turns alone.
        row.outcomes["undetermined, none by the iron"] += 1
        return
    row.same(str(found.kind), kind, case)
    if isinstance(found, Gain) and str(found.kind) == kind:
        row = stage.tally.of(f"{what}: ratio", NGSPICE, RATIO)
        there, scale = runs[0].points[of.output], max(1.0, float(found.ratio) ** 2)
        row.near(complex(float(found.ratio)), there, case, scale=scale, outcome=_ratio_class(found.ratio))
        if found.turns_in is not None and what == "state":
            _judge_turns(stage, found, runs[0], case)


def _judge_turns(stage: Stage, found: Gain, plain: Phasors, case: str) -> None:
    """Line turns times the volts per turn of some core are the line's volts, output turns the output's."""
    turns_in, turns_out = float(found.turns_in or 0), float(found.turns_out or 0)
    per_turn = min(plain.per_turn.values(), key=lambda volts: abs(turns_in * volts - 1))
    row = stage.tally.of("turns that line and output stand on", NGSPICE, RATIO)
    row.near(turns_in * per_turn, 1, case, outcome="line")
    row.near(turns_out * per_turn, float(found.ratio), case, outcome="output")


def _ratio_class(ratio: Fraction) -> str:
    if ratio in (0, 1):
        return str(ratio)
    return "below 0" if ratio < 0 else "below 1" if ratio < 1 else "above 1"


def _fixed(runs: list[Phasors], high: str, low: str) -> bool:
    """Whether the volts between two points hang on neither guard nor iron, without load."""
    plain, irons, guarded = runs[0], runs[1], runs[4]
    moved = abs(plain.between(high, low) - irons.between(high, low))
    return abs(guarded.between(high, low)) < ASIDE and moved < STILL


def _judge_pair(stage: Stage, closed: Closed, found: Outcome, runs: list[Phasors], case: str) -> None:
    if stage.circuit.sensed is None or stage.copper.at is None:
        return
    ratio, there = sensed_ratio(stage.circuit, closed, found), runs[0].between(*stage.copper.at)
    row = stage.tally.of("pair of points read", NGSPICE, RATIO)
    if ratio is not None:
        ratio_class = _ratio_class(ratio) if _fixed(runs, *stage.copper.at) else "told, but not fixed"
        row.near(complex(float(ratio)), there if ratio_class[0] != "t" else complex("nan"), case, outcome=ratio_class)
    else:
        row.outcomes["told as not fixed, is " + ("fixed" if _fixed(runs, *stage.copper.at) else "not")] += 1


def _judge_gaps(stage: Stage, closed: Closed, runs: list[Phasors], case: str) -> None:
    row = stage.tally.of("volts across an open contact, mains", NGSPICE, LEAKED)
    for contact in stage.circuit.contacts:
        found = gap(stage.circuit, contact, [LastingState("state", closed, 230.0)])
        ends = _gap_points(stage.circuit, contact.relay, contact.pole)
        fixed = _fixed(runs, *ends)
        if found.volts is not None:
            there = abs(runs[0].between(*ends)) if fixed else float("nan")
            row.near(found.volts / 230, there, f"{case} {contact.label}", outcome="0" if not found.volts else "volts")
        else:
            row.outcomes["told as not fixed, is " + ("fixed" if fixed else "not")] += 1


def _gap_points(circuit: Circuit, relay: int, pole: int) -> tuple[str, str]:
    """The points between which a pole's open gap stands: its throws, or its common and its only throw."""
    own = [one for one in circuit.contacts if (one.relay, one.pole) == (relay, pole)]
    ends = [one.end for one in own] if len(own) == 2 else [own[0].com, own[0].end]
    return circuit.points[ends[0]], circuit.points[ends[1]]


# Faults: output, and what a meter shows


def _asked_faults(stage: Stage, energised: tuple[str, ...]) -> Iterator[Asked]:
    faults = [*single_faults(stage.circuit), *wiring_faults(stage.circuit)]
    by_name: dict[str, list[Fault]] = {}
    for one in faults:
        by_name.setdefault(one.fault, []).append(one)
    for name in stage.chance.sample(sorted(by_name), min(3, len(by_name))):
        yield _asked_fault(stage, stage.chance.choice(by_name[name]), energised)


def _asked_fault(stage: Stage, fault: Fault, energised: tuple[str, ...]) -> Asked:
    circuit = edited(stage.circuit, fault)
    closed = closed_under(circuit, [fault], energised)
    found = outcome(circuit, closed)
    broken = damaged(stage.copper, (fault.part, fault.fault, fault.other or ""), frozenset(energised))
    case = f"{stage.name} {'+'.join(energised) or 'rest'} with {fault.part} {fault.fault} {fault.other or ''}"
    ends = [one for one in broken.copper.points if one in stage.circuit.points]
    across = stage.chance.choice([(ends[0], ends[-1]), tuple(stage.chance.sample(ends, 2))])
    meter = [tuple(stage.chance.sample(ends, 2)) for _ in range(4)]
    supplied = (
        Run(line_ohm=NONE, supply=1, supply_ohm=JOINED),
        Run(line_ohm=NONE, supply=1, supply_ohm=JOINED, irons=True),
        Run(line_ohm=NONE, guard=1, supply_ohm=JOINED),
    )
    runs = kind_runs(broken.copper)
    deck = Deck(broken.copper, broken.closed, (*runs, *supplied), across=across)

    def judge(found_runs: list[Phasors]) -> None:
        _judge_outcome(stage, f"fault {fault.fault}", found, broken.copper, found_runs[: len(runs)], case)
        bench = FedCircuit(circuit, potentials(circuit, closed), _across(circuit, across), Fraction(1))
        _judge_meter(stage, bench, meter, found_runs[len(runs) :], f"{case}, {across} fed")

    return Asked(deck, judge)


def _across(circuit: Circuit, pair: tuple[str, str]) -> Across:
    return Across(*(circuit.points.index(point) for point in pair))


def _judge_meter(
    stage: Stage, bench: FedCircuit, meter: list[tuple[str, str]], runs: list[Phasors], case: str
) -> None:
    row = stage.tally.of("meter on a faulty stage, two points fed", NGSPICE, LEAKED)
    plain, irons, guarded = runs
    for high, low in meter:
        told = bench.between(*_across(bench.circuit, (high, low)).points, loaded=False)
        seen, moved = plain.between(high, low), irons.between(high, low)
        fixed = abs(guarded.between(high, low)) < ASIDE and abs(seen - moved) < STILL * max(1, abs(seen)) ** 2
        if told == ANY:
            row.outcomes["any: " + ("shorted" if bench.shorted else "fixed" if fixed else "not fixed")] += 1
            continue
        (span,) = told
        there = abs(seen) if fixed else float("nan")
        outcome = "0" if not span.high else "volts"
        row.near(float(span.high), there, f"{case}, read {high} {low}", outcome=outcome)


# With the load on


@dataclass(frozen=True, slots=True)
class Behind:
    """What the engine says stands behind the output: open volts and impedance."""

    opened: complex
    ohm: complex


def load_current(behind: Behind, of: Copper, power_factor: float) -> complex:
    """The load's current by trying: the highest output at which load and stage agree; nan where there is none."""
    if not of.va:
        return 0j
    turn = complex(power_factor, -sqrt(1 - power_factor**2))
    if of.model == "impedance":
        ohm = of.nominal**2 / of.va * turn.conjugate()
        return behind.opened / (behind.ohm + ohm)

    def off(volts: np.ndarray | float) -> np.ndarray | float:
        size = of.va / of.nominal if of.model == "current" else of.va / volts
        return abs(volts + behind.ohm * size * turn) - abs(behind.opened)

    top = abs(behind.opened)
    tried = np.linspace(1.2 * top, 1e-6 * top, 20_001)
    signs = np.sign(off(tried))
    below = np.flatnonzero(signs <= 0)
    if not len(below):
        return complex("nan")
    high, low = float(tried[max(below[0] - 1, 0)]), float(tried[below[0]])
    for _ in range(200):
        middle = (high + low) / 2
        high, low = (middle, low) if off(middle) > 0 else (high, middle)
    size = of.va / of.nominal if of.model == "current" else of.va / low
    whole = low + behind.ohm * size * turn
    return size * turn * behind.opened / whole


def _asked_load(stage: Stage, state: State) -> Asked:
    closed = stage.circuit.state(state.energised)
    volts = round(stage.chance.uniform(90, 320), 2)
    deck = Deck(stage.copper, labels(stage.circuit, closed), (PLAIN, Run(load_a=1), IRONS), resistive=True)
    case = f"{stage.name} {'+'.join(state.energised) or 'rest'} {stage.copper.model} at {volts} V"

    def judge(runs: list[Phasors]) -> None:
        excitation = Excitation((closed,), np.array([volts]))
        cases = cases_of(stage.design, stage.circuit, excitation, load_of(stage.design))
        _judge_cases(stage, cases, runs, volts, case)
        _judge_full(stage, state, runs, case)

    return Asked(deck, judge)


def _judge_cases(stage: Stage, cases: Cases, runs: list[Phasors], volts: float, case: str) -> None:
    """Every current and voltage of one case; `runs` are 1 V at the source, 1 A drawn, 1 V with other iron."""
    of, tally = stage.copper, stage.tally
    plain, drawing, _ = runs
    behind = Behind(volts * plain.points[of.output], -drawing.points[of.output])
    drawn = load_current(behind, of, of.power_factor)
    lost = drawn != drawn
    tally.of("the load can be carried", NGSPICE).same(
        bool(np.isnan(cases.load_a[0])), lost, case, "no" if lost else "yes"
    )
    if lost or np.isnan(cases.load_a[0]):
        return
    amperes = max(abs(drawn), 1e-3)
    output = behind.opened - behind.ohm * drawn
    tally.of(f"output under load, {of.model}", NGSPICE, LOADED).near(complex(cases.output[0]), output, case)
    row = tally.of("current of a winding, under load", NGSPICE, CURRENT)
    scale = max([amperes, *(abs(volts * plain.windings[one]) for one in plain.windings)])
    for number, one in enumerate(of.windings):
        there = volts * plain.windings[one.name] + drawn * drawing.windings[one.name]
        row.near(complex(cases.sections[0, number]), there, f"{case} {one.name}", scale=scale, outcome=_size(there))
    row = tally.of("current of a contact, under load", NGSPICE, CURRENT)
    for number, contact in enumerate(stage.circuit.contacts):
        there = volts * plain.throws[contact.label] + drawn * drawing.throws[contact.label]
        case_of = f"{case} {contact.label}"
        row.near(complex(cases.contacts[0, number]), there, case_of, scale=scale, outcome=_size(there))
    _judge_per_turn(stage, cases, runs, drawn, case)
    source = volts * (plain.line + plain.supply) + drawn * (drawing.line + drawing.supply)  # one of them is off
    tally.of("current of the source, under load", NGSPICE, CURRENT).near(
        complex(cases.source_a[0]), source, case, scale=scale
    )


def _size(current: complex) -> str:
    return "flows" if abs(current) > 1e-4 else "none"


def _judge_per_turn(stage: Stage, cases: Cases, runs: list[Phasors], drawn: complex, case: str) -> None:
    of, tally, volts = stage.copper, stage.tally, float(cases.volts[0])
    plain, drawing, irons = runs
    row = tally.of("volts per turn, with and without load", NGSPICE, LOADED)
    for number, core in enumerate(of.cores):
        open_there = volts * plain.per_turn[core]
        there = open_there + drawn * drawing.per_turn[core]
        if abs(plain.per_turn[core] - irons.per_turn[core]) > LEAKED * max(abs(plain.per_turn[core]), 0.1):
            row.outcomes["hangs on the iron"] += 1
            continue
        idle = max(abs(open_there), abs(there)) < 1e-3  # volts of leaks, far below a volt
        for ours, theirs, what in (
            (cases.per_turn, open_there, "open"),
            (cases.loaded_per_turn, there, "loaded"),
        ):
            scale, outcome = (100.0, "idle core") if idle else (1e-3, what)
            row.near(float(ours[0, number]), abs(theirs), f"{case} {core}", scale=scale, outcome=outcome)


def _judge_full(stage: Stage, state: State, runs: list[Phasors], case: str) -> None:
    """The full-load ratio at the lowest input promised, and what a pair reads there; both rounded to 1e-9."""
    of, tally = stage.copper, stage.tally
    plain, drawing, irons = runs
    low = float(stage.design.mains.span.low)
    leaks = any(one.leakage for one in of.windings)
    resistive = of.model == "impedance" and not leaks  # then a resistance, the worst angle, is taken
    behind = Behind(low * plain.points[of.output], -drawing.points[of.output])
    drawn = load_current(behind, of, 1.0 if resistive else of.power_factor)
    found = loaded(stage.design, stage.circuit, state)
    row = tally.of(f"full-load ratio, {of.model}", NGSPICE, LOADED)
    if drawn != drawn:
        row.near(float(found.ratio or 0), 0.0, case, outcome="collapsed")
        return
    there = abs(behind.opened - behind.ohm * drawn) / low
    row.near(float(found.ratio or 0), there, case, outcome="drops" if there < (state.ratio or 0) - 1e-6 else "none")
    if found.sensed is not None and of.at is not None:
        moved = abs(plain.between(*of.at) - irons.between(*of.at))
        pair = abs(low * plain.between(*of.at) + drawn * drawing.between(*of.at)) / low
        row = tally.of("pair of points read, full load", NGSPICE, LOADED)
        if moved > 10 * LEAKED:
            row.outcomes["hangs on the iron"] += 1
        else:
            row.near(abs(float(found.sensed)), pair, case, scale=10)


def _asked_bridge(stage: Stage, state: State) -> Iterator[Asked]:
    """Both throws of a pole closed: what the shorted turns carry, where every ohm is stated."""
    if not all(one.ohm for one in (*stage.copper.windings, *stage.copper.throws)):
        return
    contact = stage.chance.choice(stage.circuit.contacts)
    own = [
        n for n, one in enumerate(stage.circuit.contacts) if (one.relay, one.pole) == (contact.relay, contact.pole)
    ]
    closed = stage.circuit.state(state.energised) | frozenset(own)
    if not shorts_turns(potentials(stage.circuit, closed)):
        return
    case = f"{stage.name} {'+'.join(state.energised) or 'rest'} bridged {contact.label}"

    def judge(runs: list[Phasors]) -> None:
        flow = flows(stage.circuit, [closed], stated_impedances(stage.design, stage.circuit))
        row, (plain,) = stage.tally.of("currents of a bridged contact, 1 V", NGSPICE, LOADED), runs
        scale = max(1.0, *(abs(one) for one in plain.windings.values()))
        for number, one in enumerate(stage.copper.windings):
            ours = complex(flow.sections[0, 0, number])
            row.near(ours, plain.windings[one.name], f"{case} {one.name}", scale=scale)
        row.near(complex(flow.line[0, 0]), plain.line, f"{case} line", scale=scale)

    yield Asked(Deck(stage.copper, labels(stage.circuit, closed), (PLAIN,), resistive=True), judge)


def _asked_source(stage: Stage, state: State) -> Iterator[Asked]:
    """The source's volts behind its impedance at which the inlet stands at some volts, the load in phase."""
    source, ratio = source_of(stage.design), state.ratio
    if source.stiff or ratio is None:
        return
    inlet = Fraction(stage.chance.randint(1200, 3200), 10)
    emf, of = source.emf(inlet, ratio), stage.copper
    output = float(inlet * ratio)
    runs = {
        "impedance": Run(mains=float(emf), line_ohm=of.source_ohm, load_ohm=of.nominal**2 / of.va),
        "current": Run(mains=float(emf), line_ohm=of.source_ohm, load_a=of.va / of.nominal),
        "power": Run(mains=float(emf), line_ohm=of.source_ohm, load_a=of.va / output),
    }
    case = f"{stage.name} {state.energised} {of.model} at {float(inlet)} V behind {of.source_ohm} ohm"
    closed = labels(stage.circuit, stage.circuit.state(state.energised))

    def judge(found: list[Phasors]) -> None:
        below = of.model == "power" and inlet**2 < source.ohm * source.load_va
        row = stage.tally.of("inlet behind a source impedance", NGSPICE, LOADED)
        if below:
            row.outcomes["below the last operating point"] += 1
            return
        row.near(float(inlet), abs(found[0].points[of.line]), case, outcome=of.model)
        row.near(float(source.inlet(emf, ratio)), abs(found[0].points[of.line]), case, outcome=of.model)

    yield Asked(Deck(of, closed, (runs[of.model],)), judge)


# While a feed runs


def _asked_feed(stage: Stage, state: State) -> Iterator[Asked]:
    feed = stage.design.feeds[0]
    found = fed(stage.design, stage.circuit, feed, state)
    winding = next(one for one in stage.copper.windings if one.name == feed.winding)
    across = (winding.finish, winding.start)
    closed = labels(stage.circuit, stage.circuit.state(state.energised))
    case = f"{stage.name} {'+'.join(state.energised) or 'rest'} fed"
    on = {"supply": 1.0, "supply_ohm": JOINED, "line_ohm": NONE}
    runs = (
        Run(**on),
        Run(**on, irons=True),
        Run(**on, load_ohm=1e4),
        Run(**on, load_ohm=1e4, irons=True),
        Run(guard=1, supply_ohm=JOINED, line_ohm=NONE),
        Run(mains=1, supply_ohm=JOINED),
        Run(guard=1, supply_ohm=JOINED),
    )
    yield Asked(Deck(stage.copper, closed, runs, across=across), lambda got: _judge_feed(stage, found, got, case))
    yield from _asked_feed_load(stage, found, across, case)


def _judge_feed(stage: Stage, found: Fed, runs: list[Phasors], case: str) -> None:
    of, tally, volts = stage.copper, stage.tally, float(found.feed.volts_v[1])
    for what, point, told in (("output", of.output, found.output), ("line pin", of.line, found.line)):
        row = tally.of(f"a feed's volts at the {what}", NGSPICE, LEAKED)
        seen = [run.points[point] for run in runs[:4]]
        moved = max(abs(one - seen[0]) for one in seen)
        steady = moved < 2 * STILL * max(1, abs(seen[0])) and abs(runs[4].points[point]) < ASIDE
        if told is None:
            row.outcomes["told as not fixed, is " + ("fixed" if steady else "not")] += 1
            continue
        there = abs(seen[0]) if steady else float("nan")
        row.near(float(told.high) / volts, there, case, outcome="0" if not told.high else "volts")
    row = tally.of("no backfeed while a feed runs", NGSPICE)
    lives = any(abs(run.points[of.line]) > 1e-7 for run in runs[:4])
    row.same(
        found.inlet_live or not lives,
        True,
        case,
        f"{'live' if found.inlet_live else 'dead'}, {'volts' if lives else 'none'}",
    )
    _judge_fed_gaps(stage, found, runs, case)
    _judge_away(stage, found, runs, case)


def _judge_away(stage: Stage, found: Fed, runs: list[Phasors], case: str) -> None:
    """With the load away in this state, what is read is told only where the feed does not reach it."""
    if stage.copper.at is None:
        return
    volts = (Fraction(1), Fraction(2))
    backup = Backup(leave_v=volts, return_v=volts, energised=found.state.energised)
    told = away_of(replace(stage.design, backup=backup), stage.circuit).sensed
    reached = any(abs(run.between(*stage.copper.at)) > LEAKED for run in runs[:4])
    row = stage.tally.of("no feed is read while away", NGSPICE)
    row.same(
        told is None or not reached,
        True,
        case,
        f"{'none' if told is None else 'told'}, {'fed' if reached else 'not fed'}",
    )


def _judge_fed_gaps(stage: Stage, found: Fed, runs: list[Phasors], case: str) -> None:
    row = stage.tally.of("volts across an open contact, feed and mains", NGSPICE, LEAKED)
    state = LastingState("fed", stage.circuit.state(found.state.energised), 230.0, found)
    fed_v = float(found.feed.volts_v[1])
    for contact in stage.circuit.contacts:
        told = gap(stage.circuit, contact, [state])
        ends = _gap_points(stage.circuit, contact.relay, contact.pole)
        moved = abs(runs[0].between(*ends) - runs[1].between(*ends)) / 100
        guarded = runs[4 if found.inlet_live else 6]  # a line pin that is dead floats until the mains are back
        fixed = abs(guarded.between(*ends)) < ASIDE and moved < STILL * max(1, abs(runs[0].between(*ends)))
        mains = 0.0 if found.inlet_live else abs(runs[5].between(*ends)) * 230
        if told.volts is None:
            row.outcomes["told as not fixed, is " + ("fixed" if fixed else "not")] += 1
        else:
            there = (mains + abs(runs[0].between(*ends)) * fed_v) if fixed else float("nan")
            outcome = "0" if not told.volts else "with the mains" if mains > 1 else "by the feed"
            row.near(told.volts, there, f"{case} {contact.label}", scale=230, outcome=outcome)


def _asked_feed_load(stage: Stage, found: Fed, across: tuple[str, str], case: str) -> Iterator[Asked]:
    made = feed_case(stage.design, stage.circuit, found)
    if made is None or found.fault is not None or found.output is None:
        return
    off = {"supply_ohm": JOINED, "line_ohm": NONE}
    runs = (Run(supply=1, **off), Run(load_a=1, **off), Run(supply=1, irons=True, **off))
    closed = labels(stage.circuit, stage.circuit.state(found.state.energised))
    deck = Deck(stage.copper, closed, runs, across=across, resistive=True)

    def judge(got: list[Phasors]) -> None:
        volts = float(made.cases.volts[0])
        _judge_cases(stage, made.cases.of(slice(0, 1)), got, volts, f"{case} {stage.copper.model} at {volts} V")

    yield Asked(deck, judge)


def compare_copper(seeds: range, folder: Path, tally: Tally) -> None:
    """Every question about the stages of these seeds."""
    asked: list[Asked] = []
    for seed in seeds:
        stage = stage_of(random_wiring(Random(seed)), f"seed {seed}", tally)
        if stage is None:
            tally.of("designs", NGSPICE).outcomes["refused by the reader"] += 1
            continue
        tally.of("designs", NGSPICE).same(1, 1, stage.name, f"{len(stage.circuit.relays)} relays")
        asked += ask_copper(stage)
    for one, runs in zip(asked, answered([one.deck for one in asked], folder), strict=True):
        one.judge(runs)
