"""The screen of the verb `rate`."""

from __future__ import annotations

from math import isnan

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.text import Text

from tapplan.pages import words
from tapplan.pages.ratings import reclosed_t
from tapplan.pages.screen import headline, plain_table
from tapplan.rating.bandwise import Heat, Permitted
from tapplan.rating.contacts import worst_bridges, years
from tapplan.rating.fed import Fed
from tapplan.rating.rated import FeedRating, Ratings

_DERATING = 40  # columns of the curve of permitted loads


def ratings(found: Ratings, reclosing: float | None) -> Group:
    """Every rating, worst first named, and at the end what the file leaves out; `reclosing` as in `ratings`."""
    parts: list[RenderableType] = [headline(found.design.title, "Ratings"), *_bands(found), *_sections(found)]
    parts += [*_core(found, reclosing), *_contacts(found), *_permitted(found)]
    for feed in found.feeds:
        parts += _feed(feed)
    return Group(*parts, *_supplies(found), *_needs(found))


def figure(value: float | None, decimals: int = 2) -> str:
    """A number without trailing zeros, a dash where there is none."""
    if value is None or isnan(value):
        return "-"
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _pair(ends: tuple[float | None, float | None], decimals: int = 1) -> str:
    return f"{figure(ends[0], decimals)} - {figure(ends[1], decimals)}"


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f} %"


def _bands(found: Ratings) -> list[RenderableType]:
    columns = (
        "band",
        "line (V)",
        "output, loaded (V)",
        "drop (%)",
        "line (A)",
        "load (A)",
        "through (VA)",
        "core (VA)",
    )
    table = plain_table(*columns, "copper saved")
    heat = plain_table("band", "V/turn", "flux (T)", "copper (W)", "core (W)", "efficiency", "rise (K)", "coils (W)")
    for one in found.bands:
        cells = [one.row.name, _pair(one.line_v), _pair(one.loaded_v), figure(one.drop_pct), figure(one.line_a)]
        cells += [figure(one.load_a), figure(one.through_va, 0), figure(one.core_va, 0), _percent(one.copper_saved)]
        table.add_row(*(escape(cell) for cell in cells))
        cells = [one.row.name, *_heat(one.heat), _percent(one.efficiency)]
        cells += [figure(one.heat.rise_k, 0), figure(one.coil_w)]
        heat.add_row(*(escape(cell) for cell in cells))
    return [
        Text("Bands, over what they really hold of the mains range:"),
        table,
        Text("\nIron and losses at worst (core loss and rise are estimates, not a type test):"),
        heat,
    ]


def _sections(found: Ratings) -> list[RenderableType]:
    table = plain_table("winding", "turns", "current (A)", "in", "wire", "A/mm2", "ohm", "loss (W)", "live to (V)")
    for one in found.sections:
        wire = "-" if one.wire is None else one.wire.name + (" (chosen)" if one.chosen else "")
        cells = [
            one.name,
            figure(one.turns),
            figure(one.amperes, 3),
            "-" if one.at is None else f"{one.at.name}, {figure(one.at.volts, 1)} V",
            wire,
        ]
        cells += [figure(one.density), figure(one.ohm, 3), figure(one.loss_w), figure(one.live_v, 0)]
        table.add_row(*(escape(cell) for cell in cells))
    return [Text("\nWindings, each at its worst:"), table]


def _core(found: Ratings, reclosing: float | None) -> list[RenderableType]:
    iron, use = found.iron, found.window
    if iron is None or use is None:
        return []
    line = (
        f"Core: {figure(iron.net_mm2, 0)} mm2 net, {figure(iron.mass_kg)} kg; copper {figure(use.kg)} kg in "
        f"{figure(use.copper_mm2, 0)} mm2 bare, {_percent(use.fill)} of the window (limit {_percent(use.limit)})."
    )
    peak, limit = reclosed_t(found, reclosing), iron.core.flux_limit_t
    if peak is not None:
        of_limit = f", {peak / float(limit):.2f} times the limit" if limit is not None else ""
        line += (
            f"\nWhen the line leaves the winding in flight and comes back, the flux can reach for {peak:.2f} T"
            f"{of_limit}: a saturated core draws an inrush."
        )
    return [Text("\n" + line)]


