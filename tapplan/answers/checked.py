"""Several designs judged in one call: what `check` answers for a code host or a hook."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, number, said, word, yes
from tapplan.answers.findings import FindingRow, counts_told
from tapplan.answers.verdict import AcceptedRow, Verdict
from tapplan.checks.finding import Severity
from tapplan.checks.witnesses.file import PastLimit
from tapplan.design.model import Design
from tapplan.design.places import key_lines, line_of
from tapplan.design.shape import Path
from tapplan.errors import DesignError, Problem

# How the places of `tapplan.checks.where` name a part; what stands in quotes without a word before it is a band.
NAMED = {
    "band": '(?<!relay )(?<!winding )(?<!feed )"{}"',
    "relay": 'relay "{}"',
    "winding": 'winding "{}"',
}
STALE = re.compile(r"accept\[(\d+)\]")
QUOTED = re.compile('"[^"]*"')


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedFinding:
    """A finding, and the line of what it is about: a limit, a band, a relay, a winding; else that of the mains."""

    line: Annotated[int, number("line")]
    finding: Annotated[FindingRow, more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedAcceptance:
    """A finding that the file sets apart, and the line where it does."""

    line: int
    accepted: AcceptedRow


@dataclass(frozen=True, slots=True, kw_only=True)
class FileVerdict:
    """The verdict on one file; None with the error where it could not be judged."""

    design: Annotated[str, word("design")]
    verdict: Annotated[Verdict | None, more()]
    error: Annotated[str | None, word(optional=True)] = None
    problems: tuple[Problem, ...] = ()
    told: Annotated[str, said("verdict")]
    counts: Annotated[str, said("findings")]
    placed: Annotated[tuple[PlacedFinding, ...], more(key="lines")]
    accepted: tuple[PlacedAcceptance, ...] = ()

    @property
    def faults(self) -> tuple[FindingRow, ...]:
        """The faults found in it."""
        found = () if self.verdict is None else self.verdict.urgent
        return tuple(one for one in found if one.severity is Severity.FAULT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked(Answer):
    """All files; `sound`: every one is."""

    heading = "Check"

    title: str
    sound: Annotated[bool, yes()]
    designs: Annotated[tuple[FileVerdict, ...], more()]

    @property
    def wrong(self) -> bool:
        """Whether a promise of any of them is broken."""
        return any(one.verdict is not None and one.verdict.wrong for one in self.designs)

    @property
    def errors(self) -> tuple[str, ...]:
        """What is wrong with the files that could not be judged."""
        return tuple(one.error for one in self.designs if one.error is not None)

    @property
    def told(self) -> str:
        """How many are sound, in a sentence."""
        sound = sum(one.verdict is not None and one.verdict.sound for one in self.designs)
        unjudged = len(self.errors)
        left = f"; {unjudged} could not be judged" if unjudged else ""
        return (
            f"{sound} of {len(self.designs)} {'designs are' if len(self.designs) != 1 else 'design is'} sound{left}"
        )


def checked(found: Sequence[FileVerdict]) -> Checked:
    """The verdicts on several files."""
    sound = all(one.verdict is not None and one.verdict.sound for one in found)
    return Checked(
        title=f"{len(found)} designs" if len(found) != 1 else "1 design", sound=sound, designs=tuple(found)
    )


def judged_file(path: str, text: str, design: Design, verdict: Verdict) -> FileVerdict:
    """A verdict with the lines of its findings."""
    file = _File(key_lines(text), design)
    placed = (PlacedFinding(line=file.line_of(one), finding=one) for one in verdict.findings)
    return FileVerdict(
        design=path,
        verdict=verdict,
        told=verdict.told,
        counts=counts_told(verdict.findings) or "none",
        placed=tuple(placed),
        accepted=tuple(PlacedAcceptance(line=file.line_of_acceptance(one), accepted=one) for one in verdict.accepted),
    )


def unjudged_file(error: DesignError) -> FileVerdict:
    """A file that cannot be judged, and why."""
    return FileVerdict(
        design=error.file,
        verdict=None,
        error=str(error),
        problems=error.problems,
        told="cannot be judged",
        counts="",
        placed=(),
    )


@dataclass(frozen=True, slots=True)
class _Named:
    """A name, where it stands in the file, and where in the words of a finding's place."""

    path: Path
    name: str
    begins: int


@dataclass(frozen=True, slots=True)
class _File:
    """A design and the lines of its keys."""

    lines: dict[Path, int]
    design: Design

    def line_of(self, one: FindingRow) -> int:
        """The line of a broken limit or a stale acceptance, else of what the place names first, else of [mains]."""
        if isinstance(one.witness, PastLimit):
            return line_of(self.lines, ("limits",)) or 1
        stale = STALE.match(one.where)
        if stale is not None:
            return line_of(self.lines, ("accept", int(stale[1]) - 1)) or 1
        named = min(self._named(one.where), key=lambda each: (each.begins, -len(each.name)), default=None)
        path = ("mains",) if named is None else named.path
        return line_of(self.lines, path) or 1

    def line_of_acceptance(self, one: AcceptedRow) -> int:
        """The line of the `[[accept]]` that sets a finding apart."""
        stated = [(each.code, each.where or one.where, each.reason) for each in self.design.accept]
        return line_of(self.lines, ("accept", stated.index((one.code, one.where, one.reason)))) or 1

    def _named(self, where: str) -> Iterator[_Named]:
        """Every band, relay or winding of the file that a place names: in quotes, or a relay by its contact."""
        bare = QUOTED.sub(lambda found: "_" * len(found.group()), where)
        design = self.design
        bands, relays = [one.name for one in design.bands], [one.name for one in design.relays]
        tables = (("band", bands), ("relay", relays), ("winding", [one.name for one in design.windings]))
        for table, names in tables:
            for place, name in enumerate(names):
                found = re.search(NAMED[table].format(re.escape(name)), where)
                if found is None and table == "relay":
                    found = re.search(rf"(?<!\w){re.escape(name)}(?!\w)", bare)
                if found is not None:
                    yield _Named((table, place), name, found.start())
