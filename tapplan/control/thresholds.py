"""Where two neighbouring bands hand over: one upper end and one lower end, at round numbers, on the safe side.

Between the highest reading the lower band may keep and the lowest one the upper band may keep lies the room.
The hysteresis stands in the middle of it, so that what is left over guards both ends of the window alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.control.serving import Served
from tapplan.design.model import Design, Sensing
from tapplan.exact import rounded_down, rounded_up

# Round numbers to try, coarsest first; a step counts as fine enough below COARSEST input volts.
COARSEST = Fraction(5, 4)
STEPS = tuple(Fraction(step) for step in ("1", "1/2", "1/5", "1/10", "1/20", "1/50", "1/100", "1/1000"))


@dataclass(frozen=True, slots=True)
class Handover:
    """The upper end of the band below and the lower end of the band above, in the units sensed."""

    upper_end: Fraction
    lower_end: Fraction


@dataclass(frozen=True, slots=True)
class Demand:
    """What neighbours must leave: the hysteresis beside the noise, and more than twice the noise if it counts."""

    hysteresis: Fraction
    beat_noise: bool = True

    def room(self, below: Served, above: Served) -> Fraction | None:
        """The room between two neighbours, or None when it is not enough."""
        noise = noise_between(below, above)
        available = spare(below, above) + noise
        least = 2 * noise if self.beat_noise else noise
        return available if available >= self.hysteresis + noise and available > least else None

    def met(self, below: Served, above: Served) -> bool:
        """Whether there is enough room between two neighbours."""
        return self.room(below, above) is not None


def room(below: Served, above: Served) -> Fraction:
    """How far what the two bands serve overlaps, error allowed for, in input volts; negative when they cannot meet.

    The noise is still in it: with a noise of n between the two the holds may overlap by the room less n, and that
    must beat n as well.
    """
    return spare(below, above) + noise_between(below, above)


def spare(below: Served, above: Served) -> Fraction:
    """How far the holds of the two bands may overlap at most, in input volts."""
    return below.highest_keep / most_read(below) - above.lowest_keep / least_read(above)


def noise_between(below: Served, above: Served) -> Fraction:
    """The peak-to-peak noise that acts on a handover, in input volts."""
    return below.half_noise * (1 / most_read(below) + 1 / least_read(above))


def wanted_overlap(sensing: Sensing, below: Served, above: Served) -> Fraction:
    """The overlap to aim at, in input volts: the hysteresis asked for where it beats the noise.

    Else twice the noise, and with neither given a third of what there is; never more than there is.
    """
    noise, available = noise_between(below, above), spare(below, above)
    if sensing.hysteresis_v > noise:
        return min(sensing.hysteresis_v, available)
    return min(2 * noise if noise else available / 3, available)


def handover(design: Design, below: Served, above: Served) -> Handover:
    """The thresholds between two neighbours, in the units sensed.

    Upper ends are rounded down and lower ends up when there is no room to spare; where there is none at all
    both bands keep to their own limits and a dead zone shows between them.
    """
    q_below, q_above = most_read(below), least_read(above)
    if spare(below, above) <= 0:
        fine = STEPS[-1]
        return Handover(rounded_down(below.highest_keep, fine), rounded_up(above.lowest_keep, fine))
    overlap = wanted_overlap(design.sensing, below, above)
    middle = (below.highest_keep / q_below + above.lowest_keep / q_above) / 2
    aim = Handover((middle + overlap / 2) * q_below, (middle - overlap / 2) * q_above)
    for step in steps_for(min(q_below, q_above)):
        for ends in _rounded(aim, step):
            if _safe(ends, below, above, overlap) and _even(ends, below, above, overlap, step):
                return ends
    inward = Handover(rounded_down(aim.upper_end, STEPS[-1]), rounded_up(aim.lower_end, STEPS[-1]))
    return inward if inward.upper_end / q_below > inward.lower_end / q_above else aim


def lower_end_to(design: Design, below: Served, above: Served, upper_end: Fraction) -> Fraction:
    """The lower end of the band above where the upper end of the band below is given."""
    q_below, q_above = most_read(below), least_read(above)
    aim = (upper_end / q_below - wanted_overlap(design.sensing, below, above)) * q_above
    limit = above.lowest_keep
    steps = steps_for(q_above)
    return next((end for step in steps if (end := rounded_down(aim, step)) >= limit), rounded_up(limit, steps[-1]))


def upper_end_to(design: Design, below: Served, above: Served, lower_end: Fraction) -> Fraction:
    """The upper end of the band below where the lower end of the band above is given."""
    q_below, q_above = most_read(below), least_read(above)
    aim = (lower_end / q_above + wanted_overlap(design.sensing, below, above)) * q_below
    limit = below.highest_keep
    steps = steps_for(q_below)
    return next((end for step in steps if (end := rounded_up(aim, step)) <= limit), rounded_down(limit, steps[-1]))


def steps_for(reading: Fraction) -> tuple[Fraction, ...]:
    """The round steps to try for thresholds read as `reading` times the input, coarsest first."""
    return tuple(step for step in STEPS if step / reading <= COARSEST) or STEPS[-1:]


def _rounded(aim: Handover, step: Fraction) -> Iterator[Handover]:
    """The round numbers next to the aim, the nearest pairs first."""
    down, up = rounded_down, rounded_up
    pairs = [Handover(a(aim.upper_end, step), b(aim.lower_end, step)) for a in (down, up) for b in (up, down)]
    yield from sorted(
        pairs, key=lambda ends: abs(ends.upper_end - aim.upper_end) + abs(ends.lower_end - aim.lower_end)
    )


def _safe(tried: Handover, below: Served, above: Served, overlap: Fraction) -> bool:
    shared = tried.upper_end / most_read(below) - tried.lower_end / least_read(above)
    return tried.upper_end <= below.highest_keep and tried.lower_end >= above.lowest_keep and shared >= overlap


def _even(tried: Handover, below: Served, above: Served, overlap: Fraction, step: Fraction) -> bool:
    """Whether rounding leaves both sides a fair share of the room to spare."""
    left_below = (below.highest_keep - tried.upper_end) / most_read(below)
    left_above = (tried.lower_end - above.lowest_keep) / least_read(above)
    uneven = abs(left_below - left_above)
    return uneven <= (spare(below, above) - overlap) / 2 or step / least_read(above) <= Fraction(1, 10)


def most_read(band: Served) -> Fraction:
    """The most read of an input volt; a band that cannot be read is placed as if the input were read."""
    return band.read.high if band.read is not None else Fraction(1)


def least_read(band: Served) -> Fraction:
    """The least read of an input volt."""
    return band.read.low if band.read is not None else Fraction(1)
