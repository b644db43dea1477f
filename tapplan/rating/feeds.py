"""What flows while a feed runs, and what a battery and a coil supply get from a winding of the core."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from tapplan.control.table import Row
from tapplan.design.model import Battery, CoilSupply, Design
from tapplan.network.circuit import Across, Circuit
from tapplan.network.turns import Kind
from tapplan.rating.carried import Carried, Cases, Excitation, cases_of, load_of
from tapplan.rating.fed import Fed


@dataclass(frozen=True, slots=True)
class FeedCase:
    """What flows while a feed runs in the state in use, at both ends of its volts, with the load on if it is fed."""

    used: Fed
    cases: Cases

    @property
    def name(self) -> str:
        """The feed's name."""
        return self.used.feed.name


def feed_case(design: Design, circuit: Circuit, used: Fed) -> FeedCase | None:
    """The network driven from the feed's winding; None where its state shorts turns."""
    if used.state.kind is Kind.SHORTED:
        return None
    number = next(n for n, winding in enumerate(design.windings) if winding.name == used.feed.winding)
    section = circuit.sections[number]
    closed = circuit.state(used.state.energised)
    volts = np.array([float(one) for one in used.feed.volts_v])
    load = load_of(design) if used.fault is None else replace(load_of(design), va=0.0)
    return FeedCase(
        used,
        cases_of(design, circuit, Excitation((closed, closed), volts, Across(section.finish, section.start)), load),
    )


@dataclass(frozen=True, slots=True)
class Charging:
    """What a winding gives the charger at both ends of a band: the rectified peak less the drops.

    `peak_v` is the least at the low end and the most at the high end, of with the load on and without it; the
    charger's own current is left out. `line_v` are the inputs there.
    """

    row: Row
    line_v: tuple[float, float]
    peak_v: tuple[float, float]

    def from_input(self, volts: float) -> float | None:
        """The least input of the band from which the charger gets so many volts; None: nowhere in it."""
        (low, high), (first, last) = self.line_v, self.peak_v
        if volts <= first:
            return low
        return low + (high - low) * (volts - first) / (last - first) if volts <= last else None


def charging(design: Design, carried: Carried, battery: Battery) -> list[Charging]:
    """The charger's input in every band: sqrt(2) times the winding's volts, less the rectifier's drop."""
    volts = winding_volts(design, carried, battery.winding)
    drop = float(battery.drop_v)
    return [
        Charging(row, (float(ends[0]), float(ends[1])), (sqrt(2) * low - drop, sqrt(2) * high - drop))
        for row, ends, (low, high) in zip(carried.rows, carried.line_v, volts, strict=True)
    ]


def winding_volts(design: Design, carried: Carried, name: str) -> list[tuple[float, float]]:
    """RMS volts of a winding at the ends of every band: the least at the low one, the most at the high one.

    The least and the most of with the load on and without it.
    """
    number = next(place for place, winding in enumerate(design.windings) if winding.name == name)
    turns, core = float(design.windings[number].turns), carried.circuit.sections[number].core
    least = np.minimum(carried.per_turn, carried.loaded_per_turn)[:, 0, core]
    most = np.maximum(carried.per_turn, carried.loaded_per_turn)[:, 1, core]
    return [(float(low) * turns, float(high) * turns) for low, high in zip(least, most, strict=True)]


@dataclass(frozen=True, slots=True)
class CoilsOn:
    """The coil supply in one band at its lowest: volts there, volts the driven coils need to pull in, and power.

    `needed_v` and `power_w` are None where a driven relay states no coil volts, or no coil power.
    """

    row: Row
    volts: float
    needed_v: float | None
    power_w: float | None
    supply: CoilSupply

    @property
    def starved(self) -> bool:
        """Whether a coil would not pull in, or the supply cannot give the power."""
        low = self.needed_v is not None and self.volts < self.needed_v
        weak = (
            self.power_w is not None and self.supply.power_w is not None and self.power_w > float(self.supply.power_w)
        )
        return low or weak

    @property
    def verdict(self) -> str:
        """Too little, enough, or not known, where the coils' volts or what they take is not stated."""
        if self.starved:
            return "too little"
        powered = self.supply.power_w is None or self.power_w is not None
        return "enough" if self.needed_v is not None and powered else "not known"


def coils_on(design: Design, carried: Carried, supply: CoilSupply) -> list[CoilsOn]:
    """The coil supply at the lowest input of every band."""
    found = []
    for row, (low, _) in zip(carried.rows, winding_volts(design, carried, supply.winding), strict=True):
        driven = [relay for relay in design.relays if relay.name in row.energised]
        rated = [relay.coil_v for relay in driven]
        watts = [relay.coil_w for relay in driven]
        known = [float(volts) for volts in rated if volts is not None]
        needed = max(known, default=0.0) * float(supply.pick_up_pct) / 100 if None not in rated else None
        power = float(sum(one for one in watts if one is not None)) if None not in watts else None
        volts = sqrt(2) * low - float(supply.drop_v) if supply.rectified else low
        found.append(CoilsOn(row, volts, needed, power, supply))
    return found
