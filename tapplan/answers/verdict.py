"""The verdict on a design: promises, findings, traits, and what the file accepts: what `check` answers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, number, said, volts, witness, word, yes
from tapplan.answers.findings import FindingRow, finding_rows
from tapplan.checks.finding import Severity
from tapplan.checks.judgement import Accepted, Judgement, judged
from tapplan.checks.promises import Promise
from tapplan.checks.review import Review
from tapplan.checks.traits import COUNTED, Trait
from tapplan.checks.witnesses.every import Witness
from tapplan.network.loaded import has_resistance

STALE = "stale-accept"


@dataclass(frozen=True, slots=True)
class PromiseRow:
    """A fault code that applies: held or broken, and its least margin and where, for those that have one."""

    promise: Annotated[str, word("promise")]
    held: Annotated[bool, yes("kept", yes_no=("held", "BROKEN"))]
    margin: Annotated[Fraction | None, volts("margin", digits=2)]
    unit: Annotated[str | None, word()]
    where: Annotated[str | None, word("least at")]


@dataclass(frozen=True, slots=True, kw_only=True)
class TraitRow:
    """A figure that every such stage has: its worst value and where, and the verb that tells more."""

    code: Annotated[str, word()]
    value: Annotated[Fraction, number()]
    unit: Annotated[str, word()]
    where: Annotated[str, word()]
    limit: Annotated[Fraction | None, number()]
    lasts_ms: Annotated[Fraction | None, number()]
    rows: Annotated[int, number()]
    name: Annotated[str, said("trait")]
    worst: Annotated[str, said("at worst")]
    limit_told: Annotated[str | None, said("limit", optional=True)]
    place: Annotated[str, said("where", empty="")]
    verb: Annotated[str, word("more in")]


@dataclass(frozen=True, slots=True)
class AcceptedRow:
    """A finding that the file sets apart, and why."""

    severity: Annotated[Severity, word("severity")]
    code: Annotated[str, word("code")]
    where: Annotated[str, word("where")]
    message: Annotated[str, word("what")]
    witness: Annotated[Witness, witness()]
    reason: Annotated[str, word("accepted because")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict(Answer):
    """All of it; `told` is the verdict in a sentence that a person can say aloud."""

    heading = "Check"

    title: str
    sound: Annotated[bool, yes()]
    told: Annotated[str, word()]
    promises: Annotated[tuple[PromiseRow, ...], more()]
    findings: Annotated[tuple[FindingRow, ...], more()]
    traits: Annotated[tuple[TraitRow, ...], more()]
    accepted: Annotated[tuple[AcceptedRow, ...], more()]
    assumed: Annotated[str | None, word(optional=True)] = None

    @property
    def wrong(self) -> bool:
        """Whether a promise is broken."""
        return not self.sound

    @property
    def measured(self) -> tuple[PromiseRow, ...]:
        """The promises that have a margin."""
        return tuple(one for one in self.promises if one.margin is not None)

    @property
    def broken_told(self) -> str:
        """The broken promises that have no margin, by name."""
        return ", ".join(one.promise for one in self.promises if one.margin is None and not one.held)

    @property
    def also_held(self) -> tuple[str, ...]:
        """The promises that hold and have no margin."""
        return tuple(one.promise for one in self.promises if one.margin is None and one.held)

    @property
    def urgent(self) -> tuple[FindingRow, ...]:
        """The findings that are more than notes, and acceptances that meet nothing: somebody counts on those."""
        return tuple(one for one in self.findings if _is_urgent(one))

    @property
    def notes(self) -> tuple[str, ...]:
        """The codes of the other notes, each once."""
        return tuple(dict.fromkeys(one.code for one in self.findings if not _is_urgent(one)))


def _is_urgent(one: FindingRow) -> bool:
    return one.severity is not Severity.NOTE or one.code == STALE


def verdict(review: Review) -> Verdict:
    """The verdict on a design.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    found = verdict_of(review.design.title, review.once("judged", lambda: judged(review)))
    return replace(found, assumed=_assumed(review))


def _assumed(review: Review) -> str | None:
    """What the verdict leaves out because the file does; None where it leaves out nothing of weight."""
    if review.design.output.load_va is None or has_resistance(review.circuit):
        return None
    return "No resistance, wire or leakage is stated, so that no drop under load is counted; see: tapplan rate"


def verdict_of(title: str, found: Judgement) -> Verdict:
    """The same of a judgement at hand."""
    limited = any(one.limit is not None for one in found.traits)
    return Verdict(
        title=title,
        sound=found.sound,
        told=found.told,
        promises=promise_rows(found.promises),
        findings=finding_rows(found.findings),
        traits=tuple(_trait(one, limited=limited) for one in found.traits),
        accepted=accepted_rows(found.accepted),
    )


def promise_rows(found: Iterable[Promise]) -> tuple[PromiseRow, ...]:
    """Promises with their margins."""
    return tuple(
        PromiseRow(one.code, one.held, one.margin, None if one.margin is None else "V", one.where or None)
        for one in found
    )


def accepted_rows(found: Sequence[Accepted]) -> tuple[AcceptedRow, ...]:
    """What a file sets apart, with its reasons."""
    rows = finding_rows(one.finding for one in found)
    return tuple(
        AcceptedRow(row.severity, row.code, row.where, row.message, row.witness, one.reason)
        for one, row in zip(found, rows, strict=True)
    )


def _trait(one: Trait, *, limited: bool) -> TraitRow:
    plain = one.where.removeprefix("from ").removesuffix(f", {one.side} the curve") if one.side else one.where
    return TraitRow(
        code=one.code,
        value=one.value,
        unit=one.unit,
        where=one.where,
        limit=one.limit,
        lasts_ms=one.lasts_ms,
        rows=one.rows,
        name=trait_name(one),
        worst=trait_told(one),
        limit_told=None if not limited else "-" if one.limit is None else f"{float(one.limit):.4g}",
        place="" if one.unit in COUNTED else plain,
        verb=one.verb,
    )


def trait_name(one: Trait) -> str:
    """Its code, and of a sudden step the side."""
    return f"{one.code}, {one.side}" if one.side else one.code


def trait_told(one: Trait) -> str:
    """Its value, and how long it lasts."""
    lasts = "" if one.lasts_ms is None or one.unit == "ms" else f" for {float(one.lasts_ms):.3g} ms"
    return f"{float(one.value):.4g} {one.unit}{lasts}"