def _contacts(found: Ratings) -> list[RenderableType]:
    table = plain_table("contact", "current (A)", "of", "gap (V)", "of", "inrush (A)", "of", "peak (A)", "years")
    for one in found.contacts:
        relay = one.relay
        limits = [None if limit is None else float(limit) for limit in (relay.contact_a, relay.contact_v)]
        make = None if relay.contact_make_a is None else float(relay.contact_make_a)
        gap = "not fixed" if one.gap.volts is None else figure(one.gap.volts, 1)
        gap += "" if one.gap.known or one.gap.volts is None else " or more"
        cells = [one.label, figure(one.amperes), figure(limits[0]), gap, figure(limits[1], 0), figure(one.make_a, 1)]
        cells += [figure(make, 0), figure(one.peak_a, 1), figure(years(relay), 1)]
        table.add_row(*(escape(cell) for cell in cells))
    parts: list[RenderableType] = [Text("\nContacts, each at its worst, beside its rating:"), table]
    lines = [
        f'{one.label} bridged in "{one.row.name}": {one.section_a:.0f} A in the shorted turns, {one.line_a:.1f} A at '
        "the inlet"
        for one in worst_bridges(found.bridges)
        if one.section_a is not None and one.line_a is not None
    ]
    return [*parts, Text("\n".join(lines))] if lines else parts


def _permitted(found: Ratings) -> list[RenderableType]:
    """The largest load along the inputs, as numbers and as a curve; derated where less than the most."""
    shown = [one for one in found.permitted if one.va is not None]
    if not shown:
        return []
    most = max(max(one.va or 0 for one in shown), 1)
    load = float(found.design.output.load_va or 0)
    lines = [_permitted_line(one, most, load) for one in shown]
    return [
        Text("\nPermitted load along the line, one input a line (the bar: share of the most):"),
        Text("\n".join(lines)),
    ]


def _permitted_line(one: Permitted, most: float, load: float) -> str:
    va = one.va or 0
    bar = "=" * max(round(va / most * _DERATING), 1)
    short = "  less than load_va" if va < load else ""
    start = f"{figure(one.input_v, 1):>6} V  {one.row.name:<12.12} {va:>7.0f} VA"
    return f"{start} {bar:<{_DERATING}} {one.limited_by}{short}"


def _feed(feed: FeedRating) -> list[RenderableType]:
    table = plain_table("while it runs with", "output (V)", "inlet's pin (V)", "")
    for one in feed.states:
        output = words.span(one.output) if one.fault is None else one.fault.value
        used = "in use" if feed.used is not None and one.state.energised == feed.used.state.energised else ""
        table.add_row(*(escape(cell) for cell in (words.relays(one.state.energised), output, _inlet(one), used)))
    parts: list[RenderableType] = [Text(f'\nFeed "{feed.feed.name}":'), table]
    if feed.chosen and feed.used is not None:
        parts.append(Text("The file states no relay state for it: the one in use is tapplan's choice."))
    if feed.case is not None and feed.used is not None and feed.used.fault is None:
        cases = feed.case.cases
        ends = _pair((float(abs(cases.output[0])), float(abs(cases.output[1]))))
        current = figure(float(abs(cases.source_a).max()), 1)
        parts.append(Text(f"With the load on: {ends} V at the output, up to {current} A from the feed."))
    if feed.heat is not None:
        flux, copper, core = _heat(feed.heat)[1:]
        rise = figure(feed.heat.rise_k, 0)
        parts.append(Text(f"The core works at {flux} T; {copper} W lost in copper, {core} W in iron; rise {rise} K."))
    return parts


def _heat(one: Heat) -> list[str]:
    return [figure(one.per_turn_v, 4), figure(one.flux_t, 3), figure(one.copper_w), figure(one.core_w)]


def _inlet(one: Fed) -> str:
    if not one.inlet_live:
        return "dead"
    return "live, not fixed" if one.line is None else words.span(one.line)


def _supplies(found: Ratings) -> list[RenderableType]:
    parts: list[RenderableType] = []
    battery = found.design.battery
    if battery is not None and found.charging:
        table = plain_table("band", "charger's input (V peak, rectified)")
        for one in found.charging:
            table.add_row(escape(one.row.name), _pair(one.peak_v))
        low = min(one.peak_v[0] for one in found.charging)
        high = max(one.peak_v[1] for one in found.charging)
        limits = f"float {words.number(battery.float_v[0])} - {words.number(battery.float_v[1])} V"
        if battery.cyclic_v is not None:
            limits += f", cyclic {words.number(battery.cyclic_v[0])} - {words.number(battery.cyclic_v[1])} V"
        parts += [Text("\nBattery winding:"), table]
        parts.append(Text(f"The charger must make {limits} out of {low:.1f} - {high:.1f} V."))
    if found.coils:
        table = plain_table("band", "coil supply (V)", "needed (V)", "coils (W)", "")
        for coil in found.coils:
            cells = [coil.row.name, figure(coil.volts), figure(coil.needed_v), figure(coil.power_w)]
            table.add_row(*(escape(cell) for cell in cells), coil.verdict)
        parts += [Text("\nCoil supply at the lowest input of each band:"), table]
    return parts


def _needs(found: Ratings) -> list[RenderableType]:
    if not found.needs:
        return []
    lines = "\n".join(f"  needs {text}" for text in found.needs)
    return [Text(f"\nNot worked out, for the file leaves out:\n{lines}")]
