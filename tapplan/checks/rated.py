"""Ratings held against the limits that the file states: flux, wire, window, contacts, fuse, coils, and backfeed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from tapplan.checks.finding import Finding, Severity, Witness, relays, volts
from tapplan.checks.review import Review
from tapplan.design.model import Design, Protection

if TYPE_CHECKING:
    from tapplan.control.table import Row
    from tapplan.rating.bandwise import Heat
    from tapplan.rating.carried import Cases
    from tapplan.rating.contacts import Bridge
    from tapplan.rating.fed import Fed
    from tapplan.rating.rated import Ratings
    from tapplan.rating.windings import SectionRating


def over_rated(review: Review) -> Iterator[Finding]:
    """Everything that is carried beyond a limit; nothing is worked out where the file states no limit at all."""
    if not _has_limits(review.design):
        return
    from tapplan.rating.rated import ratings  # numpy is needed only here

    found = ratings(review.table)
    yield from backfeed(found)
    yield from load_collapse(found)
    yield from over_flux(review, found)
    yield from over_current(found)
    yield from contact_overload(found)
    yield from make_overload(found)
    yield from window_full(found)
    yield from hot(found)
    yield from coil_starved(found)
    yield from fuses(found)
    yield from cutout_trips(found)


def _has_limits(design: Design) -> bool:
    stated = (design.core, design.battery, design.coil_supply, design.protection)
    wires = any(winding.wire_mm is not None for winding in design.windings)
    contacts = any(
        limit is not None
        for relay in design.relays
        for limit in (relay.contact_a, relay.contact_v, relay.contact_make_a)
    )
    heavy = design.output.load_va is not None and design.output.load_model != "impedance"
    return any(one is not None for one in stated) or bool(design.feeds) or wires or contacts or heavy


def _exact(value: float) -> Fraction:
    """A rating as a witness has it: to a millionth."""
    return Fraction(round(value * 10**6), 10**6)


def backfeed(found: Ratings) -> Iterator[Finding]:
    """A feed that runs while the inlet's line pin is joined to its live winding: mains volts on the plug."""
    for one in found.feeds:
        used = one.used
        if used is None or not used.inlet_live:
            continue
        safe = next((fed for fed in one.states if not fed.inlet_live and fed.fault is None), None)
        mend = (
            f"; with {relays(safe.state.energised)} the inlet would be dead"
            if safe is not None
            else "; no relay state takes the inlet off, so another contact must"
        )
        yield Finding(
            "backfeed",
            Severity.FAULT,
            f'feed "{used.feed.name}"',
            f"while it runs with {relays(used.state.energised)}, {_pin(used)}{mend}",
            Witness(
                energised=used.state.energised,
                from_v=used.line.low if used.line else None,
                to_v=used.line.high if used.line else None,
                output_v=used.output.high if used.output else None,
            ),
        )


def _pin(used: Fed) -> str:
    if used.line is None:
        return "the inlet's line pin is joined to a live winding, and nothing fixes its volts against neutral"
    return f"the inlet's line pin stands at {volts(used.line.low)} to {volts(used.line.high)} against neutral"


def load_collapse(found: Ratings) -> Iterator[Finding]:
    """A band, or a feed, behind whose impedance the load stated cannot be carried at all."""
    places: list[tuple[str, tuple[str, ...] | None, Cases, slice]] = [
        (f'band "{row.name}"', (row.name,), found.carried.cases, part) for row, part in _parts(found)
    ]
    cases_of_feeds = [(one.feed.name, one.case.cases) for one in found.feeds if one.case is not None]
    places += [(f'feed "{name}"', None, cases, slice(None)) for name, cases in cases_of_feeds]
    load = found.design.output
    for where, bands, cases, part in places:
        if not cases.collapsed[part].any():
            continue
        volts_in = float(cases.volts[part][cases.collapsed[part]].min())
        yield Finding(
            "load-collapse",
            Severity.FAULT,
            where,
            f"at {volts_in:.1f} V in, no output carries {float(load.load_va or 0):g} VA as a constant "
            f"{load.load_model}: the resistance and leakage of windings and contacts let less through",
            Witness(bands=bands, input_v=_exact(volts_in)),
        )


