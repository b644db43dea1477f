"""Each band: output under load, power passed through and power transformed, losses, flux, the load it permits."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from tapplan.control.table import Row
from tapplan.design.model import Design
from tapplan.rating.carried import Carried
from tapplan.rating.iron import Iron
from tapplan.rating.windings import SectionRating


@dataclass(frozen=True, slots=True)
class BandRating:
    """One band at both ends of what it really holds within the mains range, the worse of the two where one is given.

    `through_va` is the load's volt-amperes, `core_va` half the sum of current times volts of all sections: the
    two-winding transformer that would do as much. `drop_pct` is how far the load pulls the output down. Losses are
    None where a resistance is missing, `flux_t` without an area.
    """

    row: Row
    line_v: tuple[float, float]
    open_v: tuple[float, float]
    loaded_v: tuple[float, float]
    drop_pct: float
    line_a: float
    load_a: float
    through_va: float
    core_va: float
    per_turn_v: float
    flux_t: float | None
    copper_w: float | None
    core_w: float | None
    efficiency: float | None
    rise_k: float | None
    coil_w: float | None

    @property
    def copper_saved(self) -> float | None:
        """Copper saved against a two-winding transformer of the same power and current density: 1 - core/through."""
        return 1 - self.core_va / self.through_va if self.through_va else None


def band_ratings(
    design: Design, carried: Carried, iron: Iron | None, sections: list[SectionRating]
) -> list[BandRating]:
    """Every band that holds something of the mains range."""
    return [_band(design, (carried, place), iron, sections) for place in range(len(carried.rows))]


def _band(design: Design, at: tuple[Carried, int], iron: Iron | None, sections: list[SectionRating]) -> BandRating:
    carried, place = at
    row = carried.rows[place]
    loaded, drawn, line = (np.abs(one[place]) for one in (carried.output, carried.load_a, carried.line_a))
    opened = np.abs(carried.open_output[place])
    through = loaded * drawn
    core = 0.5 * np.sum(np.abs(carried.sections[place]) * _section_volts(carried, place), axis=1)
    worst = int(np.argmax(core)) if through.any() else 0
    per_turn = float(carried.per_turn[place].max())
    flux = _flux(design, carried, iron, place)
    copper, iron_loss = _copper_w(carried, place, sections), _core_w(design, iron, flux)
    power = float(through[worst]) * float(design.output.power_factor)
    return BandRating(
        row,
        (float(carried.line_v[place, 0]), float(carried.line_v[place, 1])),
        (float(opened[0]), float(opened[1])),
        (float(loaded[0]), float(loaded[1])),
        float(100 * (1 - loaded / opened).max()),
        float(line.max()),
        float(drawn.max()),
        float(through[worst]),
        float(core[worst]),
        per_turn,
        flux,
        copper,
        iron_loss,
        _efficiency(power, copper, iron_loss),
        _rise(iron, copper, iron_loss),
        _coil_w(design, row),
    )


def _section_volts(carried: Carried, place: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Volts across the turns of each section at both ends of the band, without load."""
    turns = np.array([float(section.turns * carried.circuit.turn_unit) for section in carried.circuit.sections])
    cores = [section.core for section in carried.circuit.sections]
    return np.asarray(carried.per_turn[place][:, cores] * turns, dtype=np.float64)


def _flux(design: Design, carried: Carried, iron: Iron | None, place: int) -> float | None:
    """The highest flux density, at the lowest frequency."""
    if iron is None:
        return None
    number = carried.circuit.cores.index(iron.name)
    return iron.flux_t(float(carried.per_turn[place, :, number].max()), float(design.mains.frequency_hz[0]))


def _copper_w(carried: Carried, place: int, sections: list[SectionRating]) -> float | None:
    """Copper and contact loss at the worse end; None when a section that carries current has no resistance."""
    squares = np.abs(carried.sections[place]) ** 2
    if any(one.ohm is None and squares[:, number].max() > 1e-12 for number, one in enumerate(sections)):
        return None
    ohm = np.array([one.ohm or 0.0 for one in sections])
    contact = np.array(carried.impedances.contacts)
    losses = squares @ ohm + np.abs(carried.contacts[place]) ** 2 @ contact
    return float(losses.max())


def _core_w(design: Design, iron: Iron | None, flux: float | None) -> float | None:
    return None if iron is None or flux is None else iron.loss_w(flux, float(design.mains.frequency_hz[0]))


def _efficiency(power: float, copper: float | None, core: float | None) -> float | None:
    if copper is None or core is None or not power:
        return None
    return power / (power + copper + core)


def _rise(iron: Iron | None, copper: float | None, core: float | None) -> float | None:
    """Losses times the thermal resistance stated: an estimate, never a type test."""
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
    return [
        _permitted(design, (carried, place, end), sections) for place in range(len(carried.rows)) for end in (0, 1)
    ]


def _permitted(design: Design, at: tuple[Carried, int, int], sections: list[SectionRating]) -> Permitted:
    carried, place, end = at
    limits = [*_wire_limits(design, (carried, place), sections), *_contact_limits(design, carried, place)]
    window = _window_limit(design, at)
    limits += [window] if window is not None else []
    row, volts = carried.rows[place], float(carried.line_v[place, end])
    if not limits:
        return Permitted(row, volts, None, "nothing stated")
    amperes, name = min(limits)
    output = carried.flow.output(carried.circuit)[place]
    loaded = abs(output[0] * volts + output[1] * amperes * _turn(design))
    return Permitted(row, volts, float(loaded) * amperes, name)


def _turn(design: Design) -> complex:
    """The load current's phase against the output."""
    cosine = float(design.output.power_factor)
    return complex(cosine, -sqrt(1 - cosine**2))


Limit = tuple[float, str]  # load ampere, and what is reached then


def _wire_limits(design: Design, at: tuple[Carried, int], sections: list[SectionRating]) -> list[Limit]:
    carried, place = at
    shares = np.abs(carried.flow.sections[place, 1])
    density = float(design.copper.density_a_mm2)
    return [
        (density * one.wire.mm2 / float(shares[number]), f"winding {one.name}")
        for number, one in enumerate(sections)
        if not one.chosen and one.wire is not None and shares[number] > 1e-6
    ]


def _contact_limits(design: Design, carried: Carried, place: int) -> list[Limit]:
    shares = np.abs(carried.flow.contacts[place, 1])
    limits = []
    for number, contact in enumerate(carried.circuit.contacts):
        rated = design.relays[contact.relay].contact_a
        if rated is not None and shares[number] > 1e-6:
            limits.append((float(rated) / float(shares[number]), f"contact {contact.label}"))
    return limits


def _window_limit(design: Design, at: tuple[Carried, int, int]) -> Limit | None:
    """The current that pulls the output down to the window's lower end: |V0 - Z I| = low, taken at full length."""
    carried, place, end = at
    output = carried.flow.output(carried.circuit)[place]
    opened, behind = abs(output[0]) * carried.line_v[place, end], -output[1] * _turn(design)
    low = float(design.output.window.low)
    if abs(behind) < 1e-5 or opened <= low:
        return None
    # |V0 - I z| = low with V0 real: z^2 I^2 - 2 V0 Re(z) I + V0^2 - low^2 = 0
    a, half_b, c = abs(behind) ** 2, -opened * behind.real, opened**2 - low**2
    root = half_b**2 - a * c
    if root < 0 or -half_b <= 0:
        return None
    return float((-half_b - sqrt(root)) / a), "the window's lower end"
