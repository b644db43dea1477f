"""A session at the bench kept in a file: the readings in the words in which they are given, and what was put off.

    fingerprint 2b7c0f6a91d4
    off: coil-ohms K1 = 410
    # skipped off coils K1: click K1
    line 203 V rising: output = 231

A line that begins with # is a remark, but for what was skipped.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tapplan.bench.isolation import Reading
from tapplan.bench.measures import Measure
from tapplan.bench.phrase import Names, ReadingError
from tapplan.bench.readings import reading_of
from tapplan.bench.words import told, value_told
from tapplan.control.table import ControlTable
from tapplan.design.file import read_text
from tapplan.design.fingerprint import fingerprint
from tapplan.errors import DesignError, Problem

HEAD, SKIPPED = "fingerprint", "# skipped "
KIND = "a session that `isolate --save` wrote"


@dataclass(frozen=True, slots=True)
class Skipped:
    """A measurement put off: not asked for again."""

    measure: Measure


Deed = Reading | Skipped  # what a repairer did, one after the other


def session_text(table: ControlTable, deeds: Iterable[Deed]) -> str:
    """The text of a session's file, a line for each deed."""
    lines = [f"{HEAD} {fingerprint(table.stated)}", *map(line_told, deeds)]
    return "".join(f"{line}\n" for line in lines)


def line_told(deed: Deed) -> str:
    """A deed as its line in the file; a reading as it was given, so that no digit is lost."""
    if isinstance(deed, Skipped):
        return f"{SKIPPED}{told(deed.measure)}"
    if deed.told:
        return " ".join(deed.told.splitlines())
    value = "unknown" if deed.value is None else value_told(deed.measure, deed.value)
    return f"{told(deed.measure)} = {value}"


def load_session(path: str, table: ControlTable, *, any_revision: bool = False) -> tuple[Deed, ...]:
    """What a saved session holds, in the order in which it was done.

    Raises:
        DesignError: the file is no session, is of another revision of the design, or has lines that mean nothing;
            every one of them is told.
    """
    lines = read_text(path, f"{KIND}, that can be read").replace("\r", "\n").split("\n")
    word, _, theirs = lines[0].strip().partition(" ")
    if word != HEAD:
        raise DesignError(path, (Problem("", "no fingerprint in the first line", KIND, 1),))
    own = fingerprint(table.stated)
    if theirs.strip() != own and not any_revision:
        accepted = f"a session of this design, {own}, or --any-revision"
        raise DesignError(path, (Problem(HEAD, f"{theirs.strip() or 'none'}, another revision", accepted, 1),))
    return _deeds(path, Names.of(table), lines[1:])


def _deeds(path: str, names: Names, lines: Iterable[str]) -> tuple[Deed, ...]:
    found: list[Deed] = []
    problems = []
    for number, line in enumerate(lines, 2):
        text = line.strip()
        skipped = text.startswith(SKIPPED)
        if not text or (text.startswith("#") and not skipped):
            continue
        try:
            if skipped:
                found.append(Skipped(reading_of(f"{text.removeprefix(SKIPPED)} = unknown", names).measure))
            else:
                found.append(reading_of(text, names))
        except ReadingError as error:
            problems.append(Problem("", error.found, error.accepted, number))
    if problems:
        raise DesignError(path, tuple(problems))
    return tuple(found)
