"""How often firmware must be called."""

from __future__ import annotations

from fractions import Fraction
from math import floor

from tapplan.control.program import Program
from tapplan.control.ticks import Time, times
from tapplan.errors import UsageError

USUAL_MS = 10


def tick_of(made: Program, asked: int | None) -> int:
    """The longest time between two calls: as asked, else 10 ms or what the design's shortest time allows.

    Raises:
        UsageError: a time of the design is shorter, so that it would last a whole tick.
    """
    shortest = min(times(made), key=lambda one: one.ms, default=Time("", Fraction(USUAL_MS)))
    if shortest.ms < 1:
        found = f"found {shortest.key} = {float(shortest.ms):g}"
        raise UsageError(f"{found}; accepted in firmware, which counts whole ms: 0, or 1 and more")
    tick = min(USUAL_MS, floor(shortest.ms)) if asked is None else asked
    if times(made) and tick > shortest.ms:
        found = f"found --tick-ms {tick} with {shortest.key} = {float(shortest.ms):g}"
        raise UsageError(f"{found}; accepted: 1 to {floor(shortest.ms)}, for a shorter time would last a whole tick")
    return tick
