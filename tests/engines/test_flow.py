"""ngspice against the loaded network: the output and the current of every winding section, complex, to 1e-6.

Leakage, contacts, a load with a lagging current and the magnetising branch of every core are in both.
"""

from __future__ import annotations

import re
import subprocess
from math import pi
from pathlib import Path
from random import Random

import numpy as np
import pytest

from tapplan.design.file import load
from tapplan.network.circuit import Circuit, Closed, circuit_of
from tapplan.network.flow import Impedances, flows
from tapplan.network.states import each_state
from tests.engines.netlists import NGSPICE, need_ngspice
from tests.examples import SHIPPED, wiring

PERMEANCE = 0.01  # henry per turn squared: a magnetising current that shows
Loaded = tuple[Circuit, Closed, Impedances, complex]  # the last is the load's impedance


def deck(case: Loaded, number: int) -> list[str]:
    """1 V at the line; windings of `PERMEANCE` times turns squared henry, coupled without leakage of their own."""
    circuit, closed, impedances, ohm = case
    lines = [f"* case {number}", f"Vin p{circuit.line} 0 DC 0 AC 1", f"Vn p{circuit.neutral} 0 DC 0 AC 0"]
    for n, section in enumerate(circuit.sections):
        z = impedances.sections[n]
        lines.append(f"R{n} p{section.finish} m{n} {z.real!r}")
        lines.append(f"X{n} m{n} q{n} leak{n}")
        lines += [f".subckt leak{n} a b", f"La a b {max(z.imag, 1e-9) / (2 * pi * 50)!r}", ".ends"]
        lines.append(f"L{n} q{n} s{n} {PERMEANCE * section.turns**2!r}")
        lines.append(f"Vm{n} s{n} p{section.start} DC 0 AC 0")
        lines += [f"K{o}x{n} L{o} L{n} 1.0" for o in range(n) if circuit.sections[o].core == section.core]
    for n in closed:
        contact = circuit.contacts[n]
        lines.append(f"RC{n} p{contact.com} p{contact.end} {impedances.contacts[n]!r}")
    lines += [f"RB{n} p{n} 0 1e12" for n in range(len(circuit.points)) if n not in (circuit.neutral, circuit.line)]
    lines += [f"RL p{circuit.output} load {ohm.real!r}", f"LL load 0 {max(ohm.imag, 1e-9) / (2 * pi * 50)!r}", ".end"]
    return lines


def measured(cases: list[Loaded], folder: Path) -> list[tuple[complex, list[complex]]]:
    """The output and the section currents, start to finish, of each case."""
    script = ["* all", ".control", "set numdgt=12", "set noaskquit"]
    for number, case in enumerate(cases):
        (folder / f"case{number}.cir").write_text("\n".join(deck(case, number)) + "\n")
        wanted = [f"v(p{case[0].output})", *(f"i(vm{n})" for n in range(len(case[0].sections)))]
        script += [f"source case{number}.cir", "ac lin 1 50 50", f"echo case {number}"]
        script += [f"print real({name}) imag({name})" for name in wanted]
        script += ["destroy all", "remcirc"]
    (folder / "all.cir").write_text("\n".join([*script, "quit", ".endc", ".end"]) + "\n")
    run = subprocess.run(
        [NGSPICE or "ngspice", "-b", "all.cir"], cwd=folder, capture_output=True, text=True, timeout=600, check=False
    )
    found: list[list[float]] = []
    for line in run.stdout.splitlines():
        if line.startswith("case "):
            found.append([])
        elif match := re.match(r"(?:real|imag)\(\S+\) = (\S+)", line):
            found[-1].append(float(match.group(1)))
    assert len(found) == len(cases), run.stdout[-1500:] + run.stderr[-1500:]
    numbers = [[complex(a, b) for a, b in zip(one[::2], one[1::2], strict=True)] for one in found]
    return [(one[0], [-current for current in one[1:]]) for one in numbers]  # i(vm) flows from finish to start


def worked_out(case: Loaded) -> tuple[complex, np.ndarray]:
    circuit, closed, impedances, ohm = case
    flow = flows(circuit, [closed], impedances)
    output = flow.output(circuit)[0]
    drawn = output[0] / (ohm - output[1])
    return output[0] + output[1] * drawn, flow.sections[0, 0] + flow.sections[0, 1] * drawn


def random_impedances(circuit: Circuit, chance: Random) -> Impedances:
    leakage = [chance.choice((0, chance.uniform(0.01, 1))) for _ in circuit.sections]
    return Impedances(
        tuple(complex(chance.uniform(0.05, 2), reactance) for reactance in leakage),
        tuple(chance.uniform(0.01, 0.2) for _ in circuit.contacts),
        tuple(-1j / (2 * pi * 50 * PERMEANCE) for _ in circuit.cores),
    )


def agree(cases: list[Loaded], folder: Path) -> None:
    for case, (output, currents) in zip(cases, measured(cases, folder), strict=True):
        ours, sections = worked_out(case)
        assert ours == pytest.approx(output, rel=1e-6, abs=1e-8)
        assert np.abs(sections - np.array(currents)).max() <= 1e-6 * np.abs(sections).max() + 1e-9


def test_every_clean_state_of_every_shipped_design(tmp_path: Path) -> None:
    need_ngspice()
    chance, cases = Random(51), []
    for file in SHIPPED:
        circuit = circuit_of(load(file))
        for state in each_state(circuit):
            if state.usable:
                ohm = complex(chance.uniform(20, 120), chance.uniform(0, 60))
                cases.append((circuit, circuit.state(state.energised), random_impedances(circuit, chance), ohm))
    assert len(cases) > 40
    agree(cases, tmp_path)


def test_hundreds_of_random_networks(tmp_path: Path) -> None:
    need_ngspice()
    chance, cases = Random(52), []
    while len(cases) < 300:
        circuit = circuit_of(wiring(chance.randint, cores=chance.choice((1, 1, 2))))
        for state in each_state(circuit):
            if state.usable and chance.random() < 0.4:
                ohm = complex(chance.uniform(20, 120), chance.uniform(0, 60))
                cases.append((circuit, circuit.state(state.energised), random_impedances(circuit, chance), ohm))
    agree(cases, tmp_path)
