"""The verdict on a design: what it promises and by what margin, what should be mended, what every such stage has.

A *promise* is a fault code that applies to the design, held or broken. A *finding* is what someone can and should
mend. A *trait* is a figure that no relay stage is free of; it is a finding only where the file states a limit that it
breaks, or where a better choice is known and named.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.promises import Promise, promises
from tapplan.checks.review import Review
from tapplan.checks.rules import CODES, findings_in
from tapplan.checks.sentences.words import short_volts
from tapplan.checks.traits import FIGURES, Trait, past_limits, traits_of
from tapplan.checks.witnesses.file import NothingMet
from tapplan.design.model import Accept, Design
from tapplan.design.objection import quoted
from tapplan.errors import TableError


@dataclass(frozen=True, slots=True)
class Accepted:
    """A finding that the file sets apart, and why."""

    finding: Finding
    reason: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """All three parts; findings in order of severity and importance, accepted ones set apart."""

    promises: tuple[Promise, ...]
    findings: tuple[Finding, ...]
    traits: tuple[Trait, ...]
    accepted: tuple[Accepted, ...]

    @property
    def sound(self) -> bool:
        """Whether no fault is left."""
        return all(one.held for one in self.promises)

    @property
    def least(self) -> Promise | None:
        """The promise with the least margin; None where none has any."""
        known = [(one.margin, one) for one in self.promises if one.margin is not None]
        return min(known, key=lambda pair: pair[0], default=(None, None))[1]

    @property
    def told(self) -> str:
        """The verdict in a sentence."""
        broken = sum(not one.held for one in self.promises)
        if broken:
            return f"Not sound: {broken} of {len(self.promises)} promises broken"
        least = self.least
        margin = ""
        if least is not None and least.margin is not None:
            margin = f"; the least margin is {short_volts(least.margin)}, {least.where}"
        return f"Sound: all {len(self.promises)} promises hold{margin}"


def known_accepts(design: Design) -> None:
    """Refuses a design that accepts what there is not.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    for number, one in enumerate(design.accept):
        if one.code not in CODES:
            raise TableError(("accept", number, "code"), f'"{one.code}"', f"a code of {quoted(CODES, len(CODES))}")


def judged(review: Review) -> Judgement:
    """Promises, findings, traits, and what the file accepts.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    known_accepts(review.design)
    every = findings_in(review)
    rows = [one for one in every if one.code in FIGURES]
    traits = traits_of(review, rows)
    found = [one for one in every if one.code not in FIGURES or one.severity is Severity.FAULT or one.mend]
    found = [*past_limits(traits), *found]
    parted = _accepting(review.design.accept, found)
    faults = {one.code for one in found if one.severity is Severity.FAULT}
    order = {severity: place for place, severity in enumerate(Severity)}
    return Judgement(
        tuple(promises(review, faults)),
        tuple(sorted(parted.left, key=lambda one: order[one.severity])),
        tuple(traits),
        tuple(parted.accepted),
    )


@dataclass(frozen=True, slots=True)
class _Parted:
    """The findings left, and those set apart."""

    left: list[Finding]
    accepted: list[Accepted]


def _accepting(accept: tuple[Accept, ...], found: list[Finding]) -> _Parted:
    """The findings left, and those that the file accepts; an acceptance that meets no warning or note is stale."""
    left, accepted = list(found), []
    for number, one in enumerate(accept, 1):
        met = [
            finding
            for finding in left
            if finding.code == one.code
            and finding.severity is not Severity.FAULT
            and one.where in (None, finding.where)
        ]
        accepted += [Accepted(finding, one.reason) for finding in met]
        left = [finding for finding in left if finding not in met]
        if not met:
            place = f'accept[{number}], "{one.code}"' + (f" at {one.where}" if one.where else "")
            left.append(Finding("stale-accept", Severity.NOTE, place, NothingMet()))
    return _Parted(left, accepted)
