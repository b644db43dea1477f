"""What every single fault does in every band: what `faults` answers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, more, ratio, said, word, yes
from tapplan.answers.words import CAUTION_LINE
from tapplan.checks.faulted import FaultRow, fault_table, never_survived
from tapplan.checks.finding import Severity
from tapplan.checks.review import Review
from tapplan.exact import Span
from tapplan.network.turns import Gain


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
    harmless: bool


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
    return Faults(title=review.design.title, faults=tuple(_row(one) for one in rows), never_survived=never)


def _row(one: FaultRow) -> FaultInBand:
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
        harmless=one.harmless,
    )
