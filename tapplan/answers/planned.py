"""What is said of plans beside their rows: the bound, why there is none, and on which core they are wound."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from tapplan.answers import words
from tapplan.study.fitting import Fitted
from tapplan.study.loaded import LoadedFit, core_name
from tapplan.study.sensitivity import Sensitivity

LOGS_LEFT = "Stopped before every plan was tried on the log: the figures of those not tried are missing."


def stopped_told(loaded: LoadedFit, swayed: Sensitivity | None) -> Iterator[str]:
    """What was not looked at because the search was stopped, a sentence each; none where it came to its end."""
    found = loaded.fitted
    if not found.finished:
        so_far = (
            "the best so far follows; wirings not reached are missing"
            if found.plans
            else "no plan so far; more time may find one"
        )
        yield f"Stopped before the search was over: {so_far}."
    if not found.explained:
        yield "Stopped while ways out were sought: others may do, and smaller changes than those told."
    if swayed is not None and not swayed.finished:
        yield "Stopped while wishes were tried: they may go farther than told, and some are missing."


def bound_told(found: Fitted) -> str:
    """The fewest ratios and relays of any wiring, and how near the plans come."""
    if found.bound is None:
        return "No number of ratios is enough: window, error and hysteresis leave no band that reaches upward."
    ratios, relays = found.bound.ratios, found.bound.relays
    if ratios == 1:
        return "One ratio serves the whole range: no relay is needed."
    least = f"at least {ratios} ratios, so {relays} {'relay' if relays == 1 else 'relays'}"
    told = f"Whatever the wiring, {least}, even with turns that are no whole numbers."
    if found.plans:
        fewest = min(len(one.ratios) for one in found.plans)
        near = "as few as that" if fewest == ratios else f"{fewest - ratios} more than that"
        told += f" The plan with the fewest uses {fewest}, {near}."
    return told


def none_told(loaded: LoadedFit) -> list[str]:
    """Why there is no plan, and what would help, a line each."""
    found = loaded.fitted
    if loaded.refused:
        return [
            "No plan carries the load.",
            *(f"{one.core}: {one.why}." for one in loaded.refused),
            *_considered_told(found),
        ]
    if found.bound is None or found.bound.ratios == 1 or not found.finished:
        return ["No plan."]
    lines = ["No plan meets the request.", _nearest_told(found)]
    if found.request.single_moves:
        lines.append(
            "single_moves leaves chains only: two selectors that use more ratios than a chain has always move two"
            " relays somewhere. Fewer ratios, a longer chain, or moves of two relays would be the ways out."
        )
    lines += _considered_told(found)
    return [*lines, *(f"It would do to change {one.key} from {one.now} to {one.then}." for one in found.relaxations)]


def _considered_told(found: Fitted) -> list[str]:
    looked = found.considered
    return [
        f"Considered: {looked.wirings} wirings of {', '.join(looked.arrangements)}.",
        f"Not considered: {'; '.join(looked.left_out)}.",
    ]


def _nearest_told(found: Fitted) -> str:
    near, needed = found.nearest, found.request.needed
    if near is None:
        return "No turns of these arrangements, with as many relays and taps, serve the whole range."
    room = near.room or Fraction(0)
    return (
        f"The nearest, {near.arrangement} with {near.relays} relays, leaves {words.number(room, 2)} V between "
        f"neighbours; {words.number(needed, 2)} V are needed, {words.number(needed - room, 2)} V more."
    )


def core_told(loaded: LoadedFit) -> str:
    """On which core the plans are wound; empty where they are not."""
    if not loaded.built:
        return ""
    first, load = core_name(loaded.built[0].design), words.number(loaded.built[0].design.output.load_va or 0)
    smaller = " the smallest found that will do;" if loaded.refused else ""
    told = f"Wound for {load} VA on {first},{smaller} every plan was checked and rated at full load."
    others = [one for one in loaded.built if core_name(one.design) != first]
    return f"{told} Larger cores are offered where they leave more room, or lose or cost less." if others else told
