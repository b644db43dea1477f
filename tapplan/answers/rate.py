"""What every part carries at worst, beside its rating: what `rate` answers.

Figures are of the physics in floating point; scripts get them to a millionth. Volts and currents are RMS.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, names
from tapplan.answers.findings import FindingRow, any_fault, finding_rows
from tapplan.answers.raterows import (
    BandRatingRow,
    BridgeRow,
    ChargingRow,
    CoilSupplyRow,
    ContactRow,
    CoreRow,
    CostRow,
    FedRow,
    FeedRow,
    HeatRow,
    PermittedRow,
    WindingRow,
)
from tapplan.answers.winding import BuildRow, WoundRow, build_row, wound_rows
from tapplan.checks import rules
from tapplan.checks.review import Review
from tapplan.checks.witnesses.moving import OpenLine
from tapplan.design.coil import Coil
from tapplan.design.conductor import Strip, Wire
from tapplan.rating.bandwise import BandRating, Permitted
from tapplan.rating.contacts import Bridge, ContactRating, worst_bridges, years
from tapplan.rating.cost import cost_of
from tapplan.rating.fed import Fed
from tapplan.rating.rated import FeedRating, Ratings, ratings
from tapplan.rating.service import At
from tapplan.rating.windings import SectionRating


def cost_row(found: Ratings) -> CostRow | None:
    """The cost of a design rated; None where it states no prices."""
    cost = cost_of(found)
    if cost is None:
        return None
    return CostRow(
        currency=cost.currency,
        iron=cost.iron,
        copper=cost.copper,
        relays=cost.relays,
        leads=cost.leads,
        total=cost.total,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rated(Answer):
    """Everything that is carried, and the limits broken."""

    heading = "Ratings"
    caution = words.CAUTION_LINE

    title: str
    bands: Annotated[tuple[BandRatingRow, ...], more()]
    heat: tuple[HeatRow, ...]
    sections: Annotated[tuple[WindingRow, ...], more()]
    contacts: Annotated[tuple[ContactRow, ...], more()]
    bridges: Annotated[tuple[BridgeRow, ...], more()]
    permitted: Annotated[tuple[PermittedRow, ...], more()]
    core: Annotated[CoreRow | None, more()]
    layers: Annotated[tuple[WoundRow, ...], more()]
    build: Annotated[BuildRow | None, more()]
    feeds: Annotated[tuple[FeedRow, ...], more()]
    charging: Annotated[tuple[ChargingRow, ...], more()]
    charging_told: str
    coil_supply: Annotated[tuple[CoilSupplyRow, ...], more()]
    cost: Annotated[CostRow | None, more()]
    needs: Annotated[tuple[str, ...], names()]
    findings: Annotated[tuple[FindingRow, ...], more()]

    @property
    def wrong(self) -> bool:
        """Whether a limit is broken."""
        return any_fault(self.findings)


def rated(review: Review) -> Rated:
    """What copper, iron and contacts of a design carry, and the limits that breaks."""
    flights = (one.witness for one in rules.findings_in(review, ["flight-inrush"]))
    factor = next((float(one.factor) for one in flights if isinstance(one, OpenLine)), None)
    return rated_of(ratings(review.table), factor, finding_rows(rules.findings_in(review, rules.RATED)))


def rated_of(found: Ratings, factor: float | None, broken: tuple[FindingRow, ...] = ()) -> Rated:
    """The same of ratings at hand; `factor` is the peak flux after an open flight, as a multiple of normal."""
    return Rated(
        title=found.design.title,
        bands=tuple(_band(one) for one in found.bands),
        heat=tuple(_heat(one) for one in found.bands),
        sections=tuple(_section(one) for one in found.sections),
        contacts=tuple(_contact(one) for one in found.contacts),
        bridges=tuple(_bridge(one) for one in worst_bridges(found.bridges)),
        permitted=tuple(_permitted(found, one) for one in found.permitted),
        core=_core(found, factor),
        layers=wound_rows(found),
        build=build_row(found),
        feeds=tuple(_feed(one) for one in found.feeds),
        charging=tuple(ChargingRow(band=one.row.name, peak_v=one.peak_v) for one in found.charging),
        charging_told=_charging_told(found),
        coil_supply=tuple(
            CoilSupplyRow(
                band=one.row.name,
                volts=one.volts,
                needed_v=one.needed_v,
                power_w=one.power_w,
                starved=one.starved,
                verdict=one.verdict,
            )
            for one in found.coils
        ),
        cost=cost_row(found),
        needs=found.needs,
        findings=broken,
    )


def _band(one: BandRating) -> BandRatingRow:
    heat = one.heat
    return BandRatingRow(
        band=one.row.name,
        energised=one.row.energised,
        input_v=one.line_v,
        open_output_v=one.open_v,
        loaded_output_v=one.loaded_v,
        drop_pct=one.drop_pct,
        line_a=one.line_a,
        load_a=one.load_a,
        through_va=one.through_va,
        core_va=one.core_va,
        copper_saved=one.copper_saved,
        saved=words.percent(one.copper_saved),
        volts_per_turn=heat.per_turn_v,
        flux_t=heat.flux_t,
        copper_w=heat.copper_w,
        core_w=heat.core_w,
        rise_k=heat.rise_k,
        efficiency=one.efficiency,
        coil_w=one.coil_w,
    )


def _heat(one: BandRating) -> HeatRow:
    return HeatRow(
        band=one.row.name,
        volts_per_turn=one.heat.per_turn_v,
        flux_t=one.heat.flux_t,
        copper_w=one.heat.copper_w,
        core_w=one.heat.core_w,
        efficiency=words.percent(one.efficiency),
        rise_k=one.heat.rise_k,
        coil_w=one.coil_w,
    )


def _place(at: At | None) -> str:
    return "-" if at is None else f"{at.name}, {words.figure(at.volts, 1)} V"


def _section(one: SectionRating) -> WindingRow:
    return WindingRow(
        name=one.name,
        turns=one.turns,
        current_a=one.amperes,
        at=None if one.at is None else one.at.name,
        at_v=None if one.at is None else one.at.volts,
        place=_place(one.at),
        wire=None if one.wire is None else one.wire.name,
        wire_mm=one.wire.mm if isinstance(one.wire, Wire) else None,
        strip_mm=(one.wire.thick_mm, one.wire.wide_mm) if isinstance(one.wire, Strip) else None,
        strands=None if one.wire is None else one.wire.strands,
        wire_chosen=one.chosen,
        wire_told="-" if one.wire is None else one.wire.told + (" (chosen)" if one.chosen else ""),
        density_a_mm2=one.density,
        resistance_ohm=one.ohm,
        loss_w=one.loss_w,
        copper_kg=one.kg,
        live_v=one.live_v,
        needs=one.needs,
    )


def _contact(one: ContactRating) -> ContactRow:
    relay, gap = one.relay, one.gap
    gap_told = "not fixed" if gap.volts is None else words.figure(gap.volts, 1) + ("" if gap.known else " or more")
    return ContactRow(
        contact=one.label,
        current_a=one.amperes,
        rated_a=None if relay.contact_a is None else float(relay.contact_a),
        at=None if one.at is None else one.at.name,
        at_v=None if one.at is None else one.at.volts,
        gap_v=gap.volts,
        gap_told=gap_told,
        rated_v=None if relay.contact_v is None else float(relay.contact_v),
        gap_at=gap.where,
        gap_known=gap.known,
        make_a=one.make_a,
        rated_make_a=None if relay.contact_make_a is None else float(relay.contact_make_a),
        peak_a=one.peak_a,
        years=years(relay),
    )


def _bridge(one: Bridge) -> BridgeRow:
    return BridgeRow(pole=one.label, band=one.row.name, at_v=one.line_v, section_a=one.section_a, line_a=one.line_a)


def _permitted(found: Ratings, one: Permitted) -> PermittedRow:
    return PermittedRow(
        band=one.row.name,
        input_v=one.input_v,
        va=one.va,
        limited_by=one.limited_by,
        short=one.va is not None and one.va < float(found.design.output.load_va or 0),
    )


def _core(found: Ratings, factor: float | None) -> CoreRow | None:
    """The core; `factor` is the peak flux after an open flight of the line, as a multiple of normal."""
    iron, use = found.iron, found.window
    if iron is None or use is None:
        return None
    levels = [one.heat.flux_t for one in found.bands if one.heat.flux_t is not None]
    peak = None if factor is None or not levels else factor * max(levels)
    limit = iron.core.flux_limit_t
    return CoreRow(
        name=iron.name,
        net_mm2=iron.net_mm2,
        window_mm2=iron.window_mm2,
        mean_turn_mm=iron.mean_turn_mm,
        mass_kg=iron.mass_kg,
        copper_mm2=use.copper_mm2,
        copper_kg=use.kg,
        fill=use.fill,
        fill_limit=use.limit,
        by_layers=isinstance(found.coil, Coil) and iron.core.fill_limit is None,
        reclosing_t=peak,
        reclosing_of_limit=None if peak is None or limit is None else peak / float(limit),
    )


def _feed(one: FeedRating) -> FeedRow:
    case, used, heat = one.case, one.used, one.heat
    output = None if case is None else tuple(float(abs(volts)) for volts in case.cases.output)
    return FeedRow(
        name=one.feed.name,
        states=tuple(_fed(state, used) for state in one.states),
        used=None if used is None else used.state.energised,
        chosen=one.chosen,
        backfeed=used is not None and used.inlet_live,
        loaded_output_v=None if output is None else (output[0], output[1]),
        current_a=None if case is None else float(abs(case.cases.source_a).max()),
        volts_per_turn=None if heat is None else heat.per_turn_v,
        flux_t=None if heat is None else heat.flux_t,
        copper_w=None if heat is None else heat.copper_w,
        core_w=None if heat is None else heat.core_w,
        rise_k=None if heat is None else heat.rise_k,
        carries=case is not None and used is not None and used.fault is None,
        warm=heat is not None,
    )


def _fed(one: Fed, used: Fed | None) -> FedRow:
    live = "live, not fixed" if one.line is None else words.span(one.line)
    return FedRow(
        energised=one.state.energised,
        output_v=one.output,
        fault=None if one.fault is None else one.fault.value,
        inlet_v=one.line,
        inlet_live=one.inlet_live,
        output_told=words.span(one.output) if one.fault is None else one.fault.value,
        inlet_told=live if one.inlet_live else "dead",
        used="in use" if used is not None and one.state.energised == used.state.energised else "",
    )


def _charging_told(found: Ratings) -> str:
    battery = found.design.battery
    if battery is None or not found.charging:
        return ""
    low, high = min(one.peak_v[0] for one in found.charging), max(one.peak_v[1] for one in found.charging)
    limits = f"float {words.number(battery.float_v[0])} - {words.number(battery.float_v[1])} V"
    if battery.cyclic_v is not None:
        limits += f", cyclic {words.number(battery.cyclic_v[0])} - {words.number(battery.cyclic_v[1])} V"
    return f"The charger must make {limits} out of {low:.1f} - {high:.1f} V."
