"""ngspice in the time domain: one move of two relays through its intermediate states, plateau by plateau.

Switches take the contacts' place, driven by steps in time; windings are coupled inductors of turns squared henry. The
line is 1 V RMS at 50 Hz; each plateau lasts ten cycles and is measured over its last two.
"""

from __future__ import annotations

import re
import subprocess
from fractions import Fraction
from math import sqrt
from pathlib import Path

import pytest

from tapplan.control.moves import Mixtures, Order, move_between, orders
from tapplan.control.standing import InRow
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.network.circuit import Circuit
from tapplan.network.states import state_of
from tests.engines.netlists import NGSPICE, need_ngspice
from tests.examples import ROOT

PLATEAU = 0.2  # seconds
TABLE = control_table(load(ROOT / "designs" / "ridge-dispensary.toml"))
MOVE = move_between(TABLE, InRow(1), InRow(2))


def deck(circuit: Circuit, order: Order) -> str:
    """The whole move: old state, then each relay of the order open and closed again, a plateau each."""
    stages = [dict.fromkeys(circuit.relays, "")]
    driven = {relay: relay in MOVE.old for relay in circuit.relays}
    stages = [{relay: "no" if driven[relay] else "nc" for relay in circuit.relays}]
    for relay in order.relays:
        stages.append({**stages[-1], relay: "open"})
        driven[relay] = not driven[relay]
        stages.append({**stages[-1], relay: "no" if driven[relay] else "nc"})
    lines = [
        "* a move in time",
        f"Vin p{circuit.line} 0 SIN(0 {sqrt(2)!r} 50)",
        ".model SW SW(VT=0.5 RON=1u ROFF=1e9)",
    ]
    if circuit.neutral != 0:
        lines.append(f"Vn p{circuit.neutral} 0 0")
    for number, section in enumerate(circuit.sections):
        lines.append(f"R{number} p{section.finish} m{number} 1e-5")
        lines.append(f"L{number} m{number} p{section.start} {section.turns**2 / 1e3!r}")
        lines += [f"K{other}x{number} L{other} L{number} 0.99999" for other in range(number)]
    for number, contact in enumerate(circuit.contacts):
        relay = circuit.relays[contact.relay]
        levels = [1 if stage[relay] == contact.throw else 0 for stage in stages]
        points = " ".join(
            f"{place * PLATEAU + (1e-5 if place else 0)!r} {level} {(place + 1) * PLATEAU!r} {level}"
            for place, level in enumerate(levels)
        )
        lines.append(f"VC{number} c{number} 0 PWL({points})")
        lines.append(f"S{number} p{contact.com} p{contact.end} c{number} 0 SW")
    lines += [f"RB{point} p{point} 0 1e7" for point in range(len(circuit.points)) if point != 0]
    out = circuit.output
    end = len(stages) * PLATEAU
    lines += [".options method=gear reltol=1e-5", f".tran 5e-5 {end!r} 0 5e-5"]
    for place in range(len(stages)):
        last = (place + 1) * PLATEAU
        lines.append(f".meas tran plateau{place} RMS v(p{out}) FROM={last - 0.04!r} TO={last!r}")
    return "\n".join([*lines, ".end"]) + "\n"


def plateaus(circuit: Circuit, order: Order, folder: Path) -> list[float]:
    (folder / "move.cir").write_text(deck(circuit, order))
    run = subprocess.run(
        [NGSPICE or "ngspice", "-b", "move.cir"], cwd=folder, capture_output=True, text=True, timeout=300, check=False
    )
    found = dict(re.findall(r"plateau(\d+)\s*=\s*(\S+)", run.stdout))
    assert found, run.stdout[-1500:] + run.stderr[-1500:]
    return [float(found[str(place)]) for place in range(len(found))]


def test_both_orders_of_a_two_relay_move(tmp_path: Path) -> None:
    """The settled plateau in between is the ratio that `moves` names, one way a surge, the other a dip."""
    need_ngspice()
    circuit = TABLE.circuit
    assert (MOVE.name, MOVE.old, MOVE.new) == ('"boost 1" to "direct"', {"KL"}, {"KO"})
    old, new = (state_of(circuit, tuple(driven)).ratio for driven in (MOVE.old, MOVE.new))
    assert old is not None
    assert new is not None
    seen: set[Fraction] = set()
    for order in orders(Mixtures(circuit), MOVE):
        measured = plateaus(circuit, order, tmp_path)
        between = order.settled[0].ratio
        assert between is not None
        assert measured[0] == pytest.approx(float(old), rel=2e-3)
        assert measured[2] == pytest.approx(float(between), rel=2e-3)
        assert measured[4] == pytest.approx(float(new), rel=2e-3)
        for place, flight in ((1, order.flights[0]), (3, order.flights[1])):
            if flight.ratio is None:  # on nothing: the output has gone down to what leaks through open switches
                assert measured[place] < 0.2
        seen.add(between)
    assert min(seen) < min(old, new)
    assert max(seen) > max(old, new)
