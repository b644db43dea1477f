"""What every single fault does in every band: what `faults` answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, more, ratio, said, word, yes
from tapplan.answers.words import CAUTION_LINE, number
from tapplan.checks.broken import known_faults
from tapplan.checks.faulted import FaultRow, fault_table, never_survived
from tapplan.checks.finding import Severity
from tapplan.checks.review import Review
from tapplan.exact import Span
from tapplan.network.turns import Gain, Kind


class FaultEffect(StrEnum):
    """What a fault makes of a band, the most harmful first.

    `HIGH`: volts above the window, in antiphase too; `NONE`: no volts that can be foretold, or none at all; `LOW`:
    below the window; `AWAY`: the load is on the backup; `HARMLESS`: inside the window all the same.
    """

    SHORT = "short"
    HIGH = "high"
    NONE = "none"
    LOW = "low"
    AWAY = "away"
    HARMLESS = "harmless"


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultInBand:
    """One fault in one band, and what the output then is over the band's hold within the mains range."""

    part: Annotated[str, word("part")]
    fault: Annotated[str, word("fault")]
    band: Annotated[str, word("band")]
    kind: Annotated[str, word()]
    then: Annotated[str, said("then")]
    ratio: Annotated[Fraction | None, ratio("", on_screen=False)]
    output_v: Annotated[Span | None, ends("output")]
    away: Annotated[bool, yes()]
    severity: Annotated[Severity, word("severity", on_screen=False)]
    effect: Annotated[FaultEffect, word()]
    harmless: bool
    place: int

    @property
    def word(self) -> str:
        """The effect in a word, and the kind of state that it is the effect of."""
        if self.effect in (FaultEffect.SHORT, FaultEffect.AWAY):
            return EFFECTS[self.effect]
        if self.effect is FaultEffect.NONE and self.kind not in _NO_VOLTS:
            return "not foretold"
        return f"{EFFECTS[self.effect]}, {self.kind}"

    @property
    def meter(self) -> str:
        """What a meter at the output shows, in volts where there are some; it knows no phase."""
        if self.away:
            return "on the backup"
        if self.output_v is not None:
            ends = sorted((abs(self.output_v.low), abs(self.output_v.high)))
            return f"{number(ends[0], 1)} - {number(ends[1], 1)} V" if ends[1] else "0 V"
        return "expect the fuse" if self.effect is FaultEffect.SHORT else _NO_VOLTS.get(self.kind, "-")


EFFECTS: Mapping[FaultEffect, str] = {
    FaultEffect.SHORT: "short",
    FaultEffect.HIGH: "too high",
    FaultEffect.NONE: "no output",
    FaultEffect.LOW: "too low",
    FaultEffect.AWAY: "away",
    FaultEffect.HARMLESS: "harmless",
}
_NO_VOLTS: Mapping[str, str] = {Kind.FLOATING: "nothing steady", Kind.UNFED: "about 0 V", Kind.DEAD: "0 V"}


@dataclass(frozen=True, slots=True)
class FaultAcross:
    """One fault in every band, in the order of the table; `place` is its number among all faults of the stage."""

    part: str
    fault: str
    place: int
    cells: tuple[FaultInBand, ...]


@dataclass(frozen=True, slots=True)
class FaultMatrix:
    """Every fault in every band, the most harmful first."""

    bands: tuple[str, ...]
    rows: tuple[FaultAcross, ...]


@dataclass(frozen=True, slots=True)
class NeverSurvived:
    """A fault that takes the output out of the window in every band."""

    part: Annotated[str, word("part")]
    fault: Annotated[str, word("fault")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults(Answer):
    """The fault table, the most harmful first."""

    heading = "Single faults"
    caution = CAUTION_LINE

    title: str
    faults: Annotated[tuple[FaultInBand, ...], more()]
    never_survived: Annotated[tuple[NeverSurvived, ...], more()]
    bands: tuple[str, ...]

    @property
    def matrix(self) -> FaultMatrix:
        """The same by fault and band: faults in the order of their worst bands, bands in the order of the table."""
        across: dict[int, dict[str, FaultInBand]] = {}
        for one in self.faults:
            across.setdefault(one.place, {})[one.band] = one
        rows = (tuple(by_band[band] for band in self.bands) for by_band in across.values())
        return FaultMatrix(
            self.bands, tuple(FaultAcross(row[0].part, row[0].fault, row[0].place, row) for row in rows if row)
        )

    @property
    def harmful(self) -> tuple[FaultInBand, ...]:
        """The rows in which the output leaves the window."""
        return tuple(one for one in self.faults if not one.harmless)

    @property
    def told(self) -> str:
        """How many rows are harmless, and what no band survives."""
        named = ", ".join(f"{one.part} {one.fault}" for one in self.never_survived)
        survived = named or "none, every single fault leaves at least one band in the window"
        harmless = len(self.faults) - len(self.harmful)
        return (
            f"{harmless} more rows are harmless: the output stays inside the window.\nNo band survives: {survived}."
        )


def faults(review: Review) -> Faults:
    """What each single fault does in each band of a design."""
    rows = fault_table(review)
    never = tuple(NeverSurvived(one.part, one.fault) for one in never_survived(rows))
    places = {fault: place for place, fault in enumerate(known_faults(review))}
    return Faults(
        title=review.design.title,
        faults=tuple(_row(one, places[one.fault]) for one in rows),
        never_survived=never,
        bands=tuple(row.name for row in review.table.rows),
    )


def _row(one: FaultRow, place: int) -> FaultInBand:
    kind = one.outcome.kind.value
    return FaultInBand(
        part=one.fault.part,
        fault=one.fault.fault,
        band=one.row.name,
        kind=kind,
        then="away" if one.away else f"too high, {kind}" if one.too_high else kind,
        ratio=one.outcome.ratio if isinstance(one.outcome, Gain) else None,
        output_v=one.output,
        away=one.away,
        severity=one.severity,
        effect=_effect(one),
        harmless=one.harmless,
        place=place,
    )


def _effect(one: FaultRow) -> FaultEffect:
    if one.shorts:
        return FaultEffect.SHORT
    if one.away:
        return FaultEffect.AWAY
    if one.harmless:
        return FaultEffect.HARMLESS
    if one.output is None or one.output.low == 0 == one.output.high:
        return FaultEffect.NONE
    over = max(abs(one.output.low), abs(one.output.high)) > one.window.high
    return FaultEffect.HIGH if over else FaultEffect.LOW
