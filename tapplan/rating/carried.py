"""What every band carries at both ends of what it really holds: the network solved once, the load put on it.

All currents grow or shrink steadily along a band, or fall and then rise (a constant-power load), so the worst of each
stands at one of the two ends, whatever the load: both are worked out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapplan.control.table import ControlTable, Row
from tapplan.design.model import Design
from tapplan.network.circuit import Circuit
from tapplan.network.flow import Complex, Flow, Impedances, flows, stated_impedances
from tapplan.network.load import Load, load_current
from tapplan.rating.iron import Iron, iron_of
from tapplan.rating.wire import bare_wire, ohms

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Carried:
    """The bands that hold something of the mains range, in order; arrays run over bands, then over their two ends.

    `line_v` are true inputs, `output` and `load_a` complex volts and ampere, and `sections`, `contacts`, `line_a` the
    currents with the load on, complex. `per_turn` is volts per turn of each core without load, the higher.
    """

    circuit: Circuit
    rows: tuple[Row, ...]
    impedances: Impedances
    flow: Flow
    line_v: Floats
    output: Complex
    load_a: Complex
    sections: Complex
    contacts: Complex
    line_a: Complex
    per_turn: Floats

    @property
    def open_output(self) -> Complex:
        """Output volts without load."""
        return np.asarray(self.line_v * self.flow.output(self.circuit)[:, 0, np.newaxis], dtype=np.complex128)


def load_of(design: Design) -> Load:
    """The load the file states; nought where it states none."""
    output = design.output
    return Load(float(output.load_va or 0), float(output.nominal_v), float(output.power_factor), output.load_model)


def impedances_of(design: Design, circuit: Circuit, iron: Iron | None) -> Impedances:
    """Ohms as stated; else, where wire and mean turn are known, worked out warm; else none. Ideal cores."""
    stated = stated_impedances(design, circuit)
    sections = tuple(complex(_section_ohm(design, n, iron), z.imag) for n, z in enumerate(stated.sections))
    return Impedances(sections, stated.contacts, stated.cores)


def _section_ohm(design: Design, number: int, iron: Iron | None) -> float:
    winding = design.windings[number]
    if winding.resistance_ohm is not None:
        return float(winding.resistance_ohm)
    if winding.wire_mm is None or iron is None or iron.mean_turn_mm is None or winding.core != iron.name:
        return 0.0
    wire = bare_wire(float(winding.wire_mm))
    return ohms(float(winding.turns), iron.mean_turn_mm, wire, float(design.copper.temperature_c))


def carried(table: ControlTable) -> Carried:
    """Every band of a table with its load on, at both ends of its real hold within the mains range."""
    design, circuit = table.design, table.circuit
    kept = [(row, span) for row in table.rows if row.state.usable and (span := _inside(table, row)) is not None]
    rows = tuple(row for row, _ in kept)
    line_v = np.array([span for _, span in kept], dtype=np.float64).reshape(len(kept), 2)
    impedances = _magnetised(design, circuit, iron_of(design), rows)
    flow = flows(circuit, [circuit.state(row.energised) for row in rows], impedances)
    return _with_load(load_of(design), (circuit, rows, impedances, flow), line_v)


def _inside(table: ControlTable, row: Row) -> tuple[float, float] | None:
    real = row.real_hold(table.error)
    inside = real.meet(table.design.mains.span) if real is not None else None
    return None if inside is None else (float(inside.low), float(inside.high))


def _magnetised(design: Design, circuit: Circuit, iron: Iron | None, rows: tuple[Row, ...]) -> Impedances:
    """The impedances with the core's magnetising branch where its iron is known, taken at nominal volts.

    The current lags: y = -j F/u^2 u, with F the RMS ampere-turns at that flux; the core loss adds P/u^2.
    """
    plain = impedances_of(design, circuit, iron)
    if iron is None or not rows:
        return plain
    turned = flows(circuit, [circuit.state(rows[0].energised)], plain).per_turn[0, 0]
    hertz, number = float(design.mains.frequency_hz[0]), circuit.cores.index(iron.name)
    per_turn = float(abs(turned[number])) * float(design.mains.nominal_v)
    tesla = iron.flux_t(per_turn, hertz) if per_turn else None
    turns = iron.magnetising_at(tesla) if tesla else None
    if turns is None or tesla is None:
        return plain
    loss = (iron.loss_w(tesla, hertz) or 0.0) / per_turn**2
    cores = list(plain.cores)
    cores[number] = complex(loss, -turns / per_turn)
    return Impedances(plain.sections, plain.contacts, tuple(cores))


def _with_load(load: Load, solved: tuple[Circuit, tuple[Row, ...], Impedances, Flow], line_v: Floats) -> Carried:
    circuit, rows, impedances, flow = solved
    output = flow.output(circuit)
    open_volts = np.asarray(line_v * output[:, 0, np.newaxis], dtype=np.complex128)
    behind = np.asarray(-output[:, 1, np.newaxis], dtype=np.complex128)
    drawn = load_current(load, open_volts, behind)

    def both(linear: Complex) -> Complex:
        by_line, by_load = linear[:, 0], linear[:, 1]
        volts, amperes = line_v[:, :, np.newaxis], drawn[:, :, np.newaxis]
        return np.asarray(volts * by_line[:, np.newaxis] + amperes * by_load[:, np.newaxis], dtype=np.complex128)

    line = line_v * flow.line[:, 0, np.newaxis] + drawn * flow.line[:, 1, np.newaxis]
    per_turn = np.abs(line_v[:, :, np.newaxis] * flow.per_turn[:, 0][:, np.newaxis])
    return Carried(
        circuit,
        rows,
        impedances,
        flow,
        line_v,
        np.asarray(open_volts - behind * drawn, dtype=np.complex128),
        drawn,
        both(flow.sections),
        both(flow.contacts),
        np.asarray(line, dtype=np.complex128),
        per_turn,
    )
