"""Iron and copper against their limits: flux, current density, window, temperature."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.carried import (
    BuildUp,
    Hotness,
    SteadyFlux,
    SuddenFlux,
    TurnTooWide,
    WindowFill,
    WireCurrent,
    exact,
)
from tapplan.design.coil import Coil, TooDeep, TooWide

if TYPE_CHECKING:
    from tapplan.rating.bandwise import Heat
    from tapplan.rating.rated import Ratings


@dataclass(frozen=True, slots=True)
class Warm:
    """A band or a feed in which the core works, with its highest volts in; `bands` None: a feed."""

    where: str
    bands: tuple[str, ...] | None
    volts: float
    heat: Heat


def _warm(found: Ratings) -> list[Warm]:
    """Every band, then every feed."""
    bands = [Warm(where.in_band(one.row.name), (one.row.name,), one.line_v[1], one.heat) for one in found.bands]
    feeds = [
        Warm(where.in_feed(one.feed.name), None, float(one.feed.volts_v[1]), one.heat)
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
        steady = SteadyFlux(bands=worst.bands, input_v=exact(worst.volts), flux_t=exact(highest), limit_t=limit)
        yield Finding("over-flux", Severity.FAULT, worst.where, steady)
        return
    top = review.mains.high
    jumps = [(flux * float(top) / one.volts, one) for flux, one in rated if one.bands is not None]
    sudden, worst = max(jumps, key=lambda pair: pair[0], default=(0.0, worst))
    if sudden > float(limit):
        jumped = SuddenFlux(bands=worst.bands, input_v=top, flux_t=exact(sudden), limit_t=limit)
        yield Finding("over-flux", Severity.WARNING, worst.where, jumped)


def over_current(found: Ratings) -> Iterator[Finding]:
    """A wire that carries more than the current density allows; a fault when the file states the density."""
    copper = found.design.copper
    limit, stated = copper.density, copper.density_a_mm2 is not None
    for one in found.sections:
        if one.chosen or one.amperes is None or one.at is None or one.density is None:
            continue
        if one.density <= float(limit) * (1 + 1e-9):
            continue
        shown = WireCurrent(
            bands=(one.at.name,),
            input_v=exact(one.at.volts),
            current_a=exact(one.amperes),
            limit_a=exact(one.amperes / one.density * float(limit)),
            wire=one.wire.name if one.wire is not None else None,
            density_a_mm2=exact(one.density),
            limit_a_mm2=limit,
            stated=stated,
        )
        severity = Severity.FAULT if stated else Severity.WARNING
        yield Finding("over-current", severity, where.at_winding(one.name), shown)


def window_full(found: Ratings) -> Iterator[Finding]:
    """More than the window takes: of layers where they are known, else, or where a share is stated, of copper."""
    match found.coil:
        case TooWide(section=section, wide_mm=wide, traverse_mm=traverse):
            shown = TurnTooWide(turn_mm=wide, width_mm=traverse)
            yield Finding("window-full", Severity.FAULT, where.at_winding(section), shown)
        case TooDeep(layers=layers, flat_mm=flat, build_mm=build, width_mm=width):
            deep = BuildUp(layers=layers, flat_mm=flat, build_mm=build, width_mm=width)
            yield Finding("window-full", Severity.FAULT, "core", deep)
        case Coil() as coil if coil.build_mm > coil.limb.window.wide_mm:
            yield _build_up(coil)
    if not isinstance(found.coil, Coil) or (found.iron is not None and found.iron.core.fill_limit is not None):
        yield from _copper_share(found)


def _build_up(coil: Coil) -> Finding:
    """A coil that stands out too far; only a warning where nothing but its bulge does."""
    width = coil.limb.window.wide_mm
    shown = BuildUp(layers=len(coil.layers), flat_mm=coil.flat_mm, build_mm=coil.build_mm, width_mm=width)
    return Finding("window-full", Severity.FAULT if coil.flat_mm > width else Severity.WARNING, "core", shown)


def _copper_share(found: Ratings) -> Iterator[Finding]:
    """A share of bare copper above its limit; a fault when the file states it, or when it cannot fit at all."""
    use = found.window
    if use is None or use.fill is None or use.copper_mm2 is None or use.fill <= use.limit or found.iron is None:
        return
    stated = found.iron.core.fill_limit is not None
    shown = WindowFill(
        copper_mm2=exact(use.copper_mm2),
        worst_pct=exact(100 * use.fill),
        limit_pct=exact(100 * use.limit),
        stated=stated,
    )
    yield Finding("window-full", Severity.FAULT if stated or use.fill > 1 else Severity.WARNING, "core", shown)


@dataclass(frozen=True, slots=True)
class Hottest:
    """The highest temperature estimated, and where it stands."""

    shown: Hotness
    where: str


def reaching(found: Ratings, limit_c: Fraction | None) -> Hottest | None:
    """The highest temperature estimated, beside a limit, and where; None without a limit or an estimate."""
    rises = {one.heat.rise_k: one for one in reversed(_warm(found)) if one.heat.rise_k is not None}
    if not rises or found.iron is None or limit_c is None:
        return None
    rise = max(rises)
    place = rises[rise]
    ambient = found.iron.core.ambient_c
    shown = Hotness(
        bands=place.bands,
        rise_k=exact(rise),
        ambient_c=ambient,
        reached_c=exact(float(ambient) + rise),
        limit_c=limit_c,
    )
    return Hottest(shown, place.where)


def hot(found: Ratings) -> Iterator[Finding]:
    """An estimated temperature above the limit stated."""
    worst = reaching(found, None if found.iron is None else found.iron.core.temperature_limit_c)
    if worst is not None and worst.shown.reached_c > worst.shown.limit_c:
        yield Finding("hot", Severity.WARNING, worst.where, worst.shown)
