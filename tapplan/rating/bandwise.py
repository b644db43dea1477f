"""Each band: output under load, power passed through and power transformed, losses, flux, the load it permits."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, sqrt

import numpy as np

from tapplan.control.table import Row
from tapplan.design.model import Design
from tapplan.network.circuit import Circuit
from tapplan.rating.carried import Carried, Cases, Floats
from tapplan.rating.iron import Iron
from tapplan.rating.windings import SectionRating


@dataclass(frozen=True, slots=True)
class Heat:
    """Volts per turn, flux and losses at their worst, in a band or while a feed runs.

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


Flowing = tuple[Carried, Iron | None, list[SectionRating]]


def band_ratings(design: Design, flowing: Flowing) -> list[BandRating]:
    """Every band that holds something of the mains range."""
    return [_band(design, flowing, place) for place in range(len(flowing[0].rows))]


def _band(design: Design, flowing: Flowing, place: int) -> BandRating:
    carried, row = flowing[0], flowing[0].rows[place]
    ends = slice(2 * place, 2 * place + 2)
    cases = carried.cases
    loaded, drawn, line, opened = (
        np.abs(one[ends]) for one in (cases.output, cases.load_a, cases.source_a, cases.opened)
    )
    through, core = loaded * drawn, _core_va(carried, ends)
    worst = int(np.argmax(core)) if through.any() else 0
    found = heat(design, (carried.circuit, cases, ends), flowing[1:])
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


def _core_va(carried: Carried, ends: slice) -> Floats:
    """Half the sum of the load's share of each section's current times the volts of its turns, at each end."""
    share = np.abs(carried.cases.load_a[ends, np.newaxis] * carried.cases.flow.sections[ends, 1])
    return np.asarray(0.5 * np.sum(share * _section_volts(carried, ends), axis=1), dtype=np.float64)


def heat(design: Design, at: tuple[Circuit, Cases, slice], made_of: tuple[Iron | None, list[SectionRating]]) -> Heat:
    """The worst of some cases; the flux at the lowest frequency."""
    circuit, cases, part = at
    iron, sections = made_of
    hertz = float(design.mains.frequency_hz[0])
    per_turn = cases.per_turn[part]
    flux = iron.flux_t(float(per_turn[:, circuit.cores.index(iron.name)].max()), hertz) if iron is not None else None
    copper = _copper_w(circuit, (cases, part), sections)
    core = None if iron is None or flux is None else iron.loss_w(flux, hertz)
    return Heat(float(per_turn.max()), flux, copper, core, _rise(iron, copper, core))


def _section_volts(carried: Carried, ends: slice) -> Floats:
    """Volts across the turns of each section at both ends of the band, without load."""
    turns = np.array([float(section.turns * carried.circuit.turn_unit) for section in carried.circuit.sections])
    cores = [section.core for section in carried.circuit.sections]
    return np.asarray(carried.cases.per_turn[ends][:, cores] * turns, dtype=np.float64)


def _copper_w(circuit: Circuit, at: tuple[Cases, slice], sections: list[SectionRating]) -> float | None:
    """Copper and contact loss at the worse end; None when a section that carries current has no resistance."""
    cases, part = at
    squares = np.abs(cases.sections[part]) ** 2
    if any(one.ohm is None and not squares[:, number].max() <= 1e-12 for number, one in enumerate(sections)):
        return None
    ohm = np.array([one.ohm or 0.0 for one in sections])
    contact = np.array([float(one.ohm) for one in circuit.contacts])
    return known((squares @ ohm + np.abs(cases.contacts[part]) ** 2 @ contact).max())


def _efficiency(power: float | None, found: Heat) -> float | None:
    if found.copper_w is None or found.core_w is None or not power:
        return None
    return power / (power + found.copper_w + found.core_w)


def _rise(iron: Iron | None, copper: float | None, core: float | None) -> float | None:
    if iron is None or iron.core.thermal_k_per_w is None or copper is None or core is None:
        return None
    return (copper + core) * float(iron.core.thermal_k_per_w)


def _coil_w(design: Design, row: Row) -> float | None:
    """Power of the coils this band drives; None when one of them states none."""
    driven = [relay.coil_w for relay in design.relays if relay.name in row.energised]
    return None if None in driven else float(sum(watts for watts in driven if watts is not None))


@dataclass(frozen=True, slots=True)
class Permitted:
    """The largest load of a band at one input, and what limits it; None: nothing stated limits it."""

    row: Row
    input_v: float
    va: float | None
    limited_by: str


def permitted(design: Design, carried: Carried, sections: list[SectionRating]) -> list[Permitted]:
    """At both ends of each band: the load current at which a wire, a contact or the window's lower end is reached.

    With no load the sections carry nothing to speak of, so each current is its share times the load's.
    """
    return [_permitted(design, (carried, case), sections) for case in range(2 * len(carried.rows))]


def _permitted(design: Design, at: tuple[Carried, int], sections: list[SectionRating]) -> Permitted:
    carried, case = at
    limits = [*_wire_limits(design, at, sections), *_contact_limits(design, at)]
    opened, drop = (
        abs(carried.cases.opened[case]),
        -carried.cases.flow.output(carried.circuit)[case, 1] * _turn(design),
    )
    window = _window_limit(float(design.output.window.low), float(opened), complex(drop))
    limits += [window] if window is not None else []
    row, volts = carried.rows[case // 2], float(carried.cases.volts[case])
    if not limits:
        return Permitted(row, volts, None, "nothing stated")
    amperes, name = min(limits)
    # V0 = V + z I in the phase of V: |V| = sqrt(V0^2 - Im(z)^2 I^2) - Re(z) I
    loaded = sqrt(max(opened**2 - (drop.imag * amperes) ** 2, 0.0)) - drop.real * amperes
    return Permitted(row, volts, float(max(loaded, 0.0)) * amperes, name)


def _turn(design: Design) -> complex:
    """The load current's phase against the loaded output."""
    cosine = float(design.output.power_factor)
    return complex(cosine, -sqrt(1 - cosine**2))


Limit = tuple[float, str]  # load ampere, and what is reached then


def _wire_limits(design: Design, at: tuple[Carried, int], sections: list[SectionRating]) -> list[Limit]:
    carried, case = at
    shares = np.abs(carried.cases.flow.sections[case, 1])
    density = float(design.copper.density)
    return [
        (density * one.wire.mm2 / float(shares[number]), f"winding {one.name}")
        for number, one in enumerate(sections)
        if not one.chosen and one.wire is not None and shares[number] > 1e-6
    ]


def _contact_limits(design: Design, at: tuple[Carried, int]) -> list[Limit]:
    carried, case = at
    shares = np.abs(carried.cases.flow.contacts[case, 1])
    limits = []
    for number, contact in enumerate(carried.circuit.contacts):
        rated = design.relays[contact.relay].contact_a
        if rated is not None and shares[number] > 1e-6:
            limits.append((float(rated) / float(shares[number]), f"contact {contact.label}"))
    return limits


def _window_limit(low: float, opened: float, drop: complex) -> Limit | None:
    """The current that pulls the output down to the window's lower end; nought where it is not reached without load.

    V0 = V + z I, z = Z e^(-ja) against V, at |V| = low: |z|^2 I^2 + 2 low Re(z) I + low^2 - V0^2 = 0.
    """
    if opened <= low:
        return 0.0, "the window's lower end"
    if abs(drop) < 1e-5:
        return None
    root = sqrt((low * drop.real) ** 2 + abs(drop) ** 2 * (opened**2 - low**2))
    return (root - low * drop.real) / abs(drop) ** 2, "the window's lower end"
