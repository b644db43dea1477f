"""Where a witness stands on the curve; most stand nowhere on it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.witnesses.counted import BrokenInCounts
from tapplan.checks.witnesses.coverage import Unserved
from tapplan.checks.witnesses.every import Witness
from tapplan.checks.witnesses.moving import RatioPassed, SuddenStep
from tapplan.checks.witnesses.states import EitherStart, RestOutput, StuckHigh
from tapplan.checks.witnesses.table import HeldBeyond, HeldOutside, Rising


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """An input and the output at it, in volts."""

    input_v: Fraction
    output_v: Fraction


def mark_of(witness: Witness) -> CurvePoint | None:
    """The input and the output of a witness; None where it has not both."""
    match witness:
        case BrokenInCounts(case=case):
            return mark_of(case)
        case (
            HeldOutside(input_v=volts, output_v=output)
            | HeldBeyond(input_v=volts, output_v=output)
            | Unserved(input_v=volts, output_v=Fraction() as output)
            | Rising(input_v=Fraction() as volts, output_v=Fraction() as output)
            | EitherStart(input_v=volts, output_v=output)
            | RestOutput(input_v=volts, output_v=output)
            | StuckHigh(input_v=volts, output_v=output)
            | RatioPassed(input_v=volts, output_v=output)
            | SuddenStep(input_v=volts, output_v=output)
        ):
            return CurvePoint(volts, output)
    return None
