"""Windings beside the stage's own, made and sized for a plan: those of feeds, battery and coil supply."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import ceil, sqrt

from tapplan.checks.review import review
from tapplan.checks.rules import findings_in
from tapplan.control.table import ControlTable
from tapplan.design.model import Design, Winding
from tapplan.rating.built import built_table
from tapplan.rating.carried import carried
from tapplan.study.plans import Plan, turns
from tapplan.study.request import Request
from tapplan.study.written import with_thresholds

FEED_DROPS = (0.03, 0.06, 0.1)  # shares of a feed's volts that its load is thought to take
PULL_IN = 1.05  # how much more than its pull-in volts a coil supply gives at its lowest (common practice, no source)


def rest_turns(request: Request, plan: Plan) -> int:
    """The turns under the output with all coils off."""
    place = plan.ratios.index(Fraction(1)) if request.rest == "direct" else len(plan.ratios) - 1
    code = plan.codes[place]
    for rows, codes in plan.wiring.states.items():
        if code in codes:
            return turns(rows.output, plan.values)
    raise AssertionError("a plan's codes are those of its wiring")


def with_auxiliaries(asked: Design, bare: Design, table: ControlTable, rest: int) -> ControlTable:
    """The stage with windings for the feeds, the battery and the coils; sized by the volts per turn of the bands."""
    found = carried(table)
    least = float(min(found.per_turn.min(), found.loaded_per_turn.min()))
    made = table
    for drop in FEED_DROPS:
        sized = _sizes(asked, least, rest, drop)
        more = tuple(
            Winding(name=name, ends=(f"{name} 1", f"{name} 2"), turns=Fraction(count), core=bare.windings[0].core)
            for name, count in sized.items()
        )
        made = built_table(replace(bare, windings=(*bare.windings, *more)))
        if not asked.feeds or "feed-out-of-window" not in {
            one.code for one in findings_in(review(with_thresholds(made.design)), ["feed-out-of-window"])
        }:
            break
    return made


def _sizes(asked: Design, least: float, rest: int, drop: float) -> dict[str, int]:
    """The turns of each winding that is named beside the stage's own."""
    window, sized = asked.output.window, dict[str, int]()
    for feed in asked.feeds:
        low, high = (float(end) for end in feed.volts_v)
        most, fewest = low * (1 - drop) * rest / float(window.low), high * rest / float(window.high)
        sized[feed.winding] = max(round((most + fewest) / 2), 1)
    battery, supply = asked.battery, asked.coil_supply
    if battery is not None and battery.winding not in sized:
        wanted = float((battery.cyclic_v or battery.float_v)[1] + battery.drop_v)
        sized[battery.winding] = ceil(wanted / sqrt(2) / least)
    if supply is not None and supply.winding not in sized:
        coil = float(asked.fit.coil_v) if asked.fit is not None and asked.fit.coil_v is not None else 0.0
        wanted = coil * float(supply.pick_up_pct) / 100 * PULL_IN
        peak = (wanted + float(supply.drop_v)) / sqrt(2) if supply.rectified else wanted
        sized[supply.winding] = max(ceil(peak / least), 1)
    return sized
