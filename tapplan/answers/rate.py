"""What every part carries at worst, beside its rating: what `rate` answers.

Figures are of the physics in floating point; scripts get them to a millionth. Volts and currents are RMS.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import coils, ends, measured, more, names, number, said, word, yes
from tapplan.answers.findings import FindingRow, any_fault, finding_rows
from tapplan.answers.winding import BuildRow, WoundRow, build_row, wound_rows
from tapplan.checks import rules
from tapplan.checks.review import Review
from tapplan.checks.witnesses.moving import OpenLine
from tapplan.design.coil import Coil
from tapplan.design.conductor import Strip, Wire
from tapplan.exact import Span
from tapplan.rating.bandwise import BandRating, Permitted
from tapplan.rating.contacts import Bridge, ContactRating, worst_bridges, years
from tapplan.rating.cost import cost_of
from tapplan.rating.fed import Fed
from tapplan.rating.rated import FeedRating, Ratings, ratings
from tapplan.rating.service import At
from tapplan.rating.windings import SectionRating

Ends = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class BandRatingRow:
    """A band, loaded, at both ends of what it really holds within the mains range; else the worse of the two."""

    band: Annotated[str, word("band", key="name")]
    energised: Annotated[tuple[str, ...], coils("")]
    input_v: Annotated[Ends, ends("line", places=6)]
    open_output_v: Annotated[Ends, ends("", places=6)]
    loaded_output_v: Annotated[Ends, ends("output, loaded", places=6)]
    drop_pct: Annotated[float | None, measured("drop", "%")]
    line_a: Annotated[float | None, measured("line", "A")]
    load_a: Annotated[float | None, measured("load", "A")]
    through_va: Annotated[float | None, measured("through", "VA", digits=0)]
    core_va: Annotated[float | None, measured("core", "VA", digits=0)]
    copper_saved: Annotated[float | None, measured()]
    saved: Annotated[str, said("copper saved")]
    volts_per_turn: Annotated[float, measured()]
    flux_t: Annotated[float | None, measured()]
    copper_w: Annotated[float | None, measured()]
    core_w: Annotated[float | None, measured()]
    rise_k: Annotated[float | None, measured()]
    efficiency: Annotated[float | None, measured()]
    coil_w: Annotated[float | None, measured()]


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRow:
    """Iron and losses of one band at worst: core loss and rise are estimates, not a type test. For people."""

    band: Annotated[str, word("band")]
    volts_per_turn: Annotated[float, measured("V/turn", digits=4)]
    flux_t: Annotated[float | None, measured("flux", "T", digits=3)]
    copper_w: Annotated[float | None, measured("copper", "W")]
    core_w: Annotated[float | None, measured("core", "W")]
    efficiency: Annotated[str, word("efficiency")]
    rise_k: Annotated[float | None, measured("rise", "K", digits=0)]
    coil_w: Annotated[float | None, measured("coils", "W")]


@dataclass(frozen=True, slots=True, kw_only=True)
class WindingRow:
    """A winding at its worst, and where that is; the wire it has, or the next size for its current."""

    name: Annotated[str, word("winding")]
    turns: Annotated[float, measured("turns", places=None)]
    current_a: Annotated[float | None, measured("current", "A", digits=3)]
    at: Annotated[str | None, word()]
    at_v: Annotated[float | None, measured()]
    place: Annotated[str, said("in")]
    wire: Annotated[str | None, word()]
    wire_mm: Annotated[float | None, measured()]
    strip_mm: Annotated[Ends | None, ends("", places=6)]
    strands: Annotated[int | None, number()]
    wire_chosen: Annotated[bool, yes()]
    wire_told: Annotated[str, said("wire")]
    density_a_mm2: Annotated[float | None, measured("A/mm2")]
    resistance_ohm: Annotated[float | None, measured("ohm", digits=3)]
    loss_w: Annotated[float | None, measured("loss", "W")]
    copper_kg: Annotated[float | None, measured()]
    live_v: Annotated[float | None, measured("live to", "V", digits=0)]
    needs: Annotated[tuple[str, ...], names()]


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactRow:
    """A contact at its worst, each figure beside the rating that the file states for it."""

    contact: Annotated[str, word("contact")]
    current_a: Annotated[float | None, measured("current", "A")]
    rated_a: Annotated[float | None, measured("of", for_people=True)]
    at: Annotated[str | None, word()]
    at_v: Annotated[float | None, measured()]
    gap_v: Annotated[float | None, measured()]
    gap_told: Annotated[str, said("gap (V)")]
    rated_v: Annotated[float | None, measured("of", digits=0, for_people=True)]
    gap_at: Annotated[str | None, word("gap in", on_screen=False)]
    gap_known: Annotated[bool, yes()]
    make_a: Annotated[float | None, measured("inrush", "A", digits=1)]
    rated_make_a: Annotated[float | None, measured("of", digits=0, for_people=True)]
    peak_a: Annotated[float | None, measured("peak", "A", digits=1)]
    years: Annotated[float | None, measured("years", digits=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeRow:
    """A pole with both throws closed: what the shorted turns and the inlet carry."""

    pole: Annotated[str, word("pole")]
    band: Annotated[str, word("band")]
    at_v: Annotated[float | None, measured("line", "V")]
    section_a: Annotated[float | None, measured("shorted turns", "A")]
    line_a: Annotated[float | None, measured("inlet", "A")]

    @property
    def told(self) -> str:
        """In a sentence; nothing where a current is not known."""
        if self.section_a is None or self.line_a is None:
            return ""
        shorted = f"{self.section_a:.0f} A in the shorted turns, {self.line_a:.1f} A at the inlet"
        return f'{self.pole} bridged in "{self.band}": {shorted}'


@dataclass(frozen=True, slots=True, kw_only=True)
class PermittedRow:
    """The largest load at one input, and what limits it there. `short`: less than the load stated."""

    band: Annotated[str, word("band")]
    input_v: Annotated[float | None, measured("line", "V", digits=1)]
    va: Annotated[float | None, measured("permitted", "VA", digits=0)]
    limited_by: Annotated[str, word("limited by")]
    short: bool

    @property
    def limit_told(self) -> str:
        """What limits it, and whether it is less than the file's load."""
        return self.limited_by + ("  less than load_va" if self.short else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreRow:
    """The core, its window, and the flux that an open flight of the line can lead to."""

    name: Annotated[str, word()]
    net_mm2: Annotated[float | None, measured()]
    window_mm2: Annotated[float | None, measured()]
    mean_turn_mm: Annotated[float | None, measured()]
    mass_kg: Annotated[float | None, measured()]
    copper_mm2: Annotated[float | None, measured()]
    copper_kg: Annotated[float | None, measured()]
    fill: Annotated[float | None, measured()]
    fill_limit: Annotated[float, measured(places=None)]
    reclosing_t: Annotated[float | None, measured()]
    reclosing_of_limit: Annotated[float | None, measured()]
    by_layers: bool = False

    @property
    def limit_told(self) -> str:
        """What the share is held against: its limit, or, where only the layers count, these."""
        return "its layers decide" if self.by_layers else f"limit {words.percent(self.fill_limit)}"

    @property
    def told(self) -> str:
        """In one or two sentences."""
        line = (
            f"Core: {words.figure(self.net_mm2, 0)} mm2 net, {words.figure(self.mass_kg)} kg; copper "
            f"{words.figure(self.copper_kg)} kg in {words.figure(self.copper_mm2, 0)} mm2 bare, "
            f"{words.percent(self.fill)} of the window ({self.limit_told})."
        )
        if self.reclosing_t is None:
            return line
        factor = self.reclosing_of_limit
        of_limit = f", {factor:.2f} times the limit" if factor is not None else ""
        return (
            f"{line}\nWhen the line leaves the winding in flight and comes back, the flux can reach for "
            f"{self.reclosing_t:.2f} T{of_limit}: a saturated core draws an inrush."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FedRow:
    """One relay state while a feed runs. `fault`: why it cannot serve then; the inlet's pin must be dead."""

    energised: Annotated[tuple[str, ...], coils("while it runs with")]
    output_v: Annotated[Span | None, ends()]
    fault: Annotated[str | None, word()]
    inlet_v: Annotated[Span | None, ends()]
    inlet_live: Annotated[bool, yes()]
    output_told: Annotated[str, said("output (V)")]
    inlet_told: Annotated[str, said("inlet's pin (V)")]
    used: Annotated[str, said(" ")]


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedRow:
    """A feed with every relay state it may run in; what flows in the state it does run in, and how warm it gets."""

    name: Annotated[str, word()]
    states: Annotated[tuple[FedRow, ...], more()]
    used: Annotated[tuple[str, ...] | None, names()]
    chosen: Annotated[bool, yes()]
    backfeed: Annotated[bool, yes()]
    loaded_output_v: Annotated[Ends | None, ends(places=6)]
    current_a: Annotated[float | None, measured()]
    volts_per_turn: Annotated[float | None, measured(optional=True)] = None
    flux_t: Annotated[float | None, measured(optional=True)] = None
    copper_w: Annotated[float | None, measured()]
    core_w: Annotated[float | None, measured(optional=True)] = None
    rise_k: Annotated[float | None, measured()]
    carries: bool
    warm: bool

    @property
    def told(self) -> list[str]:
        """What flows and how warm it gets, in sentences."""
        lines = []
        if self.chosen and self.used is not None:
            lines.append("The file states no relay state for it: the one in use is tapplan's choice.")
        if self.carries and self.loaded_output_v is not None:
            low, high = (words.figure(one, 1) for one in self.loaded_output_v)
            current = words.figure(self.current_a, 1)
            lines.append(f"With the load on: {low} - {high} V at the output, up to {current} A from the feed.")
        if self.warm:
            copper, core, rise = words.figure(self.copper_w), words.figure(self.core_w), words.figure(self.rise_k, 0)
            flux = words.figure(self.flux_t, 3)
            lines.append(f"The core works at {flux} T; {copper} W lost in copper, {core} W in iron; rise {rise} K.")
        return lines


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingRow:
    """What the charger gets from the battery winding in one band."""

    band: Annotated[str, word("band")]
    peak_v: Annotated[Ends, ends("charger's input", "V peak, rectified", places=6)]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilSupplyRow:
    """The coil supply at the lowest input of a band, beside what its coils need to pull in."""

    band: Annotated[str, word("band")]
    volts: Annotated[float | None, measured("coil supply", "V")]
    needed_v: Annotated[float | None, measured("needed", "V")]
    power_w: Annotated[float | None, measured("coils", "W")]
    starved: Annotated[bool, yes()]
    verdict: Annotated[str, word(" ")]


@dataclass(frozen=True, slots=True, kw_only=True)
class CostRow:
    """What iron, copper, relays and leads cost by the prices stated; None where a mass is not known."""

    currency: Annotated[str, word()]
    iron: Annotated[float | None, measured()]
    copper: Annotated[float | None, measured()]
    relays: Annotated[float, measured()]
    leads: Annotated[float, measured()]
    total: Annotated[float | None, measured()]

    @property
    def told(self) -> str:
        """In a sentence."""
        parts = (("iron", self.iron), ("copper", self.copper), ("relays", self.relays), ("leads", self.leads))
        each = ", ".join(f"{name} {'not known' if one is None else f'{one:.2f}'}" for name, one in parts)
        total = "not known" if self.total is None else f"{self.total:.2f}"
        return f"By the prices stated: {total} {self.currency} ({each}); work not counted."


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
