"""All the ratings of a design, in one value."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.control.table import ControlTable
from tapplan.design.coil import Coil, NotLaid, coil_of
from tapplan.design.conductor import Wire, conductor_of
from tapplan.design.model import Design, Feed, Winding
from tapplan.network.circuit import Circuit, circuit_of
from tapplan.rating.bandwise import BandRating, Built, Heat, Permitted, band_ratings, heat, permitted
from tapplan.rating.carried import Carried, carried
from tapplan.rating.contacts import Bridge, ContactRating, bridges, contact_ratings
from tapplan.rating.fed import Fed, fed_states, state_in_use, stated_state
from tapplan.rating.feeds import Charging, CoilsOn, FeedCase, charging, coils_on, feed_case
from tapplan.rating.iron import Iron, iron_of
from tapplan.rating.service import Service
from tapplan.rating.windings import SectionRating, WindowUse, section_ratings, window_use
from tapplan.rating.wire import next_wire


@dataclass(frozen=True, slots=True)
class FeedRating:
    """One feed with every relay state it may run in, the state it does run in, what flows then and how warm it gets.

    `chosen` says that neither the feed nor a backup states the relay state, so that the best one was taken.
    """

    feed: Feed
    states: tuple[Fed, ...]
    used: Fed | None
    chosen: bool
    case: FeedCase | None
    heat: Heat | None


@dataclass(frozen=True, slots=True)
class Ratings:
    """What a design's copper, iron and contacts carry. `needs` names what the file leaves out and what for."""

    design: Design
    carried: Carried
    iron: Iron | None
    sections: tuple[SectionRating, ...]
    window: WindowUse | None
    coil: Coil | NotLaid | None
    bands: tuple[BandRating, ...]
    permitted: tuple[Permitted, ...]
    contacts: tuple[ContactRating, ...]
    bridges: tuple[Bridge, ...]
    feeds: tuple[FeedRating, ...]
    charging: tuple[Charging, ...]
    coils: tuple[CoilsOn, ...]
    needs: tuple[str, ...]


def ratings(table: ControlTable) -> Ratings:
    """All the ratings. Where only the turn's length is known, the resistance is that of the wire chosen.

    A wire chosen changes the currents it was chosen for, so it is chosen again until none grows; none shrinks.
    """
    found = _settled(table)
    sections = _chosen(table.stated, found.sections)
    return _all(
        table.stated, found.service, found.running, Built(iron_of(table.design), sections, coil_of(found.design))
    )


def wound(table: ControlTable) -> Design:
    """The design of a table with a wire in every section whose wire is open, thick enough at the table's holds."""
    return _settled(table).design


@dataclass(frozen=True, slots=True)
class _Settled:
    """A design with its wires, and what flows in it."""

    design: Design
    service: Service
    running: list[_Running]
    sections: list[SectionRating]


def _settled(table: ControlTable) -> _Settled:
    now = table
    while True:
        found = carried(now)
        running = [_running(now, feed) for feed in now.design.feeds]
        service = Service(found, [one.case for one in running if one.case is not None])
        sections = section_ratings(now.design, service)
        design = _thicker(table.stated, now.design, sections)
        if design == now.design:
            return _Settled(design, service, running, sections)
        now = replace(now, design=design, circuit=circuit_of(design))


def _thicker(stated: Design, design: Design, sections: list[SectionRating]) -> Design:
    """The design with a wire thick enough in every section for which the file states neither wire nor resistance."""
    if not sections or any(one.amperes is None for one in sections):
        return design
    windings = []
    for first, winding, one in zip(stated.windings, design.windings, sections, strict=True):
        wire = None if one.amperes is None else next_wire(one.amperes, design.copper)
        free = conductor_of(first) is None and first.resistance_ohm is None and one.ohm is not None
        windings.append(_thickened(winding, wire) if wire is not None and free else winding)
    return replace(design, windings=tuple(windings))


