"""What should be mended, and what a code means: what `check --only` and `--explain` answer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, witness, word
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.remedies import REMEDIES
from tapplan.checks.review import Review
from tapplan.checks.rules import CODES, findings_in
from tapplan.checks.witnesses.every import Witness
from tapplan.design.objection import nearest
from tapplan.errors import UsageError

GATHERED_AT = 4  # findings of one code beyond which they fold into one line


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding with its sentence and what it rests on."""

    severity: Annotated[Severity, word("severity")]
    code: Annotated[str, word("code")]
    where: Annotated[str, word("where")]
    message: Annotated[str, word("what")]
    witness: Annotated[Witness, witness()]

    @property
    def told(self) -> str:
        """Place and sentence."""
        return f"{self.where}: {self.message}"


def finding_rows(found: Iterable[Finding]) -> tuple[FindingRow, ...]:
    """Findings as they are told, in the order given."""
    return tuple(FindingRow(one.severity, one.code, one.where, one.told, one.witness) for one in found)


@dataclass(frozen=True, slots=True)
class ToldFinding:
    """A line of a list: a finding, or several of one code gathered into one."""

    severity: Severity
    code: str
    told: str


def folded(found: Sequence[FindingRow]) -> tuple[ToldFinding, ...]:
    """Findings as they are listed, many warnings or notes of one code gathered into one line; faults never."""
    lines: list[ToldFinding] = []
    gathered: set[str] = set()
    each: dict[tuple[str, Severity], list[FindingRow]] = {}
    for one in found:
        each.setdefault((one.code, one.severity), []).append(one)
    for one in found:
        alike = each[one.code, one.severity]
        if one.severity is Severity.FAULT or len(alike) <= GATHERED_AT:
            lines.append(ToldFinding(one.severity, one.code, one.told))
        elif one.code not in gathered:
            gathered.add(one.code)
            places = ", ".join(other.where for other in alike[:GATHERED_AT])
            lines.append(ToldFinding(one.severity, one.code, f"{len(alike)} times, among them at {places}"))
    return tuple(lines)


def any_fault(found: Iterable[FindingRow]) -> bool:
    """Whether one of them is a fault."""
    return any(one.severity is Severity.FAULT for one in found)


def counts_told(found: Iterable[FindingRow]) -> str:
    """How many there are of each severity; nothing where there are none."""
    severities = [one.severity for one in found]
    counts = {severity: severities.count(severity) for severity in Severity}
    return ", ".join(
        f"{count} {severity.value}{'s' if count != 1 else ''}" for severity, count in counts.items() if count
    )


@dataclass(frozen=True, slots=True)
class Findings(Answer):
    """Findings of some codes, the most harmful first, none folded into another."""

    heading = "Check"

    title: str
    findings: Annotated[tuple[FindingRow, ...], more()]

    @property
    def wrong(self) -> bool:
        """Whether one of them is a fault."""
        return any_fault(self.findings)

    @property
    def told(self) -> str:
        """How many there are."""
        return counts_told(self.findings) or "Nothing found."


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a code means, why it matters, how to mend it."""

    code: Annotated[str, word("code")]
    means: Annotated[str, word("means")]
    why: Annotated[str, word("why it matters")]
    mend: Annotated[str, word("to mend it")]


@dataclass(frozen=True, slots=True)
class Explained(Answer):
    """A code and where it is found in a design."""

    heading = "Explained"

    title: str
    explained: Annotated[Meaning, more()]
    findings: Annotated[tuple[FindingRow, ...], more()]

    @property
    def wrong(self) -> bool:
        """Whether it is found as a fault."""
        return any_fault(self.findings)


def findings_of(review: Review, codes: Iterable[str]) -> Findings:
    """Every finding of some codes.

    Raises:
        UsageError: a code that there is not.
    """
    return Findings(review.design.title, finding_rows(findings_in(review, known_codes(codes))))


def explained(review: Review, code: str) -> Explained:
    """What a code means and where it is found.

    Raises:
        UsageError: there is no such code.
    """
    known_codes([code])
    remedy = REMEDIES[code]
    meaning = Meaning(code, CODES[code], remedy.why, remedy.mend)
    return Explained(review.design.title, meaning, finding_rows(findings_in(review, [code])))


def known_codes(codes: Iterable[str]) -> list[str]:
    """The codes, each of which there is.

    Raises:
        UsageError: one that there is not, or the codes given as one text.
    """
    if isinstance(codes, str):
        raise UsageError(f"found {codes!r}; accepted: a list of codes, such as ['dead-zone']")
    wanted = list(codes)
    for code in wanted:
        if code not in CODES:
            hint = nearest(str(code), CODES)
            raise UsageError(f'found code "{code}"; accepted: {", ".join(CODES)}' + (f" ({hint})" if hint else ""))
    return wanted