def _parts(found: Ratings) -> list[tuple[Row, slice]]:
    """Each band with its two ends among the cases."""
    return [(row, slice(2 * place, 2 * place + 2)) for place, row in enumerate(found.carried.rows)]


@dataclass(frozen=True, slots=True)
class _Warm:
    """A band or a feed in which the core works, with its highest volts in."""

    where: str
    bands: tuple[str, ...] | None
    volts: float
    heat: Heat


def _warm(found: Ratings) -> list[_Warm]:
    """Every band, then every feed."""
    bands = [_Warm(f'band "{one.row.name}"', (one.row.name,), one.line_v[1], one.heat) for one in found.bands]
    feeds = [
        _Warm(f'feed "{one.feed.name}"', None, float(one.feed.volts_v[1]), one.heat)
        for one in found.feeds
        if one.heat is not None
    ]
    return bands + feeds


def over_flux(review: Review, found: Ratings) -> Iterator[Finding]:
    """Flux density above the core's limit: steady in a band or feed, a fault; only after a sudden step, a warning."""
    limit = found.iron.core.flux_limit_t if found.iron is not None else None
    rated = [(one.heat.flux_t, one) for one in _warm(found) if one.heat.flux_t is not None]
    if limit is None or not rated:
        return
    highest, worst = max(rated, key=lambda pair: pair[0])
    if highest > float(limit):
        yield Finding(
            "over-flux",
            Severity.FAULT,
            worst.where,
            f"at {worst.volts:.1f} V in the core works at {highest:.3f} T, above the {float(limit):g} T stated",
            Witness(bands=worst.bands, input_v=_exact(worst.volts), flux_t=_exact(highest), limit_t=limit),
        )
        return
    top = review.mains.high
    jumps = [(flux * float(top) / one.volts, one) for flux, one in rated if one.bands is not None]
    sudden, worst = max(jumps, key=lambda pair: pair[0], default=(0.0, worst))
    if sudden > float(limit):
        yield Finding(
            "over-flux",
            Severity.WARNING,
            worst.where,
            f"when the line jumps to {volts(top)} the core works at {sudden:.3f} T until the relays "
            f"have moved, above the {float(limit):g} T stated",
            Witness(bands=worst.bands, input_v=top, flux_t=_exact(sudden), limit_t=limit),
        )


def over_current(found: Ratings) -> Iterator[Finding]:
    """A wire that carries more than the current density allows; a fault when the file states the density."""
    copper = found.design.copper
    limit, stated = copper.density, copper.density_a_mm2 is not None
    for one in found.sections:
        if one.chosen or one.amperes is None or one.at is None or one.density is None:
            continue
        if one.density <= float(limit) * (1 + 1e-9):
            continue
        yield Finding(
            "over-current",
            Severity.FAULT if stated else Severity.WARNING,
            f'winding "{one.name}"',
            f"it carries {one.amperes:.3f} A in {_wire(one)}, {one.density:.2f} A/mm2, above {float(limit):g} A/mm2"
            + ("" if stated else " (common practice, no source)"),
            Witness(
                bands=(one.at.name,),
                input_v=_exact(one.at.volts),
                current_a=_exact(one.amperes),
                limit_a=_exact(one.amperes / one.density * float(limit)),
            ),
        )


def _wire(one: SectionRating) -> str:
    return one.wire.name if one.wire is not None else "its wire"


def contact_overload(found: Ratings) -> Iterator[Finding]:
    """Contacts that carry, or hold off, more than their ratings."""
    for one in found.contacts:
        rated_a, rated_v = one.relay.contact_a, one.relay.contact_v
        if rated_a is not None and one.at is not None and one.amperes is not None and one.amperes > float(rated_a):
            yield Finding(
                "contact-overload",
                Severity.FAULT,
                one.label,
                f"it carries {one.amperes:.2f} A, above the {float(rated_a):g} A of its rating",
                Witness(
                    bands=(one.at.name,),
                    input_v=_exact(one.at.volts),
                    current_a=_exact(one.amperes),
                    limit_a=rated_a,
                ),
            )
        if rated_v is not None and one.gap.volts is not None and one.gap.volts > float(rated_v):
            yield Finding(
                "contact-overload",
                Severity.FAULT,
                one.label,
                f"its open gap holds off {one.gap.volts:.1f} V ({one.gap.where}), rated for {float(rated_v):g} V",
                Witness(output_v=_exact(one.gap.volts), limit_v=rated_v),
            )


