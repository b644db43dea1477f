"""Each winding section: the worst current, the wire for it or the density in the wire it has, resistance, losses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapplan.design.conductor import Conductor, conductor_of
from tapplan.design.model import Design
from tapplan.design.wound import turn_lengths
from tapplan.network.circuit import Circuit
from tapplan.rating.carried import Cases
from tapplan.rating.iron import Iron
from tapplan.rating.service import At, Service
from tapplan.rating.supply import coils_draw
from tapplan.rating.wire import copper_kg, named, next_wire, ohms


@dataclass(frozen=True, slots=True)
class SectionRating:
    """One section at its worst. `wire` is the one it has, or the next standard size for its current.

    `turn_mm` is the mean length of its turns, by its layers where these are known.

    `amperes` and what follows from them are None where some band or feed cannot carry the load.

    `ohm` is as stated, else worked out warm from wire and mean turn; None, like `kg`, where something is missing that
    `needs` names. `live_v` is the most that either end stands above neutral.
    """

    name: str
    turns: float
    amperes: float | None
    at: At | None
    wire: Conductor | None
    chosen: bool
    density: float | None
    turn_mm: float | None
    ohm: float | None
    loss_w: float | None
    kg: float | None
    live_v: float
    needs: tuple[str, ...]


def section_ratings(design: Design, service: Service) -> list[SectionRating]:
    """Every section in the order of the file; empty when the stage is idle."""
    if service.idle:
        return []
    lengths = turn_lengths(design)
    return [
        _section(design, service, number, lengths.get(winding.name)) for number, winding in enumerate(design.windings)
    ]


def _section(design: Design, service: Service, number: int, turn: float | None) -> SectionRating:
    winding = design.windings[number]
    worst = service.worst([np.abs(cases.sections[:, number]) for cases in service.cases])
    supply = design.coil_supply
    if supply is not None and supply.winding == winding.name and worst.amperes is not None:
        worst = max(worst, coils_draw(design, service.carried, supply), key=lambda one: one.amperes or 0.0)
    amperes = worst.amperes
    wire = _wire(design, number, amperes)
    wire = None if wire is None else named(wire, design.copper)
    ohm = _ohm(design, number, wire, turn)
    needs = [] if ohm is not None else [f"winding {winding.name} resistance_ohm, or [core] mean_turn_mm"]
    if turn is None:
        needs.append("[core] mean_turn_mm for the mass of copper")
    return SectionRating(
        winding.name,
        float(winding.turns),
        amperes,
        worst.at,
        wire,
        chosen=conductor_of(winding) is None,
        density=amperes / wire.mm2 if wire is not None and amperes is not None else None,
        turn_mm=turn,
        ohm=ohm,
        loss_w=None if ohm is None or amperes is None else amperes**2 * ohm,
        kg=copper_kg(float(winding.turns), turn, wire) if turn is not None and wire is not None else None,
        live_v=max(_live(service.carried.circuit, cases, number) for cases in service.fixed),
        needs=tuple(needs),
    )


def _wire(design: Design, number: int, amperes: float | None) -> Conductor | None:
    stated = conductor_of(design.windings[number])
    if stated is not None:
        return stated
    return None if amperes is None else next_wire(amperes, design.copper)


def _ohm(design: Design, number: int, wire: Conductor | None, turn: float | None) -> float | None:
    winding = design.windings[number]
    if winding.resistance_ohm is not None:
        return float(winding.resistance_ohm)
    if wire is None or turn is None:
        return None
    return ohms(float(winding.turns), turn, wire, float(design.copper.temperature_c))


def _live(circuit: Circuit, cases: Cases, number: int) -> float:
    """The most volts to neutral at either end, without load; an end that nothing fixes counts as 0."""
    section = circuit.sections[number]
    ends = cases.flow.points[:, 0][:, [section.start, section.finish]]
    return float(np.abs(ends.T * cases.volts).max(initial=0.0))


@dataclass(frozen=True, slots=True)
class WindowUse:
    """Copper in one window: bare section of all turns against the window's area; None where something is missing."""

    copper_mm2: float | None
    window_mm2: float | None
    limit: float
    kg: float | None

    @property
    def fill(self) -> float | None:
        """The share of the window that bare copper takes."""
        if self.copper_mm2 is None or not self.window_mm2:
            return None
        return self.copper_mm2 / self.window_mm2


def window_use(design: Design, sections: Sequence[SectionRating], iron: Iron | None) -> WindowUse | None:
    """The window of the described core; None without [core], or where no section was rated."""
    if iron is None or not sections:
        return None
    own = [one for one, winding in zip(sections, design.windings, strict=True) if winding.core == iron.name]
    areas = [one.turns * one.wire.mm2 for one in own if one.wire is not None]
    masses = [one.kg for one in own if one.kg is not None]
    return WindowUse(
        sum(areas) if len(areas) == len(own) else None,
        iron.window_mm2,
        float(iron.core.fill),
        sum(masses) if len(masses) == len(own) else None,
    )
