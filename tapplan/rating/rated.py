"""All the ratings of a design, in one value."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.control.table import ControlTable
from tapplan.design.model import Design, Feed
from tapplan.rating.bandwise import BandRating, Permitted, band_ratings, permitted
from tapplan.rating.carried import Carried, carried
from tapplan.rating.contacts import Bridge, ContactRating, bridges, contact_ratings
from tapplan.rating.fed import Fed, fed_states, state_in_use
from tapplan.rating.feeds import Charging, CoilsOn, FeedCase, charging, coils_on, feed_case
from tapplan.rating.iron import Iron, iron_of
from tapplan.rating.windings import SectionRating, WindowUse, section_ratings, window_use


@dataclass(frozen=True, slots=True)
class FeedRating:
    """One feed with every relay state it may run in, the state it does run in, and what flows then."""

    feed: Feed
    states: tuple[Fed, ...]
    used: Fed | None
    case: FeedCase | None


@dataclass(frozen=True, slots=True)
class Ratings:
    """What a design's copper, iron and contacts carry. `needs` names what the file leaves out and what for."""

    design: Design
    carried: Carried
    iron: Iron | None
    sections: tuple[SectionRating, ...]
    window: WindowUse | None
    bands: tuple[BandRating, ...]
    permitted: tuple[Permitted, ...]
    contacts: tuple[ContactRating, ...]
    bridges: tuple[Bridge, ...]
    feeds: tuple[FeedRating, ...]
    charging: tuple[Charging, ...]
    coils: tuple[CoilsOn, ...]
    needs: tuple[str, ...]


def ratings(table: ControlTable) -> Ratings:
    """All the ratings. Where only the turn's length is known, the resistance is that of the wire chosen."""
    iron = iron_of(table.design)
    found = carried(table)
    feeds = [_feed(table, found, number) for number in range(len(table.design.feeds))]
    sections = section_ratings(table.design, found, iron, _cases(feeds))
    if any(one.chosen and one.ohm and not found.impedances.sections[n].real for n, one in enumerate(sections)):
        wound = replace(table, design=_wound(table.design, sections))
        found = carried(wound)
        feeds = [_feed(wound, found, number) for number in range(len(table.design.feeds))]
    return _all(table.design, (found, feeds), iron, sections)


def _cases(feeds: list[FeedRating]) -> list[FeedCase]:
    return [one.case for one in feeds if one.case is not None]


def _wound(design: Design, sections: list[SectionRating]) -> Design:
    """The design with the chosen wire in every section that states neither wire nor resistance."""
    return replace(
        design,
        windings=tuple(
            replace(winding, wire_mm=Fraction(round(one.wire.mm * 10**6), 10**6))
            if one.chosen and one.wire is not None and winding.resistance_ohm is None
            else winding
            for winding, one in zip(design.windings, sections, strict=True)
        ),
    )


def _all(
    design: Design, flowing: tuple[Carried, list[FeedRating]], iron: Iron | None, sections: list[SectionRating]
) -> Ratings:
    found, feeds = flowing
    return Ratings(
        design,
        found,
        iron,
        tuple(sections),
        window_use(design, sections, iron),
        tuple(band_ratings(design, found, iron, sections)),
        tuple(permitted(design, found, sections)),
        tuple(contact_ratings(design, found, _cases(feeds))),
        tuple(bridges(design, found, sections)),
        tuple(feeds),
        tuple(charging(design, found, design.battery)) if design.battery is not None else (),
        tuple(coils_on(design, found, design.coil_supply)) if design.coil_supply is not None else (),
        tuple(_needs(design, iron, sections)),
    )


def _feed(table: ControlTable, found: Carried, number: int) -> FeedRating:
    feed = table.design.feeds[number]
    states = fed_states(table, feed)
    used = state_in_use(table, feed, states)
    case = feed_case(table.design, found.circuit, found.impedances, used) if used is not None else None
    return FeedRating(feed, tuple(states), used, case)


def _needs(design: Design, iron: Iron | None, sections: list[SectionRating]) -> list[str]:
    """What is missing, each once, and which rows it would fill."""
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
        "[core] thermal_k_per_w: temperature rise": iron is None or iron.core.thermal_k_per_w is None,
        "resistance_ohm or wire of every winding: losses and bridge currents": not all(one.ohm for one in sections),
        "contact_a and contact_v of every relay: verdict on the contacts": any(
            relay.contact_a is None or relay.contact_v is None for relay in design.relays
        ),
        "coil_w of every relay: coil power": any(relay.coil_w is None for relay in design.relays),
        "endurance and moves_a_day of every relay: years": any(
            relay.endurance is None or relay.moves_a_day is None for relay in design.relays
        ),
    }
    return [text for text, absent in missing.items() if absent]
