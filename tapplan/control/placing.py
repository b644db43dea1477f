"""Where the holds that a file leaves out are placed: between the neighbours, and beyond the range at either end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tapplan.control.reading import blur_of
from tapplan.control.serving import STEADY, Served, served
from tapplan.control.thresholds import (
    Handover,
    handover,
    least_read,
    lower_end_to,
    most_read,
    steps_for,
    upper_end_to,
)
from tapplan.design.model import Band, Design
from tapplan.exact import Span, rounded_down, rounded_up
from tapplan.network.circuit import Circuit
from tapplan.network.states import State


@dataclass(frozen=True, slots=True)
class StatedBand:
    """A band as a file states it, and the state of its relays."""

    band: Band
    state: State


@dataclass(frozen=True, slots=True)
class _Neighbour:
    """A band beside another, and what its state serves."""

    band: Band
    serves: Served


def completed(design: Design, circuit: Circuit, bands: Sequence[StatedBand]) -> list[Span]:
    """The hold of every band, those the file leaves out placed between the neighbours."""
    if not bands:
        return []
    each = [
        _Neighbour(one.band, served(design, circuit, one.state) or _unserving(design, one.state)) for one in bands
    ]
    between = [_boundary(design, below, above) for below, above in pairwise(each)]
    lower = [_outer_low(design, each[0].serves), *(ends.lower_end for ends in between)]
    upper = [*(ends.upper_end for ends in between), _outer_high(design, each[-1].serves)]
    return [
        Span(*one.band.hold_v) if one.band.hold_v else Span(min(low, high), max(low, high))
        for one, low, high in zip(bands, lower, upper, strict=True)
    ]


def _boundary(design: Design, below: _Neighbour, above: _Neighbour) -> Handover:
    """The thresholds between two neighbours; an end that the file gives stays, the other is fitted to it."""
    if below.band.hold_v is not None:
        upper = below.band.hold_v[1]
        return Handover(upper, lower_end_to(design, below.serves, above.serves, upper))
    if above.band.hold_v is not None:
        lower = above.band.hold_v[0]
        return Handover(upper_end_to(design, below.serves, above.serves, lower), lower)
    return handover(design, below.serves, above.serves)


def _unserving(design: Design, state: State) -> Served:
    """A stand-in for a band whose state serves nothing: it is placed at nominal and `check` condemns it."""
    nominal = design.mains.nominal_v
    return Served(
        state, Fraction(1), Fraction(1), None, None, None, nominal, nominal, blur_of(design.sensing).half_noise
    )


def _outer_low(design: Design, first: Served) -> Fraction:
    """The lower end of the lowest band: low enough that no reading of a promised input falls below it."""
    low = blur_of(design.sensing).readings(design.mains.span, first.read or STEADY).low
    low = max(rounded_down(low, steps_for(least_read(first))[0]), Fraction(0))
    return low if design.backup is None else max(low, design.backup.leave_v[0])


def _outer_high(design: Design, last: Served) -> Fraction:
    """The upper end of the highest band: high enough that no reading of a promised input lies above it."""
    high = blur_of(design.sensing).readings(design.mains.span, last.read or STEADY).high
    high = rounded_up(high, steps_for(most_read(last))[0])
    return high if design.backup is None else min(high, design.backup.leave_v[1])
