"""The JSON answer of the verb `fit`."""

from __future__ import annotations

from tapplan.pages.answers import Json, number
from tapplan.study.fitting import Fitted
from tapplan.study.plans import Plan


def plans(found: Fitted) -> Json:
    """The bound, the plans best first, and where there is none what stands in the way."""
    return {
        "bound": None if found.bound is None else {"ratios": found.bound.ratios, "relays": found.bound.relays},
        "plans": [_plan(one) for one in found.plans],
        "nearest": None if found.nearest is None else _plan(found.nearest),
        "finished": found.finished,
        "boxes": found.boxes,
        "relaxations": [{"key": one.key, "now": one.now, "then": one.then} for one in found.relaxations],
    }


def _plan(one: Plan) -> Json:
    return {
        "arrangement": one.arrangement,
        "relays": one.relays,
        "taps": one.points,
        "tap_turns": list(one.taps),
        "section_turns": list(one.sections),
        "ratios": [str(ratio) for ratio in one.ratios],
        "room_v": number(one.room),
        "deviation": float(one.deviation),
        "transformed": float(one.transformed),
        "moves": list(one.moves),
        "proven": one.proven,
    }
