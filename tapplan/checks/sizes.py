"""How bad a witness is, in every measure it has, so that two revisions can be held against each other."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from tapplan.checks.witnesses.carried import (
    Backfed,
    BuildUp,
    ChargerReach,
    CoilVolts,
    ContactCurrent,
    ContactGap,
    ContactMaking,
    FedOutput,
    FuseCurrent,
    FuseInrush,
    FuseSight,
    LoadPermitted,
    SteadyFlux,
    SuddenFlux,
    TurnTooWide,
    WindowFill,
    WireCurrent,
)
from tapplan.checks.witnesses.counted import BrokenInCounts, ReadingBudget
from tapplan.checks.witnesses.coverage import DeadZone, Unserved
from tapplan.checks.witnesses.every import Witness
from tapplan.checks.witnesses.file import PastLimit
from tapplan.checks.witnesses.moving import (
    EndlessRound,
    FlightRead,
    OpenLine,
    OpenOutput,
    RatioPassed,
    ShortPassed,
    SuddenStep,
)
from tapplan.checks.witnesses.states import EitherStart, NeverEntered, RestOutput, StuckHigh
from tapplan.checks.witnesses.table import HeldBeyond, HeldOutside, NoisyRound, Overlap, Wandering

Size = Literal["time", "factor", "error", "current", "flux", "stretch", "excess"]
Sizes = dict[Size, Fraction]


def sizes(witness: Witness) -> Sizes:
    """Each measure of a witness, in ms, shares, percent, amperes, tesla, and volts of a stretch or an excess."""
    if isinstance(witness, BrokenInCounts):
        return sizes(witness.case)
    return {**_volts(witness), **_motion(witness), **_load(witness)}


def _volts(witness: Witness) -> Sizes:
    """How wide a stretch of inputs is, and how far an output lies beyond its limit."""
    match witness:
        case (
            Unserved(from_v=low, to_v=high)
            | DeadZone(from_v=low, to_v=high)
            | Overlap(from_v=low, to_v=high)
            | NoisyRound(from_v=low, to_v=high)
            | NeverEntered(from_v=low, to_v=high)
            | EitherStart(from_v=low, to_v=high)
            | EndlessRound(from_v=low, to_v=high)
            | Backfed(from_v=Fraction() as low, to_v=Fraction() as high)
        ):
            return {"stretch": high - low}
        case (
            HeldOutside(output_v=output, limit_v=limit)
            | HeldBeyond(output_v=output, limit_v=limit)
            | RatioPassed(output_v=output, limit_v=limit)
            | StuckHigh(output_v=output, limit_v=limit)
            | ContactGap(output_v=output, limit_v=limit)
            | CoilVolts(output_v=output, limit_v=Fraction() as limit)
            | ChargerReach(output_v=output, limit_v=limit)
            | FedOutput(output_v=output, limit_v=limit)
        ):
            return {"excess": abs(output - limit)}
    return {}


def _motion(witness: Witness) -> Sizes:
    """How long it lasts, and how far a factor lies from 1."""
    found: Sizes = {}
    match witness:
        case (
            EndlessRound(lasts_ms=lasts)
            | ShortPassed(lasts_ms=lasts)
            | RatioPassed(lasts_ms=lasts)
            | OpenOutput(lasts_ms=lasts)
            | OpenLine(lasts_ms=lasts)
            | FlightRead(lasts_ms=lasts)
            | SuddenStep(lasts_ms=lasts)
            | PastLimit(lasts_ms=Fraction() as lasts)
        ):
            found["time"] = lasts
    match witness:
        case (
            RatioPassed(factor=factor)
            | OpenLine(factor=factor)
            | SuddenStep(factor=factor)
            | RestOutput(factor=factor)
            | StuckHigh(factor=factor)
            | Wandering(factor=factor)
        ):
            found["factor"] = abs(factor - 1)
    return found


def _load(witness: Witness) -> Sizes:
    """What is carried, and by how much a reading or a window is off."""
    match witness:
        case (
            WireCurrent(current_a=current)
            | ContactCurrent(current_a=current)
            | ContactMaking(current_a=current)
            | FuseCurrent(current_a=current)
            | FuseInrush(current_a=current)
            | FuseSight(current_a=current)
        ):
            return {"current": current}
        case SteadyFlux(flux_t=flux) | SuddenFlux(flux_t=flux):
            return {"flux": flux}
        case ReadingBudget(worst_pct=worst) | WindowFill(worst_pct=worst) | LoadPermitted(worst_pct=worst):
            return {"error": worst}
        case BuildUp(build_mm=length, width_mm=width) | TurnTooWide(turn_mm=length, width_mm=width):
            return {"excess": length - width}
    return {}
