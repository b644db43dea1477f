"""Each band: output under load, power passed through and power transformed, losses, flux, the load it permits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, sqrt
from typing import assert_never

import numpy as np

from tapplan.arrays import Floats
from tapplan.control.table import Row
from tapplan.design.coil import Coil, NotLaid
from tapplan.design.model import Design
from tapplan.network.circuit import Circuit
from tapplan.rating.carried import Carried, Cases
from tapplan.rating.iron import Iron
from tapplan.rating.windings import SectionRating


@dataclass(frozen=True, slots=True)
class Heat:
    """Volts per turn, flux and losses at their worst, with the load or without, in a band or while a feed runs.

    Losses are None where a resistance is missing or the load cannot be carried, `flux_t` without an area. `rise_k` is
    losses times the thermal resistance stated: an estimate, never a type test.
    """

    per_turn_v: float
    flux_t: float | None
    copper_w: float | None
    core_w: float | None
    rise_k: float | None


@dataclass(frozen=True, slots=True)
class BandRating:
    """One band at both ends of what it really holds within the mains range, the worse of the two where one is given.

    `through_va` is the load's volt-amperes, `core_va` half the sum over all sections of the load's share of the
    current times the volts: the two-winding transformer that would do as much. `drop_pct` is how far the load pulls
    the output down. What hangs on the load is None where it cannot be carried.
    """

    row: Row
    line_v: tuple[float, float]
    open_v: tuple[float, float]
    loaded_v: tuple[float | None, float | None]
    drop_pct: float | None
    line_a: float | None
    load_a: float | None
    through_va: float | None
    core_va: float | None
    heat: Heat
    efficiency: float | None
    coil_w: float | None

    @property
    def copper_saved(self) -> float | None:
        """Copper saved against a two-winding transformer of the same power and current density: 1 - core/through."""
        return 1 - self.core_va / self.through_va if self.through_va and self.core_va is not None else None


@dataclass(frozen=True, slots=True)
class Built:
    """What the stage is built of: iron, None where no core is described, sections, and the coil where it is known."""

    iron: Iron | None
    sections: Sequence[SectionRating]
    coil: Coil | NotLaid | None = None


def band_ratings(design: Design, carried: Carried, built: Built) -> list[BandRating]:
    """Every band that holds something of the mains range."""
    return [_band(design, carried, built, place) for place in range(len(carried.rows))]


def _band(design: Design, carried: Carried, built: Built, place: int) -> BandRating:
    row, cases = carried.rows[place], carried.band(place)
    loaded, drawn, line, opened = (np.abs(one) for one in (cases.output, cases.load_a, cases.source_a, cases.opened))
    through, core = loaded * drawn, _core_va(carried.circuit, cases)
    worst = int(np.argmax(core)) if through.any() else 0
    found = heat(design, carried.circuit, cases, built)
    power = known(through[worst] * float(design.output.power_factor))
    return BandRating(
        row,
        (float(carried.line_v[place, 0]), float(carried.line_v[place, 1])),
        (float(opened[0]), float(opened[1])),
        (known(loaded[0]), known(loaded[1])),
        known(100 * (1 - loaded / opened).max()),
        known(line.max()),
        known(drawn.max()),
        known(through[worst]),
        known(core[worst]),
        found,
        _efficiency(power, found),
        _coil_w(design, row),
    )


def known(value: float) -> float | None:
    """A number, or None where there is none."""
    return None if isnan(value) else float(value)


def _core_va(circuit: Circuit, cases: Cases) -> Floats:
    """Half the sum of the load's share of each section's current times the volts of its turns, in each case."""
    share = np.abs(cases.load_a[:, np.newaxis] * cases.flow.sections[:, 1])
    return np.asarray(0.5 * np.sum(share * _section_volts(circuit, cases), axis=1), dtype=np.float64)


def heat(design: Design, circuit: Circuit, cases: Cases, built: Built) -> Heat:
    """The worst of some cases; the flux at the lowest frequency."""
    iron = built.iron
    hertz = float(design.mains.frequency_hz[0])
    per_turn = cases.worst_per_turn
    flux = iron.flux_t(float(per_turn[:, circuit.cores.index(iron.name)].max()), hertz) if iron is not None else None
    copper = _copper_w(circuit, cases, built.sections)
    core = None if iron is None or flux is None else iron.loss_w(flux, hertz)
    return Heat(float(per_turn.max()), flux, copper, core, _rise(iron, copper, core))


def _section_volts(circuit: Circuit, cases: Cases) -> Floats:
    """Volts across the turns of each section in each case, without load."""
    turns = np.array([float(section.turns * circuit.turn_unit) for section in circuit.sections])
    cores = [section.core for section in circuit.sections]
    return np.asarray(cases.per_turn[:, cores] * turns, dtype=np.float64)


def _copper_w(circuit: Circuit, cases: Cases, sections: Sequence[SectionRating]) -> float | None:
    """Copper and contact loss in the worst case; None when a section that carries current has no resistance."""
    squares = np.abs(cases.sections) ** 2
    if any(one.ohm is None and not squares[:, number].max() <= 1e-12 for number, one in enumerate(sections)):
        return None
    ohm = np.array([one.ohm or 0.0 for one in sections])
    contact = np.array([float(one.ohm) for one in circuit.contacts])
    return known((squares @ ohm + np.abs(cases.contacts) ** 2 @ contact).max())


def _efficiency(power: float | None, found: Heat) -> float | None:
    if found.copper_w is None or found.core_w is None or not power:
        return None
    return power / (power + found.copper_w + found.core_w)


def _rise(iron: Iron | None, copper_w: float | None, core_w: float | None) -> float | None:
    if iron is None or iron.core.thermal_k_per_w is None or copper_w is None or core_w is None:
        return None
    return (copper_w + core_w) * float(iron.core.thermal_k_per_w)


def _coil_w(design: Design, row: Row) -> float | None:
    """Power of the coils this band drives; None when one of them states none."""
    driven = [relay.coil_w for relay in design.relays if relay.name in row.energised]
    return None if None in driven else float(sum(watts for watts in driven if watts is not None))


@dataclass(frozen=True, slots=True)
class Permitted:
    """The largest `load_va` of a band at one input, taken as the file's load takes it, and what limits it.

    None: nothing limits it. `stated` says that the limit is the file's own, and not a common practice.
    """

    row: Row
    input_v: float
    va: float | None
    limited_by: str
    stated: bool = True


@dataclass(frozen=True, slots=True, order=True)
class LoadLimit:
    """The load ampere at which something is reached, and what."""

    amperes: float
    name: str
    stated: bool = True


@dataclass(frozen=True, slots=True)
class _End:
    """One end of one band: its place among the cases."""

    carried: Carried
    case: int

    @property
    def row(self) -> Row:
        return self.carried.rows[self.case // 2]

    @property
    def volts(self) -> float:
        return float(self.carried.cases.volts[self.case])

    @property
    def opened(self) -> float:
        """The output's volts without load."""
        return float(abs(self.carried.cases.opened[self.case]))

    @property
    def per_ampere(self) -> complex:
        """The volts lost for each ampere of load."""
        return complex(-self.carried.cases.flow.output(self.carried.circuit)[self.case, 1])

    @property
    def section_shares(self) -> Floats:
        """The current of each section for each ampere of load."""
        return np.asarray(np.abs(self.carried.cases.flow.sections[self.case, 1]), dtype=np.float64)

    @property
    def contact_shares(self) -> Floats:
        """The current of each contact for each ampere of load."""
        return np.asarray(np.abs(self.carried.cases.flow.contacts[self.case, 1]), dtype=np.float64)


