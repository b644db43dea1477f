"""The line fuse and the thermal cut-out: whether they stay whole in normal service, and see what burns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.witnesses.carried import FuseCurrent, FuseInrush, FuseSight, exact
from tapplan.checks.wound import reaching
from tapplan.design.model import Protection

if TYPE_CHECKING:
    from tapplan.rating.contacts import Bridge
    from tapplan.rating.rated import Ratings

LATE_S = 0.1  # a fuse that takes longer does not save a winding; common practice, no source


def fuses(found: Ratings) -> Iterator[Finding]:
    """A line fuse that normal current or the inrush overloads, or that a bridged contact's fault hardly reaches."""
    protection = found.design.protection
    if protection is None or (protection.fuse_a is None and protection.fuse_a2s is None):
        return
    yield from _normal_through_the_fuse(found, protection.fuse_a)
    yield from _inrush_through_the_fuse(found, protection)
    for one in _blindest(found.bridges):
        shown = _hardly_seen(protection, one)
        if shown is not None:
            yield Finding("fuse-blind", Severity.WARNING, f"{one.label} bridged", shown)


def _normal_through_the_fuse(found: Ratings, rated: Fraction | None) -> Iterator[Finding]:
    carried = [(one.line_a, one) for one in found.bands if one.line_a is not None]
    if rated is None or not carried:
        return
    amperes, worst = max(carried, key=lambda pair: pair[0])
    if amperes > float(rated):
        shown = FuseCurrent(bands=(worst.row.name,), current_a=exact(amperes), limit_a=rated)
        yield Finding("fuse-overload", Severity.FAULT, where.in_band(worst.row.name), shown)


def _inrush_through_the_fuse(found: Ratings, protection: Protection) -> Iterator[Finding]:
    """The load's inrush, for half a cycle a sine of that peak, against the melting A2s of the fuse."""
    inrush, melts = found.design.output.inrush_a, protection.fuse_a2s
    if inrush is None or melts is None or not found.carried.rows:
        return
    peak = float(abs(found.carried.cases.flow.line[:, 1]).max()) * float(inrush)
    half_cycle = 0.5 / float(found.design.mains.frequency_hz[0])
    lets = peak**2 / 2 * half_cycle
    if lets > float(melts):
        shown = FuseInrush(current_a=exact(peak), lets_a2s=exact(lets), melts_a2s=melts)
        yield Finding("fuse-overload", Severity.FAULT, "protection", shown)


def _blindest(bridges: Sequence[Bridge]) -> list[Bridge]:
    """Of each pole the bridge of which the inlet sees least."""
    by_pole: dict[str, Bridge] = {}
    for one in bridges:
        least = by_pole.get(one.label)
        if one.line_a is not None and (least is None or least.line_a is None or one.line_a < least.line_a):
            by_pole[one.label] = one
    return list(by_pole.values())


def _hardly_seen(protection: Protection, one: Bridge) -> FuseSight | None:
    """A bridge at which the fuse is too slow: by its melting A2s where stated, else below twice its rated current."""
    if one.line_a is None or one.section_a is None:
        return None
    melts_s = None if protection.fuse_a2s is None else float(protection.fuse_a2s) / max(one.line_a, 1e-9) ** 2
    rated = protection.fuse_a
    late = melts_s is not None and melts_s > LATE_S
    low = melts_s is None and rated is not None and one.line_a < 2 * float(rated)
    if not late and not low:
        return None
    return FuseSight(
        bands=(one.row.name,),
        input_v=exact(one.line_v),
        section_a=exact(one.section_a),
        current_a=exact(one.line_a),
        limit_a=rated,
        melts_s=None if melts_s is None else Fraction(melts_s),
    )


def cutout_trips(found: Ratings) -> Iterator[Finding]:
    """An estimated temperature in normal service at which the thermal cut-out opens."""
    protection = found.design.protection
    worst = reaching(found, None if protection is None else protection.cutout_c)
    if worst is not None and worst.shown.reached_c >= worst.shown.limit_c:
        yield Finding("cutout-trips", Severity.WARNING, worst.where, worst.shown)
