"""Circuits as ngspice decks, run many at a time in one process.

Settings that make ngspice exact: inductance = turns squared (henry), coupling 1.0, a micro-ohm in series with
every winding, 12 printed digits. Closed contacts are merged into one node by a flood fill of its own; nothing
here uses the solver.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import pytest

from tapplan.network.circuit import Circuit, Closed

NGSPICE = shutil.which("ngspice")


def need_ngspice() -> None:
    """Skips without ngspice, with the reason; in CI its absence is a failure."""
    if NGSPICE is None:
        if os.environ.get("CI") == "true":
            pytest.fail("ngspice is not installed, and CI must not go without it")
        pytest.skip("ngspice is not installed: apt-get install ngspice")


@dataclass(frozen=True)
class Case:
    """One circuit with its closed contacts, to be measured from line to output."""

    circuit: Circuit
    closed: Closed
    load_ohm: Fraction | None = None
    resistive: bool = False


def nodes(case: Case) -> list[int]:
    """A node number for each point; points joined by contacts without resistance share one. Neutral is 0."""
    circuit = case.circuit
    count = len(circuit.points)
    links: list[set[int]] = [set() for _ in range(count)]
    for number in case.closed:
        contact = circuit.contacts[number]
        if not (case.resistive and contact.ohm):
            links[contact.com].add(contact.end)
            links[contact.end].add(contact.com)
    named = [-1] * count
    for place, start in enumerate([circuit.neutral, *range(count)]):
        waiting = [start]
        while waiting:
            point = waiting.pop()
            if named[point] < 0:
                named[point] = place
                waiting += links[point]
    return named


def deck(case: Case) -> str:
    """The netlist: 1 V at the line, the output printed."""
    node = nodes(case)
    circuit = case.circuit
    lines = ["* one relay state", f"Vin {node[circuit.line]} 0 DC 0 AC 1"]
    used = set()
    for number, section in enumerate(circuit.sections):
        low, high = node[section.start], node[section.finish]
        used |= {low, high}
        ohm = float(section.resistance_ohm or 0) if case.resistive else 0
        lines.append(f"R{number} {high} m{number} {ohm or 1e-6!r}")
        lines.append(f"L{number} m{number} {low} {section.turns**2}")
        for other in range(number):
            if circuit.sections[other].core == section.core:
                lines.append(f"K{other}x{number} L{other} L{number} 1.0")
    for number in case.closed:
        contact = circuit.contacts[number]
        if case.resistive and contact.ohm:
            ends = node[contact.com], node[contact.end]
            used |= set(ends)
            lines.append(f"RC{number} {ends[0]} {ends[1]} {float(contact.ohm)!r}")
    out = node[circuit.output]
    used |= {out, node[circuit.line]}
    lines += [f"RB{n} {n} 0 1e12" for n in sorted(used) if n != 0]
    if case.load_ohm is not None:
        lines.append(f"RL {out} 0 {float(case.load_ohm)!r}")
    lines += [f"Rout {out} probe 1e-6", "Rprobe probe 0 1e12", ".end"]
    return "\n".join(lines) + "\n"


def measured(cases: Sequence[Case], folder: Path) -> list[float]:
    """The output of each case for 1 V at the line, signed: negative in antiphase."""
    script = ["* all cases", ".control", "set numdgt=12", "set noaskquit"]
    for number, case in enumerate(cases):
        (folder / f"case{number}.cir").write_text(deck(case))
        script += [f"source case{number}.cir", "ac lin 1 50 50", f"echo case {number}", "print real(v(probe))"]
        script += ["destroy all", "remcirc"]
    script += ["quit", ".endc", ".end"]
    (folder / "all.cir").write_text("\n".join(script) + "\n")
    run = subprocess.run(
        [NGSPICE or "ngspice", "-b", "all.cir"], cwd=folder, capture_output=True, text=True, timeout=600, check=False
    )
    found: dict[int, float] = {}
    at = -1
    for line in run.stdout.splitlines():
        if match := re.match(r"case (\d+)", line):
            at = int(match.group(1))
        elif match := re.match(r"real\(v\(probe\)\) = (\S+)", line):
            found[at] = float(match.group(1))
    missing = [number for number in range(len(cases)) if number not in found]
    assert not missing, f"ngspice gave no answer for cases {missing[:5]}:\n{run.stdout[-2000:]}\n{run.stderr[-2000:]}"
    return [found[number] for number in range(len(cases))]
