"""One relay's move in the time domain, plateau by plateau, in circuits with resistances and a load, at any frequency.

Switches take the contacts' place. Each plateau lasts ten cycles and is measured over its last two.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from math import sqrt
from pathlib import Path
from random import Random

import numpy as np

from tapplan.network.circuit import Closed
from tapplan.network.turns import USABLE, Kind, outcome
from tapplan.rating.carried import Excitation, cases_of, load_of
from tests.engines.copper_asked import NGSPICE, Stage, labels, stage_of
from tests.engines.tallied import Tally
from tests.outside.copper import Copper
from tests.outside.wirings import random_wiring

CYCLES, MEASURED = 10, 2
VOLTS = 230.0
OFF = 2e-3  # of the plateau: steps of a two-hundredth of a cycle, and what leaks through open switches


def drawn_move(stage: Stage) -> list[Closed] | None:
    """Old state, one relay in flight, new state: both settled ones usable, the flight no short."""
    circuit, chance = stage.circuit, stage.chance
    for _ in range(30):
        old = frozenset(one for one in circuit.relays if chance.random() < 0.5)
        mover = chance.choice(circuit.relays)
        first, last = circuit.state(old), circuit.state(old ^ {mover})
        kinds = [outcome(circuit, one).kind for one in (first, first & last, last)]
        if kinds[0] in USABLE and kinds[2] in USABLE and kinds[1] is not Kind.SHORTED:
            return [first, first & last, last]
    return None


def deck(of: Copper, closed: list[frozenset[str]]) -> Iterator[str]:
    """The whole move with the load on, the load a resistance."""
    plateau = CYCLES / of.hertz
    node = {point: "0" if point == of.neutral else f"p{number}" for number, point in enumerate(of.points)}
    yield from ("* a move in time", f"Vin {node[of.line]} 0 SIN(0 {VOLTS * sqrt(2)!r} {of.hertz!r})")
    yield from (f"Lone{number} one{number} 0 1" for number, _ in enumerate(of.cores))
    for number, one in enumerate(of.windings):
        core = of.cores.index(one.core)
        yield f"VW{number} {node[one.finish]} r{number} 0"
        yield f"R{number} r{number} m{number} {one.ohm or 1e-4!r}"
        yield f"E{number} m{number} {node[one.start]} one{core} 0 {one.turns!r}"
        yield f"F{number} 0 one{core} vw{number} {one.turns!r}"
    for number, throw in enumerate(of.throws):
        levels = [int(throw.label in there) for there in closed]
        points = " ".join(
            f"{place * plateau + (1e-6 if place else 0)!r} {level} {(place + 1) * plateau!r} {level}"
            for place, level in enumerate(levels)
        )
        yield f"VC{number} c{number} 0 PWL({points})"
        yield f".model SW{number} SW(VT=0.5 RON={throw.ohm or 1e-4!r} ROFF=1e8)"
        yield f"S{number} {node[throw.com]} {node[throw.end]} c{number} 0 SW{number}"
    yield from (f"RB{name} {name} 0 1e8" for name in node.values() if name != "0")
    yield f"RL {node[of.output]} 0 {of.nominal**2 / of.va!r}"
    step = 1 / of.hertz / 200
    yield f".tran {step!r} {len(closed) * plateau!r} 0 {step!r}"
    for place in range(len(closed)):
        last = (place + 1) * plateau
        first = last - MEASURED / of.hertz
        yield f".meas tran plateau{place} RMS v({node[of.output]}) FROM={first!r} TO={last!r}"
    yield ".end"


def compare_moves(seeds: range, folder: Path, tally: Tally) -> None:
    """Plateaus of random moves of one relay."""
    row = tally.of("a move in time, plateau by plateau", NGSPICE, OFF)
    for seed in seeds:
        stage = stage_of(random_wiring(Random(f"move {seed}")), f"move {seed}", tally)
        move = None if stage is None else drawn_move(stage)
        if stage is None or move is None or stage.copper.output == stage.copper.line:
            continue
        of = replace(stage.copper, windings=tuple(replace(one, leakage=0.0) for one in stage.copper.windings))
        (folder / "move.cir").write_text("\n".join(deck(of, [labels(stage.circuit, one) for one in move])) + "\n")
        run = subprocess.run(
            ["ngspice", "-b", "move.cir"], cwd=folder, capture_output=True, text=True, timeout=300, check=False
        )
        found = dict(re.findall(r"plateau(\d+)\s*=\s*(\S+)", run.stdout))
        bare = tuple(replace(one, leakage_ohm=Fraction(0)) for one in stage.design.windings)
        output = replace(stage.design.output, load_model="impedance", power_factor=Fraction(1))
        design = replace(stage.design, windings=bare, output=output)
        for place, closed in enumerate(move):
            case = f"move {seed} {sorted(labels(stage.circuit, closed))}"
            kind = outcome(stage.circuit, closed).kind
            if str(place) not in found:
                row.disagreements.append(f"{case}: no answer")
            elif kind in USABLE or kind in (Kind.DEAD, Kind.REVERSED):
                cases = cases_of(design, stage.circuit, Excitation((closed,), np.array([VOLTS])), load_of(design))
                row.near(float(abs(cases.output[0])), float(found[str(place)]), case, scale=VOLTS, outcome=str(kind))
            elif kind in (Kind.FLOATING, Kind.UNFED):
                row.near(0.0, float(found[str(place)]), case, scale=VOLTS, outcome=str(kind))
