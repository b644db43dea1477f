"""What each figure of `rate` is held against: a finding's code and the key that sets its limit, or nothing.

A figure without a limit is information: it follows from others that have one, or it is for a person to weigh.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.answers import raterows, winding


@dataclass(frozen=True, slots=True)
class Held:
    """A figure by its key in JSON: the code that judges it and by what; without a code, what it is for."""

    key: str
    code: str | None
    by: str


def _held(code: str, by: str, *keys: str) -> tuple[Held, ...]:
    return tuple(Held(key, code, by) for key in keys)


def _information(what: str, *keys: str) -> tuple[Held, ...]:
    return tuple(Held(key, None, what) for key in keys)


# By part of the answer, in the order of the screen.
JUDGED: dict[str, tuple[Held, ...]] = {
    "bands": (
        *_information("where the band is held", "input_v"),
        *_held("out-of-window", "`window_v` of [output]", "open_output_v", "loaded_output_v"),
        *_information("in the loaded output", "drop_pct"),
        *_held("fuse-overload", "`fuse_a` of [protection]", "line_a"),
        *_information("in the currents of windings and contacts", "load_a", "through_va", "core_va", "copper_saved"),
        *_information("in the flux", "volts_per_turn"),
        *_held("over-flux", "`flux_limit_t` of [core]", "flux_t"),
        *_information("in the rise", "copper_w", "core_w"),
        *_held("hot", "`temperature_limit_c` of [core]; `cutout-trips` by `cutout_c`", "rise_k"),
        *_information("for a person to weigh", "efficiency"),
        *_information("in the coil supply's power", "coil_w"),
    ),
    "sections": (
        *_information("as wound", "turns", "wire_mm", "strip_mm", "strands", "resistance_ohm", "copper_kg"),
        *_information("where the current is worst", "at_v"),
        *_held("over-current", "`density_a_mm2` of [copper]", "current_a", "density_a_mm2"),
        *_information("in the rise", "loss_w"),
        *_information("for a hand, and for insulation by the standard that applies", "live_v"),
    ),
    "contacts": (
        *_held("contact-overload", "`contact_a` of the relay", "current_a"),
        *_information("where the current is worst", "at_v"),
        *_held("contact-overload", "`contact_v` of the relay", "gap_v"),
        *_held("make-overload", "`contact_make_a` of the relay", "make_a"),
        *_information("for a person to weigh", "peak_a", "years"),
    ),
    "bridges": (
        *_information("where it is worst", "at_v"),
        *_information("for a person to weigh", "section_a"),
        *_held("fuse-blind", "`fuse_a` and `fuse_a2s` of [protection]", "line_a"),
    ),
    "permitted": (
        *_information("where it is", "input_v"),
        *_held("over-load", "`load_va` of [output]", "va"),
    ),
    "core": (
        *_information("as built", "net_mm2", "window_mm2", "mean_turn_mm", "mass_kg", "copper_mm2", "copper_kg"),
        *_held("window-full", "`fill_limit` of [core], where layers are not known or it is stated", "fill"),
        *_information("the limit itself", "fill_limit"),
        *_held("flight-inrush", "`flux_factor` of [limits]", "reclosing_t", "reclosing_of_limit"),
    ),
    "layers": (
        *_information("as wound", "turns", "covered_mm", "along_mm", "holds", "first_layer", "last_layer"),
        *_information("in the resistance", "mean_turn_mm", "length_m"),
    ),
    "build": (
        *_information("as wound", "layers", "traverse_mm", "bulge_pct"),
        *_held("window-full", "the window's width", "flat_mm", "build_mm"),
        *_information("the limit itself", "width_mm"),
    ),
    "feeds": (
        *_held("feed-out-of-window", "`window_v` of [output]", "loaded_output_v"),
        *_information("in the winding's current", "current_a"),
        *_information("in the flux", "volts_per_turn"),
        *_held("over-flux", "`flux_limit_t` of [core]", "flux_t"),
        *_information("in the rise", "copper_w", "core_w"),
        *_held("hot", "`temperature_limit_c` of [core]; `cutout-trips` by `cutout_c`", "rise_k"),
    ),
    "states": (
        *_held("feed-out-of-window", "`window_v` of [output], in the state in use", "output_v"),
        *_held("backfeed", "nothing may stand there, in the state in use", "inlet_v"),
    ),
    "charging": _held("charger-reach", "`float_v` and `cyclic_v` of [battery]", "peak_v"),
    "coil_supply": (
        *_held("coil-starved", "`coil_v` of the relays and `pick_up_pct`", "volts"),
        *_information("the limit itself", "needed_v"),
        *_held("coil-starved", "`power_w` of [coil_supply]", "power_w"),
    ),
    "cost": _information("for a person to weigh", "iron", "copper", "relays", "leads", "total"),
}

ROWS: dict[str, type] = {
    "bands": raterows.BandRatingRow,
    "sections": raterows.WindingRow,
    "contacts": raterows.ContactRow,
    "bridges": raterows.BridgeRow,
    "permitted": raterows.PermittedRow,
    "core": raterows.CoreRow,
    "layers": winding.WoundRow,
    "build": winding.BuildRow,
    "feeds": raterows.FeedRow,
    "states": raterows.FedRow,
    "charging": raterows.ChargingRow,
    "coil_supply": raterows.CoilSupplyRow,
    "cost": raterows.CostRow,
}
