"""Ratings against the limits that the file states: the list of them, and what a feed and the load do to the stage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tapplan.checks import contacts, protection, service, where, wound
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.carried import Backfed, Collapsed, exact
from tapplan.design.model import Design

if TYPE_CHECKING:
    from tapplan.rating.carried import Cases
    from tapplan.rating.fed import Fed
    from tapplan.rating.rated import Ratings


def over_rated(review: Review) -> Iterator[Finding]:
    """Everything that is carried beyond a limit; nothing is worked out where the file states no limit at all."""
    if not _has_limits(review.design):
        return
    from tapplan.rating.rated import ratings  # numpy is needed only here

    found = ratings(review.table)
    yield from backfeed(found)
    yield from load_collapse(found)
    yield from service.feed_out_of_window(found)
    yield from service.charger_reach(found)
    yield from service.over_load(found)
    yield from wound.over_flux(review, found)
    yield from wound.over_current(found)
    yield from contacts.contact_overload(found)
    yield from contacts.make_overload(found)
    yield from wound.window_full(found)
    yield from wound.hot(found)
    yield from contacts.coil_starved(found)
    yield from protection.fuses(found)
    yield from protection.cutout_trips(found)


def _has_limits(design: Design) -> bool:
    stated = (design.core, design.battery, design.coil_supply, design.protection)
    wires = any(winding.wire_mm is not None for winding in design.windings)
    rated = any(
        limit is not None
        for relay in design.relays
        for limit in (relay.contact_a, relay.contact_v, relay.contact_make_a)
    )
    heavy = design.output.load_va is not None and design.output.load_model != "impedance"
    return any(one is not None for one in stated) or bool(design.feeds) or wires or rated or heavy


def backfeed(found: Ratings) -> Iterator[Finding]:
    """A feed that runs while the inlet's line pin is joined to its live winding: mains volts on the plug."""
    for one in found.feeds:
        if one.used is not None and one.used.inlet_live:
            safe = next((fed for fed in one.states if not fed.inlet_live and fed.fault is None), None)
            shown = _backfed(one.used, None if safe is None else safe.state.energised)
            yield Finding("backfeed", Severity.FAULT, where.in_feed(one.used.feed.name), shown)


def _backfed(used: Fed, safe: tuple[str, ...] | None) -> Backfed:
    return Backfed(
        energised=used.state.energised,
        from_v=used.line.low if used.line else None,
        to_v=used.line.high if used.line else None,
        output_v=used.output.high if used.output else None,
        safe=safe,
    )


@dataclass(frozen=True, slots=True)
class _Loaded:
    """A band or a feed with the cases of its load; `bands` None: a feed."""

    where: str
    bands: tuple[str, ...] | None
    cases: Cases
    part: slice


def _loaded(found: Ratings) -> list[_Loaded]:
    """Each band with its two ends among the cases, then each feed."""
    bands = [
        _Loaded(where.in_band(row.name), (row.name,), found.carried.cases, slice(2 * place, 2 * place + 2))
        for place, row in enumerate(found.carried.rows)
    ]
    feeds = [
        _Loaded(where.in_feed(one.feed.name), None, one.case.cases, slice(None))
        for one in found.feeds
        if one.case is not None
    ]
    return bands + feeds


def load_collapse(found: Ratings) -> Iterator[Finding]:
    """A band, or a feed, behind whose impedance the load stated cannot be carried at all."""
    load = found.design.output
    if load.load_va is None:
        return
    for one in _loaded(found):
        gone = one.cases.collapsed[one.part]
        if gone.any():
            shown = Collapsed(
                bands=one.bands,
                input_v=exact(float(one.cases.volts[one.part][gone].min())),
                load_va=load.load_va,
                load_model=load.load_model,
            )
            yield Finding("load-collapse", Severity.FAULT, one.where, shown)