def make_overload(found: Ratings) -> Iterator[Finding]:
    """Contacts that close onto more of the load's inrush than they can make."""
    for one in found.contacts:
        rated = one.relay.contact_make_a
        if rated is not None and one.make_a is not None and one.make_a > float(rated):
            yield Finding(
                "make-overload",
                Severity.FAULT,
                one.label,
                f"it closes onto {one.make_a:.1f} A of the load's inrush, above the {float(rated):g} A it can make",
                Witness(current_a=_exact(one.make_a), limit_a=rated),
            )


def window_full(found: Ratings) -> Iterator[Finding]:
    """More copper than the window takes; a fault when the file states the share, or when it cannot fit at all."""
    use = found.window
    if use is None or use.fill is None or use.fill <= use.limit or found.iron is None:
        return
    stated = found.iron.core.fill_limit is not None
    yield Finding(
        "window-full",
        Severity.FAULT if stated or use.fill > 1 else Severity.WARNING,
        "core",
        f"bare copper of {use.copper_mm2 or 0:.0f} mm2 takes {use.fill:.0%} of the window, more than {use.limit:.0%}"
        + ("" if stated else " (common practice, no source)"),
        Witness(worst_pct=_exact(100 * use.fill), limit_pct=_exact(100 * use.limit)),
    )


def _hottest(found: Ratings) -> tuple[float, _Warm] | None:
    """The highest estimated rise in kelvin, and where."""
    rises = [(one.heat.rise_k, one) for one in _warm(found) if one.heat.rise_k is not None]
    return max(rises, key=lambda pair: pair[0]) if rises else None


def hot(found: Ratings) -> Iterator[Finding]:
    """An estimated temperature above the limit stated."""
    hottest = _hottest(found)
    if hottest is None or found.iron is None or found.iron.core.temperature_limit_c is None:
        return
    core, limit = found.iron.core, float(found.iron.core.temperature_limit_c)
    rise, worst = hottest
    if float(core.ambient_c) + rise > limit:
        yield Finding(
            "hot",
            Severity.WARNING,
            worst.where,
            f"estimated at {float(core.ambient_c) + rise:.0f} C in {float(core.ambient_c):g} C of air, above "
            f"{limit:g} C; an estimate from losses and thermal resistance, not a type test",
            Witness(bands=worst.bands, rise_k=_exact(rise)),
        )


def coil_starved(found: Ratings) -> Iterator[Finding]:
    """A band whose coils the supply from the core cannot pull in at its lowest input."""
    for one in found.coils:
        if one.starved:
            needs = f"{one.needed_v:.2f} V to pull in" if one.needed_v is not None else "an unstated voltage"
            power = f", {one.power_w:.2f} W of coils" if one.power_w is not None else ""
            yield Finding(
                "coil-starved",
                Severity.FAULT,
                f'band "{one.row.name}"',
                f"at its lowest input the coil supply gives {one.volts:.2f} V; {relays(one.row.energised)} needs "
                f"{needs}{power}",
                Witness(
                    bands=(one.row.name,),
                    energised=one.row.energised,
                    output_v=_exact(one.volts),
                    limit_v=None if one.needed_v is None else _exact(one.needed_v),
                ),
            )


