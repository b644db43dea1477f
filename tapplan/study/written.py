"""A plan as a complete design file: winding, relays, bands with thresholds, ready for `check`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from tapplan.control.table import control_table
from tapplan.design.edit import with_stage
from tapplan.design.model import Band, Design, Fit, Pole, Relay, Winding
from tapplan.errors import escaped
from tapplan.study.plans import Plan, ratio_of, turns
from tapplan.study.request import Request, Sag

INLET = "KM"
BEHIND_INLET = "IN"


def designed(asked: Design, request: Request, plan: Plan) -> Design:
    """The design that a plan makes of a request; thresholds are placed as for any bands without them."""
    return with_thresholds(bare_design(asked, request, plan))


def bare_design(asked: Design, request: Request, plan: Plan) -> Design:
    """The same without thresholds. Where a feed is to run, a relay of its own takes the inlet off meanwhile."""
    point = _points(asked, plan)
    heights = [(asked.terminals.neutral, 0), *((f"T{number}", turns) for number, turns in enumerate(plan.taps, 1))]
    windings = [
        Winding(name=f"section {number}", ends=(low, high), turns=Fraction(above - below))
        for number, ((low, below), (high, above)) in enumerate(pairwise(heights), 1)
    ]
    windings += [
        Winding(
            name=f"series {number}",
            ends=(point[one.start], point[one.finish]),
            turns=Fraction(plan.values[one.unknown]),
        )
        for number, one in enumerate(plan.wiring.sections, 1)
    ]
    windings += _sensing(asked, request, plan)
    turned = _driven_at_rest(request, plan)
    made = [_relay(plan, point, number, turned=number in turned) for number in range(plan.relays)]
    inlet = [Relay(name=INLET, com=asked.terminals.line, no=point[plan.wiring.line])] if asked.feeds else []
    line = asked.terminals.line if inlet else point[plan.wiring.line]
    terminals = replace(asked.terminals, line=line, output=point[plan.wiring.output])
    relays = [_rated(one, asked.fit) for one in (*inlet, *made)]
    bare = replace(asked, windings=tuple(windings), relays=tuple(relays), terminals=terminals, fit=None)
    return replace(bare, bands=_bands(plan, turned, [one.name for one in inlet]))


def _sensing(asked: Design, request: Request, plan: Plan) -> list[Winding]:
    """The winding that the controller reads, where the request wants one: by the band at the nominal mains."""
    at, wanted = asked.sensing.at, None if asked.fit is None else asked.fit.sensing_v
    if isinstance(at, str) or wanted is None:
        return []
    nominal, output = asked.mains.nominal_v, asked.output.nominal_v
    ratio = min(plan.ratios, key=lambda one: abs(one * nominal - output))
    line = next(turns(rows.line, plan.values) for rows in plan.wiring.states if ratio_of(rows, plan.values) == ratio)
    return [Winding(name="sensing", ends=(at[1], at[0]), turns=Fraction(max(round(wanted * line / nominal), 1)))]


def with_thresholds(bare: Design) -> Design:
    """A design with the thresholds of its bands placed anew."""
    rows = control_table(replace(bare, bands=tuple(replace(one, hold_v=None) for one in bare.bands))).rows
    bands = tuple(Band(name=row.name, energised=row.energised, hold_v=(row.hold.low, row.hold.high)) for row in rows)
    return replace(bare, bands=bands)


def _rated(relay: Relay, fit: Fit | None) -> Relay:
    """A relay with the ratings that the request states for all."""
    if fit is None:
        return relay
    return replace(
        relay,
        contact_a=fit.contact_a,
        contact_v=fit.contact_v,
        contact_ohm=fit.contact_ohm,
        coil_v=fit.coil_v,
        coil_w=fit.coil_w,
    )


def _points(asked: Design, plan: Plan) -> dict[str, str]:
    """The wiring's points by the names they have in the file: terminals, taps by height, joints."""
    names = {"LINE": BEHIND_INLET if asked.feeds else asked.terminals.line, "OUTPUT": asked.terminals.output}
    height = {tap: f"T{number}" for number, tap in enumerate(plan.taps, 1)}
    names |= {tap.point: height[turns(tap.row, plan.values)] for tap in plan.wiring.taps}
    wiring = plan.wiring
    ends = [end for one in wiring.poles for end in (one.com, one.rest, one.driven) if end is not None]
    ends += [end for one in wiring.sections for end in (one.start, one.finish)]
    joints = [end for end in dict.fromkeys(ends) if end not in names]
    return names | {end: f"J{number}" for number, end in enumerate(joints, 1)}


def _relay(plan: Plan, point: dict[str, str], number: int, *, turned: bool) -> Relay:
    """A relay with its poles; `turned`: their throws change places."""
    poles = [
        Pole(
            com=point[one.com],
            nc=_end(point, one.driven if turned else one.rest),
            no=_end(point, one.rest if turned else one.driven),
        )
        for one in plan.wiring.poles
        if one.coil == number
    ]
    if len(poles) > 1:
        return Relay(name=f"K{number + 1}", poles=tuple(poles))
    return Relay(name=f"K{number + 1}", com=poles[0].com, nc=poles[0].nc, no=poles[0].no)


def _end(point: dict[str, str], end: str | None) -> str | None:
    return None if end is None else point[end]


def _driven_at_rest(request: Request, plan: Plan) -> frozenset[int]:
    """Relays whose throws change places, so that all coils off gives the ratio wanted at rest."""
    place = plan.ratios.index(Fraction(1)) if request.rest == "direct" else len(plan.ratios) - 1
    return plan.codes[place]


def _bands(plan: Plan, turned: frozenset[int], always: list[str]) -> tuple[Band, ...]:
    """One band a ratio, with its relays; those that are driven in every band first."""
    codes = [code ^ turned for code in plan.codes]
    return tuple(
        Band(name=_name(plan, number), energised=(*always, *(f"K{one + 1}" for one in sorted(code))))
        for number, code in enumerate(codes)
    )


def _name(plan: Plan, number: int) -> str:
    """By what the band does, counted from the mildest."""
    ratio = plan.ratios[number]
    boosts = sum(one > 1 for one in plan.ratios)
    if ratio == 1:
        return "direct"
    return f"boost {boosts - number}" if ratio > 1 else f"buck {number + 1 - boosts - (1 in plan.ratios)}"


def text_of(request_text: str, design: Design, plan: Plan, source: str, notes: Sequence[str] = ()) -> str:
    """The design file: the request's own text without [fit], its comments kept, and the plan's tables under it.

    `notes` are told at its head, below what the plan is.
    """
    proven = ", proven the most there is for this arrangement." if plan.proven else ", not proven."
    if plan.request.sag != Sag():
        proven = ", the most found with the drop of full load reserved."
    header = (
        f"# Made by `tapplan fit` from {escaped(source)}: "
        f"{plan.arrangement}, {plan.relays} relays, {plan.points} taps,",
        f"# smallest room between neighbours {_room(plan)} V" + proven,
        *(f"# {one}" for one in notes),
    )
    return with_stage(request_text, design, header)


def _room(plan: Plan) -> str:
    return "any" if plan.room is None else f"{float(plan.room):.3f}"
