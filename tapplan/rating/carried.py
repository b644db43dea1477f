"""What every band carries at both ends of its hold: the network solved once, the load put on it.

All currents grow or shrink steadily along a band, or fall and then rise (a constant-power load), so the worst of each
stands at one of the two ends, whatever the load: both are worked out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Complex, Floats, Mask
from tapplan.control.table import ControlTable, Row
from tapplan.design.model import Design
from tapplan.exact import Span
from tapplan.network.circuit import Across, Circuit, Closed
from tapplan.network.flow import Flow, Impedances, flows, stated_impedances
from tapplan.network.load import Load, load_current
from tapplan.rating.iron import Iron, iron_of


@dataclass(frozen=True, slots=True)
class Excitation:
    """Relay states, one a case, each at its own RMS volts of the source: `between` two points, else at the inlet."""

    closed: tuple[Closed, ...]
    volts: Floats
    between: Across | None = None


@dataclass(frozen=True, slots=True)
class Cases:
    """What flows in some cases, one a row, with the load on; nan where the load cannot be carried.

    `flow` are the linear answers of each case. `source_a`, `sections` and `contacts` are complex ampere, `opened` and
    `output` complex volts without and with the load; `per_turn` is volts per turn of each core without load,
    `loaded_per_turn` with it, or without where the load cannot be carried.
    """

    flow: Flow
    volts: Floats
    opened: Complex
    output: Complex
    load_a: Complex
    sections: Complex
    contacts: Complex
    source_a: Complex
    per_turn: Floats
    loaded_per_turn: Floats

    @property
    def worst_per_turn(self) -> Floats:
        """The larger of both, for the flux: in a buck the load's drop raises it."""
        return np.maximum(self.per_turn, self.loaded_per_turn)

    @property
    def collapsed(self) -> Mask:
        """In which cases the load cannot be carried."""
        return np.isnan(self.output)

    def of(self, places: slice) -> Cases:
        """Some of the cases."""
        return Cases(
            self.flow.of(places),
            self.volts[places],
            self.opened[places],
            self.output[places],
            self.load_a[places],
            self.sections[places],
            self.contacts[places],
            self.source_a[places],
            self.per_turn[places],
            self.loaded_per_turn[places],
        )


@dataclass(frozen=True, slots=True)
class Carried:
    """The bands that hold something of the mains range, in order; `cases` are their low and high ends in turn.

    Arrays run over bands, then over their two ends. `line_v` are true inputs. `impedances` leave the cores ideal;
    in `cases` each core is as at the volts per turn there.
    """

    circuit: Circuit
    rows: tuple[Row, ...]
    impedances: Impedances
    cases: Cases
    line_v: Floats

    def at_ends(self, of_cases: Complex) -> Complex:
        """One of the arrays of `cases`, by band and end."""
        return of_cases.reshape((len(self.rows), 2, *of_cases.shape[1:]))

    def band(self, place: int) -> Cases:
        """The two cases of one band, its low end first."""
        return self.cases.of(slice(2 * place, 2 * place + 2))

    @property
    def output(self) -> Complex:
        """Output volts with the load on, complex."""
        return self.at_ends(self.cases.output)

    @property
    def load_a(self) -> Complex:
        """The load's current, complex."""
        return self.at_ends(self.cases.load_a)

    @property
    def sections(self) -> Complex:
        """The current of every section, complex."""
        return self.at_ends(self.cases.sections)

    @property
    def line_a(self) -> Complex:
        """The inlet's current, complex."""
        return self.at_ends(self.cases.source_a)

    @property
    def per_turn(self) -> Floats:
        """Volts per turn of each core, without load."""
        return self.cases.per_turn.reshape((len(self.rows), 2, len(self.circuit.cores)))

    @property
    def loaded_per_turn(self) -> Floats:
        """Volts per turn of each core, with the load on."""
        return self.cases.loaded_per_turn.reshape((len(self.rows), 2, len(self.circuit.cores)))


def load_of(design: Design) -> Load:
    """The load the file states; nought where it states none."""
    output = design.output
    return Load(float(output.load_va or 0), float(output.nominal_v), float(output.power_factor), output.load_model)


def carried(table: ControlTable) -> Carried:
    """Every band of a table with its load on, at both ends of its real hold within the mains range."""
    design, circuit = table.design, table.circuit
    kept = [(row, span) for row in table.rows if row.state.usable and (span := _inside(table, row)) is not None]
    rows = tuple(row for row, _ in kept)
    line_v = np.array([(float(span.low), float(span.high)) for _, span in kept], dtype=np.float64).reshape(
        len(kept), 2
    )
    closed = tuple(circuit.state(row.energised) for row in rows for _ in range(2))
    cases = cases_of(design, circuit, Excitation(closed, line_v.ravel()), load_of(design))
    return Carried(circuit, rows, stated_impedances(design, circuit), cases, line_v)


def _inside(table: ControlTable, row: Row) -> Span | None:
    """What the band really holds of the mains range."""
    real = row.real_hold(table.blur)
    return real.meet(table.design.mains.span) if real is not None else None


def cases_of(design: Design, circuit: Circuit, excitation: Excitation, load: Load) -> Cases:
    """The network solved for every case, each core as it is at the volts per turn there, and the load put on."""
    flow = flows(circuit, excitation.closed, _magnetised(design, circuit, excitation), excitation.between)
    volts = excitation.volts
    by_source, by_load = flow.output(circuit).T
    opened = np.asarray(volts * by_source, dtype=np.complex128)
    drawn = load_current(load, opened, np.asarray(-by_load, dtype=np.complex128))

    def both(linear: Complex) -> Complex:
        return np.asarray(volts * linear[:, 0].T + drawn * linear[:, 1].T, dtype=np.complex128).T

    plain, with_load = np.abs(volts * flow.per_turn[:, 0].T).T, np.abs(both(flow.per_turn))
    return Cases(
        flow,
        volts,
        opened,
        np.asarray(opened + by_load * drawn, dtype=np.complex128),
        drawn,
        both(flow.sections),
        both(flow.contacts),
        both(flow.line),
        plain,
        np.where(np.isnan(with_load), plain, with_load),
    )


def _magnetised(design: Design, circuit: Circuit, excitation: Excitation) -> Sequence[Impedances] | Impedances:
    """The impedances of each case, with the core's magnetising branch where its iron is known.

    The branch stands for the steady sine at the volts per turn of that case without load. Its current lags:
    y = -j F/u^2 u, with F the RMS ampere-turns at that flux; the core loss adds P/u^2.
    """
    plain, iron = stated_impedances(design, circuit), iron_of(design)
    if iron is None or not excitation.closed:
        return plain
    number = circuit.cores.index(iron.name)
    ideal = flows(circuit, excitation.closed, plain, excitation.between).per_turn[:, 0, number]
    hertz = float(design.mains.frequency_hz[0])
    return [
        Impedances(
            plain.sections,
            plain.contacts,
            tuple(
                _admittance(iron, float(per_turn), hertz) if core == number else one
                for core, one in enumerate(plain.cores)
            ),
        )
        for per_turn in np.abs(ideal) * excitation.volts
    ]


def _admittance(iron: Iron, per_turn: float, hertz: float) -> complex:
    """Siemens per turn squared at these volts per turn; none where the iron's field is not known."""
    tesla = iron.flux_t(per_turn, hertz) if per_turn > 1e-9 else None
    turns = iron.magnetising_at(tesla) if tesla else None
    if turns is None or tesla is None:
        return 0j
    return complex((iron.loss_w(tesla, hertz) or 0.0) / per_turn**2, -turns / per_turn)