def _thickened(winding: Winding, wire: Wire) -> Winding:
    """A winding in a wire, unless what it has is as thick."""
    has = conductor_of(winding)
    if has is not None and wire.mm2 <= has.mm2 * (1 + 1e-9):
        return winding
    mm = Fraction(round(wire.mm * 10**6), 10**6)
    return replace(winding, wire_mm=mm, strands=Fraction(wire.strands) if wire.strands > 1 else None)


def _chosen(stated: Design, sections: list[SectionRating]) -> list[SectionRating]:
    """The sections, those whose wire the file leaves open marked so."""
    return [
        replace(one, chosen=True) if conductor_of(winding) is None else one
        for winding, one in zip(stated.windings, sections, strict=bool(sections))
    ]


@dataclass(frozen=True, slots=True)
class _Running:
    """A feed that runs: the states it may run in, the one it does, and what flows then; None where there is none."""

    feed: Feed
    states: list[Fed]
    used: Fed | None
    case: FeedCase | None


def _running(table: ControlTable, feed: Feed) -> _Running:
    states = fed_states(table, feed)
    used = state_in_use(table, feed, states)
    return _Running(feed, states, used, None if used is None else feed_case(table.design, table.circuit, used))


def _all(design: Design, service: Service, running: list[_Running], built: Built) -> Ratings:
    found, iron, sections = service.carried, built.iron, built.sections
    return Ratings(
        design,
        found,
        iron,
        tuple(sections),
        window_use(design, sections, iron),
        built.coil,
        tuple(band_ratings(design, found, built)),
        tuple(permitted(design, found, sections)),
        tuple(contact_ratings(design, service)),
        tuple(bridges(found, sections)),
        tuple(_feed(design, found.circuit, one, built) for one in running),
        tuple(charging(design, found, design.battery)) if design.battery is not None else (),
        tuple(coils_on(design, found, design.coil_supply)) if design.coil_supply is not None else (),
        tuple(_needs(design, built)),
    )


def _feed(design: Design, circuit: Circuit, running: _Running, built: Built) -> FeedRating:
    feed, case = running.feed, running.case
    warm = None if case is None else heat(design, circuit, case.cases, built)
    return FeedRating(feed, tuple(running.states), running.used, stated_state(design, feed) is None, case, warm)


def _needs(design: Design, built: Built) -> list[str]:
    """What is missing, each once, and which rows it would fill."""
    iron, sections, coil = built.iron, built.sections, built.coil
    missing = {
        "output.load_va: currents under load": design.output.load_va is None,
        "[core] area_mm2, or lamination and stack_mm: flux density": iron is None or iron.net_mm2 is None,
        "[core] flux_limit_t: verdict on the flux": iron is None or iron.core.flux_limit_t is None,
        "[core] mean_turn_mm, or lamination and stack_mm: resistance and mass of the wire": iron is None
        or iron.mean_turn_mm is None,
        "[core] window_mm2, or lamination: window fill": iron is None or iron.window_mm2 is None,
        "[core] grade with mass_kg or lamination: core loss": iron is None
        or iron.steel is None
        or iron.mass_kg is None,
        "[former], the sides of limb and window, and a wire in every winding: layers": coil is None,
        "[core] thermal_k_per_w: temperature rise": iron is None or iron.core.thermal_k_per_w is None,
        "resistance_ohm or wire of every winding: losses and bridge currents": any(
            one.ohm is None for one in sections
        ),
        "contact_a and contact_v of every relay: verdict on the contacts": any(
            relay.contact_a is None or relay.contact_v is None for relay in design.relays
        ),
        "coil_v of every relay: verdict on the coil supply": design.coil_supply is not None
        and any(relay.coil_v is None for relay in design.relays),
        "coil_w of every relay: coil power": any(relay.coil_w is None for relay in design.relays),
        "endurance and moves_a_day of every relay: years": any(
            relay.endurance is None or relay.moves_a_day is None for relay in design.relays
        ),
    }
    return [text for text, absent in missing.items() if absent]
