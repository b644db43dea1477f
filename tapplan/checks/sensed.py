"""Whether the sensed points tell where the stage stands, and whether a steady line is read steadily."""

from __future__ import annotations

from collections.abc import Iterator

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.table import BlindAway, BlindBand, Wandering
from tapplan.control.serving import STEADY, rippling


def blind_reading(review: Review) -> Iterator[Finding]:
    """A band, or being away, whose state leaves the reading without a fixed, positive share of the input."""
    for row in review.table.rows:
        if row.sensed is None and row.state.usable:
            shown = BlindBand(bands=(row.name,), energised=row.energised, ratio=row.ratio)
            yield Finding("blind-reading", Severity.FAULT, where.in_band(row.name), shown)
    away = review.table.away
    if away.sensed is None and review.table.rows:
        gone = BlindAway(energised=away.state.energised, ratio=away.state.ratio)
        yield Finding("blind-reading", Severity.FAULT, "away", gone)


def ripple_in_reading(review: Review) -> Iterator[Finding]:
    """An averaging window that is no whole number of half cycles, so that the reading of a steady line wanders."""
    wander = rippling(review.design)
    if wander == STEADY:
        return
    shown = Wandering(
        window_cycles=review.design.sensing.window_cycles,
        factor=wander.high if wander.high - 1 > 1 - wander.low else wander.low,
        least_factor=wander.low,
        most_factor=wander.high,
    )
    yield Finding("ripple-in-reading", Severity.NOTE, "sensing.window_cycles", shown)
