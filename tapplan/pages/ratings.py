"""The JSON answer of the verb `rate`."""

from __future__ import annotations

from math import isnan

from tapplan.exact import Span
from tapplan.pages.answers import Json, ends
from tapplan.rating.bandwise import BandRating, Heat
from tapplan.rating.contacts import ContactRating, worst_bridges, years
from tapplan.rating.fed import Fed
from tapplan.rating.rated import FeedRating, Ratings
from tapplan.rating.windings import SectionRating

DIGITS = 6  # physics in floating point, shown to a millionth


def rounded(value: float | None) -> float | None:
    """A measured number; None stays None, and what is no number becomes so."""
    return None if value is None or isnan(value) else round(float(value), DIGITS)


def ratings(found: Ratings, reclosing: float | None) -> Json:
    """Everything that is carried, each worst value with the band and input where it stands.

    `reclosing` is the peak flux after an open flight of the line, as a multiple of normal.
    """
    return {
        "bands": [_band(one) for one in found.bands],
        "sections": [_section(one) for one in found.sections],
        "contacts": [_contact(one) for one in found.contacts],
        "bridges": [
            {
                "pole": one.label,
                "band": one.row.name,
                "at_v": rounded(one.line_v),
                "section_a": rounded(one.section_a),
                "line_a": rounded(one.line_a),
            }
            for one in worst_bridges(found.bridges)
        ],
        "permitted": [
            {
                "band": one.row.name,
                "input_v": rounded(one.input_v),
                "va": rounded(one.va),
                "limited_by": one.limited_by,
            }
            for one in found.permitted
        ],
        "core": _core(found, reclosing),
        "feeds": [_feed(one) for one in found.feeds],
        "charging": [
            {"band": one.row.name, "peak_v": [rounded(end) for end in one.peak_v]} for one in found.charging
        ],
        "coil_supply": [
            {
                "band": one.row.name,
                "volts": rounded(one.volts),
                "needed_v": rounded(one.needed_v),
                "power_w": rounded(one.power_w),
                "starved": one.starved,
                "verdict": one.verdict,
            }
            for one in found.coils
        ],
        "needs": list(found.needs),
    }


def _band(one: BandRating) -> Json:
    return {
        "name": one.row.name,
        "energised": list(one.row.energised),
        "input_v": [rounded(end) for end in one.line_v],
        "open_output_v": [rounded(end) for end in one.open_v],
        "loaded_output_v": [rounded(end) for end in one.loaded_v],
        "drop_pct": rounded(one.drop_pct),
        "line_a": rounded(one.line_a),
        "load_a": rounded(one.load_a),
        "through_va": rounded(one.through_va),
        "core_va": rounded(one.core_va),
        "copper_saved": rounded(one.copper_saved),
        **_heat(one.heat),
        "efficiency": rounded(one.efficiency),
        "coil_w": rounded(one.coil_w),
    }


def _heat(one: Heat) -> Json:
    return {
        "volts_per_turn": rounded(one.per_turn_v),
        "flux_t": rounded(one.flux_t),
        "copper_w": rounded(one.copper_w),
        "core_w": rounded(one.core_w),
        "rise_k": rounded(one.rise_k),
    }


def _section(one: SectionRating) -> Json:
    return {
        "name": one.name,
        "turns": one.turns,
        "current_a": rounded(one.amperes),
        "at": one.at.name if one.at is not None else None,
        "at_v": rounded(one.at.volts) if one.at is not None else None,
        "wire": one.wire.name if one.wire is not None else None,
        "wire_mm": rounded(one.wire.mm) if one.wire is not None else None,
        "wire_chosen": one.chosen,
        "density_a_mm2": rounded(one.density),
        "resistance_ohm": rounded(one.ohm),
        "loss_w": rounded(one.loss_w),
        "copper_kg": rounded(one.kg),
        "live_v": rounded(one.live_v),
        "needs": list(one.needs),
    }


def _contact(one: ContactRating) -> Json:
    return {
        "contact": one.label,
        "current_a": rounded(one.amperes),
        "at": one.at.name if one.at is not None else None,
        "at_v": rounded(one.at.volts) if one.at is not None else None,
        "gap_v": rounded(one.gap.volts),
        "gap_at": one.gap.where,
        "gap_known": one.gap.known,
        "make_a": rounded(one.make_a),
        "peak_a": rounded(one.peak_a),
        "years": rounded(years(one.relay)),
    }


def reclosed_t(found: Ratings, reclosing: float | None) -> float | None:
    """The peak flux density that an open flight of the line can lead to, unsaturated; None where not known."""
    levels = [one.heat.flux_t for one in found.bands if one.heat.flux_t is not None]
    return None if reclosing is None or not levels else reclosing * max(levels)


def _core(found: Ratings, reclosing: float | None) -> Json | None:
    iron, use = found.iron, found.window
    if iron is None or use is None:
        return None
    limit, peak = iron.core.flux_limit_t, reclosed_t(found, reclosing)
    return {
        "name": iron.name,
        "net_mm2": rounded(iron.net_mm2),
        "window_mm2": rounded(iron.window_mm2),
        "mean_turn_mm": rounded(iron.mean_turn_mm),
        "mass_kg": rounded(iron.mass_kg),
        "copper_mm2": rounded(use.copper_mm2),
        "copper_kg": rounded(use.kg),
        "fill": rounded(use.fill),
        "fill_limit": use.limit,
        "reclosing_t": rounded(peak),
        "reclosing_of_limit": rounded(None if peak is None or limit is None else peak / float(limit)),
    }


def _feed(one: FeedRating) -> Json:
    case = one.case
    return {
        "name": one.feed.name,
        "states": [_fed(state) for state in one.states],
        "used": None if one.used is None else list(one.used.state.energised),
        "chosen": one.chosen,
        "backfeed": one.used is not None and one.used.inlet_live,
        "loaded_output_v": None if case is None else [rounded(abs(volts)) for volts in case.cases.output],
        "current_a": None if case is None else rounded(float(abs(case.cases.source_a).max())),
        **({} if one.heat is None else _heat(one.heat)),
    }


def _fed(one: Fed) -> Json:
    return {
        "energised": list(one.state.energised),
        "output_v": _ends(one.output),
        "fault": None if one.fault is None else one.fault.value,
        "inlet_v": _ends(one.line),
        "inlet_live": one.inlet_live,
    }


def _ends(span: Span | None) -> list[int | float | None] | None:
    return ends(span)
