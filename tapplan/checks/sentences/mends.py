"""Sentences about what mends a finding."""

from __future__ import annotations

from tapplan.checks.mends import (
    Blanking,
    Cure,
    HoldEnd,
    HoldOn,
    Mend,
    MilderOrder,
    NoSafeOrder,
    Overlapping,
    ReturnInside,
    SafeOrder,
)
from tapplan.checks.sentences.words import volts


def advice(mend: Mend) -> str:
    """What would mend a finding, in words that follow its sentence."""
    match mend:
        case HoldEnd(end="low", volts_v=end):
            return f"hold_v from {volts(end)} on mends it"
        case HoldEnd(volts_v=end):
            return f"hold_v up to {volts(end)} mends it"
        case Overlapping(band, "low", end):
            return f'hold_v of "{band}" from {volts(end)} on mends it'
        case Overlapping(band, _, end):
            return f'hold_v of "{band}" up to {volts(end)} mends it'
        case HoldOn(band, end):
            return f'hold "{band}" up to {volts(end)} to stop it'
        case ReturnInside(low, high):
            return f"return_v = [{float(low):g}, {float(high):g}] mends it"
        case Cure():
            return cured(mend)
        case Blanking(blank):
            return f"a blank_ms of {float(blank):g} stops it, after every move"
        case SafeOrder(relays):
            return f"a safe order: {', then '.join(relays)}"
        case NoSafeOrder():
            return "every order of its relays does so"
        case MilderOrder():
            return _milder(mend)


def cured(cure: Cure | None) -> str:
    """What would keep every step on one side inside a curve; None: nothing that was tried."""
    if cure is None:
        return "no confirmation or averaging is short enough: a quicker relay, a milder ratio or a cut-off is needed"
    return f"{change(cure)} would keep all of them"


def change(cure: Cure) -> str:
    """A cure as a change of the file."""
    if cure.window_cycles is None:
        return f"a confirm_ms of at most {float(cure.confirm_ms):.4g}"
    return f"without confirmation, window_cycles of at most {float(cure.window_cycles):g}"


def _milder(mend: MilderOrder) -> str:
    passed = ", ".join(f"{ratio} = {float(ratio):.4f}" for ratio in mend.passes) or "no ratio but the two ends'"
    return f"the safest order is {', then '.join(mend.relays)}, which passes {passed}"
