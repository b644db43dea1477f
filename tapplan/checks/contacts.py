"""Relays against their ratings: what contacts carry, hold off and make, and whether their coils pull in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.witnesses.carried import CoilVolts, ContactCurrent, ContactGap, ContactMaking, exact

if TYPE_CHECKING:
    from tapplan.rating.contacts import ContactRating
    from tapplan.rating.rated import Ratings


def contact_overload(found: Ratings) -> Iterator[Finding]:
    """Contacts that carry, or hold off, more than their ratings."""
    for one in found.contacts:
        shown = [_carrying(one), _holding_off(one)]
        yield from (
            Finding("contact-overload", Severity.FAULT, one.label, case) for case in shown if case is not None
        )


def _carrying(one: ContactRating) -> ContactCurrent | None:
    rated = one.relay.contact_a
    if rated is None or one.at is None or one.amperes is None or one.amperes <= float(rated):
        return None
    return ContactCurrent(
        bands=(one.at.name,), input_v=exact(one.at.volts), current_a=exact(one.amperes), limit_a=rated
    )


def _holding_off(one: ContactRating) -> ContactGap | None:
    rated, gap = one.relay.contact_v, one.gap
    if rated is None or gap.volts is None or gap.where is None or gap.volts <= float(rated):
        return None
    return ContactGap(standing=gap.where, output_v=exact(gap.volts), limit_v=rated)


def make_overload(found: Ratings) -> Iterator[Finding]:
    """Contacts that close onto more of the load's inrush than they can make."""
    for one in found.contacts:
        rated = one.relay.contact_make_a
        if rated is not None and one.make_a is not None and one.make_a > float(rated):
            shown = ContactMaking(current_a=exact(one.make_a), limit_a=rated)
            yield Finding("make-overload", Severity.FAULT, one.label, shown)


def coil_starved(found: Ratings) -> Iterator[Finding]:
    """A band whose coils the supply from the core cannot pull in at its lowest input."""
    for one in found.coils:
        if one.starved:
            shown = CoilVolts(
                bands=(one.row.name,),
                energised=one.row.energised,
                output_v=exact(one.volts),
                limit_v=None if one.needed_v is None else exact(one.needed_v),
                power_w=None if one.power_w is None else exact(one.power_w),
            )
            yield Finding("coil-starved", Severity.FAULT, where.in_band(one.row.name), shown)
