"""Several designs judged in one call: what `check` answers for a code host or a hook."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import more, number, said, word, yes
from tapplan.answers.findings import FindingRow, counts_told
from tapplan.answers.verdict import Verdict
from tapplan.design.model import Design
from tapplan.design.places import key_lines, line_of
from tapplan.design.shape import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedFinding:
    """A finding, and the line of what it is about: a band, a relay, a winding; else the first line of the file."""

    line: Annotated[int, number("line")]
    finding: Annotated[FindingRow, more()]


@dataclass(frozen=True, slots=True, kw_only=True)
class FileVerdict:
    """The verdict on one file; None with the error where it could not be judged."""

    design: Annotated[str, word("design")]
    verdict: Annotated[Verdict | None, more()]
    error: Annotated[str | None, word(optional=True)] = None
    told: Annotated[str, said("verdict")]
    counts: Annotated[str, said("findings")]
    placed: Annotated[tuple[PlacedFinding, ...], more(key="lines")]


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
    lines = key_lines(text)
    placed = (PlacedFinding(line=_line(lines, design, one.where), finding=one) for one in verdict.findings)
    return FileVerdict(
        design=path,
        verdict=verdict,
        told=verdict.told,
        counts=counts_told(verdict.findings) or "none",
        placed=tuple(placed),
    )


def unjudged_file(path: str, error: str) -> FileVerdict:
    """A file that cannot be judged, and why."""
    return FileVerdict(design=path, verdict=None, error=error, told="cannot be judged", counts="", placed=())


def _line(lines: dict[Path, int], design: Design, where: str) -> int:
    """The line of the first thing that a place names, in the order in which a file has them; else the first line."""
    for one in _named(design):
        if re.search(rf"(?<!\w){re.escape(one.name)}(?!\w)", where):
            return line_of(lines, one.path) or 1
    return 1


@dataclass(frozen=True, slots=True)
class _Named:
    """A name and where it stands in the file."""

    path: Path
    name: str


def _named(design: Design) -> list[_Named]:
    """Everything with a name, longer names first, for a name may hold a shorter one."""
    bands, relays = [one.name for one in design.bands], [one.name for one in design.relays]
    tables = (("band", bands), ("relay", relays), ("winding", [one.name for one in design.windings]))
    every = [_Named((table, number), name) for table, names in tables for number, name in enumerate(names)]
    return sorted(every, key=lambda one: -len(one.name))
