"""Ratings put together by hand, around those of a small stage, for rules that hold them against limits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

from tapplan.design.conductor import Wire
from tapplan.design.model import Design
from tapplan.rating.bandwise import BandRating, Heat
from tapplan.rating.rated import Ratings
from tapplan.rating.service import At
from tapplan.rating.windings import SectionRating
from tests.rating.test_ends import rated, simple

WARM = Heat(per_turn_v=0.5, flux_t=None, copper_w=None, core_w=None, rise_k=None)
SECTION = SectionRating(
    name="a",
    turns=400.0,
    amperes=10.0,
    at=At("boost", 200.0),
    wire=Wire("1.6 mm", 1.6),
    chosen=False,
    density=5.0,
    turn_mm=None,
    ohm=None,
    loss_w=None,
    kg=None,
    live_v=0.0,
    needs=(),
)


@cache
def plain() -> Ratings:
    """Boost, direct and buck of 400 and 60 turns, for 200 to 260 V, which carry nothing."""
    return rated(simple())


def changed(found: Ratings, **design: Any) -> Ratings:
    """The same with something else in the design that the limits are read from."""
    made: Design = replace(found.design, **design)
    return replace(found, design=made)


def heated(found: Ratings, *each: dict[str, Any], tops: tuple[float, ...] = (200.0, 250.0, 260.0)) -> Ratings:
    """The same with the heat of each band as given, its highest input beside it."""
    bands: list[BandRating] = [
        replace(band, heat=replace(WARM, **one), line_v=(190.0, top))
        for band, one, top in zip(found.bands, each, tops, strict=True)
    ]
    return replace(found, bands=tuple(bands))
