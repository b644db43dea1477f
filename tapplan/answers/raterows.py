"""The rows of what `rate` answers: figures of the physics, volts and currents as RMS, with their own sentences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from tapplan.answers import words
from tapplan.answers.columns import coils, ends, measured, more, names, number, said, word, yes
from tapplan.exact import Span

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
