"""What befalls a made-up trace: sags, swells and interruptions, and gaps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate, islice

from tapplan.logs.recipe import DrawnFor, Recipe, TraceClock
from tapplan.logs.scenarios import (
    SAGS,
    SECOND_US,
    YEAR_US,
    Sags,
)

GAP_US = 20 * 60 * SECOND_US  # a gap on average, or `GAP_STEPS` where those last longer
GAP_STEPS = 10


@dataclass(frozen=True, slots=True)
class Happening:
    """From a time on until before another, what is left of the volts (a gap: nothing, not even a row)."""

    begin_us: int
    end_us: int
    left: float = 0.0


def happenings(recipe: Recipe) -> Iterator[Happening]:
    """The sags, swells and interruptions of a trace, one after the other without end; of other kinds none."""
    if not isinstance(recipe.scenario, Sags):
        return
    drawn, waits = recipe.stream(DrawnFor.EVENTS), YEAR_US / recipe.scenario.rate_y
    ends = list(accumulate(one.share for one in SAGS))
    now = recipe.clock.start_us
    while True:
        begin = now + 1 + int(waits * drawn.standard_exponential())
        at = drawn.random()
        which = next((one for one, end in zip(SAGS, ends, strict=True) if at < end), SAGS[-1])
        left, seconds = which.left, which.seconds
        share = float(left.low) + float(left.high - left.low) * drawn.random()
        lasts = float(seconds.low) * float(seconds.high / seconds.low) ** drawn.random()
        now = begin + int(SECOND_US * lasts)
        yield Happening(begin, now, share)


def drawn_gaps(recipe: Recipe) -> Iterator[Happening]:
    """The gaps, one after the other without end; none where none are asked for."""
    if not recipe.gaps:
        return
    drawn = recipe.stream(DrawnFor.GAPS)
    lost = max(GAP_US, GAP_STEPS * recipe.clock.step_us)
    kept = lost * (1 - recipe.gaps) / recipe.gaps
    now = recipe.clock.start_us
    while True:
        begin = now + 1 + int(kept * drawn.standard_exponential())
        now = begin + 1 + int(lost * drawn.standard_exponential())
        yield Happening(begin, now)


def met(drawn: Iterator[Happening], clock: TraceClock) -> Iterator[list[Happening]]:
    """For every part of the clock what happens at any of its times."""
    near: list[Happening] = list(islice(drawn, 1))
    for times in clock.parts():
        begin, end = int(times[0]), int(times[-1])
        while near and near[-1].begin_us <= end:
            near.append(next(drawn))
        near = [one for one in near if one.end_us > begin]
        yield [one for one in near if one.begin_us <= end]