def fuses(found: Ratings) -> Iterator[Finding]:
    """A line fuse that normal current or the inrush overloads, or that a bridged contact's fault hardly reaches."""
    protection = found.design.protection
    if protection is None or (protection.fuse_a is None and protection.fuse_a2s is None):
        return
    yield from _normal_through_the_fuse(found, protection.fuse_a)
    yield from _inrush_through_the_fuse(found, protection)
    for one in _blindest(found.bridges):
        if one.line_a is not None and one.section_a is not None and _blind(protection, one.line_a):
            yield Finding(
                "fuse-blind",
                Severity.WARNING,
                f"{one.label} bridged",
                f"at {one.line_v:.1f} V in, the shorted turns carry {one.section_a:.0f} A while the inlet carries "
                f"{one.line_a:.1f} A: {_fuse(protection)} {_blows(protection, one.line_a)}, and the section burns",
                Witness(
                    bands=(one.row.name,),
                    input_v=_exact(one.line_v),
                    current_a=_exact(one.line_a),
                    limit_a=protection.fuse_a,
                ),
            )


def _normal_through_the_fuse(found: Ratings, rated: Fraction | None) -> Iterator[Finding]:
    carried = [(one.line_a, one) for one in found.bands if one.line_a is not None]
    if rated is None or not carried:
        return
    amperes, worst = max(carried, key=lambda pair: pair[0])
    if amperes > float(rated):
        yield Finding(
            "fuse-overload",
            Severity.FAULT,
            f'band "{worst.row.name}"',
            f"the inlet carries {amperes:.2f} A, above the fuse's {float(rated):g} A",
            Witness(bands=(worst.row.name,), current_a=_exact(amperes), limit_a=rated),
        )


def _blindest(bridges: Sequence[Bridge]) -> list[Bridge]:
    """Of each pole the bridge of which the inlet sees least."""
    by_pole: dict[str, Bridge] = {}
    for one in bridges:
        least = by_pole.get(one.label)
        if one.line_a is not None and (least is None or least.line_a is None or one.line_a < least.line_a):
            by_pole[one.label] = one
    return list(by_pole.values())


def _fuse(protection: Protection) -> str:
    return "the fuse" if protection.fuse_a is None else f"the fuse of {float(protection.fuse_a):g} A"


LATE_S = 0.1  # a fuse that takes longer does not save a winding; common practice, no source


def _blind(protection: Protection, amperes: float) -> bool:
    """Whether the fuse is too slow: by its melting A2s where stated, else below twice its rated current."""
    if protection.fuse_a2s is not None:
        return float(protection.fuse_a2s) > LATE_S * amperes**2
    return amperes < 2 * float(protection.fuse_a or 0)


def _blows(protection: Protection, amperes: float) -> str:
    if protection.fuse_a2s is None:
        return "sees less than twice its rating and blows late or never"
    return f"melts after {float(protection.fuse_a2s) / max(amperes, 1e-9) ** 2:.2g} s at the earliest"


def _inrush_through_the_fuse(found: Ratings, protection: Protection) -> Iterator[Finding]:
    """The load's inrush, for half a cycle a sine of that peak, against the melting A2s of the fuse."""
    inrush, melts = found.design.output.inrush_a, protection.fuse_a2s
    if inrush is None or melts is None or not found.carried.rows:
        return
    shares = abs(found.carried.cases.flow.line[:, 1])
    half_cycle = 0.5 / float(found.design.mains.frequency_hz[0])
    lets = (float(shares.max()) * float(inrush)) ** 2 / 2 * half_cycle
    if lets > float(melts):
        yield Finding(
            "fuse-overload",
            Severity.FAULT,
            "protection",
            f"half a cycle of the load's inrush lets {lets:.3g} A2s through the fuse; it melts at {float(melts):g}",
            Witness(current_a=_exact(float(shares.max()) * float(inrush))),
        )


def cutout_trips(found: Ratings) -> Iterator[Finding]:
    """An estimated temperature in normal service at which the thermal cut-out opens."""
    protection, hottest = found.design.protection, _hottest(found)
    if protection is None or protection.cutout_c is None or hottest is None or found.iron is None:
        return
    rise, worst = hottest
    reached = float(found.iron.core.ambient_c) + rise
    if reached >= float(protection.cutout_c):
        yield Finding(
            "cutout-trips",
            Severity.WARNING,
            worst.where,
            f"estimated at {reached:.0f} C; the cut-out of {float(protection.cutout_c):g} C opens in normal service",
            Witness(bands=worst.bands, rise_k=_exact(rise)),
        )