def permitted(design: Design, carried: Carried, sections: Sequence[SectionRating]) -> list[Permitted]:
    """At both ends of each band: the load current at which a wire, a contact or the window's lower end is reached.

    With no load the sections carry nothing to speak of, so each current is its share times the load's.
    """
    return [_permitted(design, _End(carried, case), sections) for case in range(2 * len(carried.rows))]


def _permitted(design: Design, end: _End, sections: Sequence[SectionRating]) -> Permitted:
    limits = [*_wire_limits(design, end, sections), *_contact_limits(design, end)]
    opened, drop = end.opened, end.per_ampere * _turn(design)
    window = _window_limit(float(design.output.window.low), opened, drop)
    limits += [window] if window is not None else []
    if not limits:
        return Permitted(end.row, end.volts, None, "nothing stated")
    least = min(limits)
    amperes = least.amperes
    # V0 = V + z I in the phase of V: |V| = sqrt(V0^2 - Im(z)^2 I^2) - Re(z) I
    loaded = sqrt(max(opened**2 - (drop.imag * amperes) ** 2, 0.0)) - drop.real * amperes
    return Permitted(end.row, end.volts, _load_va(design, max(loaded, 0.0), amperes), least.name, least.stated)


def _load_va(design: Design, loaded: float, amperes: float) -> float:
    """The `load_va` that draws a current at some output volts: V I, I Vn, or I Vn^2/V as the load model has it."""
    nominal = float(design.output.nominal_v)
    match design.output.load_model:
        case "power":
            return loaded * amperes
        case "current":
            return nominal * amperes
        case "impedance":
            return nominal**2 * amperes / loaded if loaded else 0.0
        case unknown:
            assert_never(unknown)


def _turn(design: Design) -> complex:
    """The load current's phase against the loaded output."""
    cosine = float(design.output.power_factor)
    return complex(cosine, -sqrt(1 - cosine**2))


def _wire_limits(design: Design, end: _End, sections: Sequence[SectionRating]) -> list[LoadLimit]:
    shares = end.section_shares
    density, stated = float(design.copper.density), design.copper.density_a_mm2 is not None
    return [
        LoadLimit(density * one.wire.mm2 / float(shares[number]), f"winding {one.name}", stated)
        for number, one in enumerate(sections)
        if one.wire is not None and shares[number] > 1e-6
    ]


def _contact_limits(design: Design, end: _End) -> list[LoadLimit]:
    shares = end.contact_shares
    limits = []
    for number, contact in enumerate(end.carried.circuit.contacts):
        rated = design.relays[contact.relay].contact_a
        if rated is not None and shares[number] > 1e-6:
            limits.append(LoadLimit(float(rated) / float(shares[number]), f"contact {contact.label}"))
    return limits


def _window_limit(low: float, opened: float, drop: complex) -> LoadLimit | None:
    """The current that pulls the output down to the window's lower end; nought where it is not reached without load.

    V0 = V + z I, z = Z e^(-ja) against V, at |V| = low: |z|^2 I^2 + 2 low Re(z) I + low^2 - V0^2 = 0.
    """
    if opened <= low:
        return LoadLimit(0.0, "the window's lower end")
    if abs(drop) < 1e-5:
        return None
    root = sqrt((low * drop.real) ** 2 + abs(drop) ** 2 * (opened**2 - low**2))
    return LoadLimit((root - low * drop.real) / abs(drop) ** 2, "the window's lower end")
