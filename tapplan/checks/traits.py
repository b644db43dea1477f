"""Figures that no relay stage is free of, read from the witnesses of their rows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.every import Witness
from tapplan.checks.witnesses.file import PastLimit
from tapplan.checks.witnesses.moving import OpenLine, OpenOutput, RatioPassed, ShortPassed, SuddenStep
from tapplan.checks.witnesses.states import RestOutput
from tapplan.design.model import Design


@dataclass(frozen=True, slots=True)
class Trait:
    """A figure: its worst value and where, how many rows are behind it, how long it lasts, and a limit stated for it.

    `verb` is the one that tells more; `side`, of a sudden step, the side of the curve; `harm`, of volts that last,
    how far they are beyond the window times how long, in volts times ms.
    """

    code: str
    value: Fraction
    unit: str
    where: str
    verb: str
    rows: int
    lasts_ms: Fraction | None = None
    limit: Fraction | None = None
    side: Literal["over", "under", ""] = ""
    harm: Fraction = Fraction(0)

    @property
    def broken(self) -> bool:
        """Whether it lies beyond its limit: under it for a dip, over it for all else."""
        if self.limit is None:
            return False
        return self.value < self.limit if self.code == "race-dip" else self.value > self.limit


def _no_limit(_: Design) -> Fraction | None:
    return None


@dataclass(frozen=True, slots=True)
class Figure:
    """How a trait is read from the witnesses of its rows: which value, in which unit, the higher the worse or not."""

    unit: str
    verb: str
    value: Callable[[Witness], Fraction | None]
    higher: bool = True
    limit: Callable[[Design], Fraction | None] = _no_limit


def _rest_limit(design: Design) -> Fraction | None:
    rest = design.limits.rest_v
    return None if rest is None else rest / design.output.nominal_v


def _one(_: Witness) -> Fraction:
    return Fraction(1)


def _output_v(witness: Witness) -> Fraction | None:
    match witness:
        case RatioPassed(output_v=output) | SuddenStep(output_v=output):
            return output
    return None


def _factor(witness: Witness) -> Fraction | None:
    match witness:
        case OpenLine(factor=factor) | RestOutput(factor=factor):
            return factor
    return None


def _lasts_ms(witness: Witness) -> Fraction | None:
    match witness:
        case (
            OpenOutput(lasts_ms=lasts)
            | OpenLine(lasts_ms=lasts)
            | ShortPassed(lasts_ms=lasts)
            | RatioPassed(lasts_ms=lasts)
            | SuddenStep(lasts_ms=lasts)
        ):
            return lasts
    return None


FIGURES: dict[str, Figure] = {
    "move-gap": Figure("ms", "moves", _lasts_ms, limit=lambda design: design.limits.move_gap_ms),
    "race-short": Figure("moves", "moves", _one),
    "race-overvoltage": Figure("V", "moves", _output_v, limit=lambda design: design.limits.surge_v),
    "race-dip": Figure("V", "moves", _output_v, higher=False, limit=lambda design: design.limits.dip_v),
    "dropout-unsafe": Figure("V", "moves", _output_v, limit=lambda design: design.limits.surge_v),
    "flight-inrush": Figure("x flux", "moves", _factor, limit=lambda design: design.limits.flux_factor),
    "slow-recovery": Figure("V", "steps", _output_v),
    "stuck-short": Figure("faults", "faults", _one, limit=lambda design: design.limits.stuck_shorts),
    "stuck-overvoltage": Figure("faults", "faults", _one),
    "unsafe-rest": Figure("x nominal", "table", _factor, limit=_rest_limit),
}
COUNTED = ("moves", "faults")  # units of traits whose value is how many rows they have


def traits_of(review: Review, rows: list[Finding]) -> list[Trait]:
    """The figures, one for each code (of sudden steps one for each side of the curve), in the order of the rules."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for one in rows:
        groups.setdefault((one.code, _side(one.witness)), []).append(one)
    found = [_trait(review, group) for group in groups.values()]
    return [one for one in found if one is not None]


def _side(witness: Witness) -> Literal["over", "under", ""]:
    return witness.side if isinstance(witness, SuddenStep) else ""


def _trait(review: Review, rows: list[Finding]) -> Trait | None:
    code = rows[0].code
    figure = FIGURES[code]
    valued = [(value, one) for one in rows if (value := figure.value(one.witness)) is not None]
    if not valued:
        return None
    value, worst = (max if figure.higher else min)(valued, key=lambda pair: pair[0])
    if figure.unit in COUNTED:
        value = Fraction(len(rows))
    if code == "unsafe-rest":
        value, worst = max(valued, key=lambda pair: abs(pair[0] - 1))
    return Trait(
        code,
        value,
        figure.unit,
        worst.where,
        figure.verb,
        len(rows),
        _lasts_ms(worst.witness),
        figure.limit(review.design),
        _side(worst.witness),
        _harm(review, worst, value) if figure.unit == "V" else Fraction(0),
    )


def _harm(review: Review, worst: Finding, volts: Fraction) -> Fraction:
    low = worst.code == "race-dip" or _side(worst.witness) == "under"
    beyond = review.window.low - volts if low else volts - review.window.high
    return max(beyond, Fraction(0)) * (_lasts_ms(worst.witness) or Fraction(0))


def past_limits(traits: list[Trait]) -> list[Finding]:
    """A fault for every trait beyond the limit that the file states."""
    return [
        Finding(one.code, Severity.FAULT, one.where, _past(one, one.limit))
        for one in traits
        if one.broken and one.limit is not None
    ]


def _past(trait: Trait, limit: Fraction) -> PastLimit:
    return PastLimit(
        value=trait.value,
        unit=trait.unit,
        limit=limit,
        side="under" if trait.value < limit else "over",
        lasts_ms=trait.lasts_ms,
    )
