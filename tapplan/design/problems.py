"""Objections with their lines: what a person is told, in the order of the file, each place once."""

from __future__ import annotations

from collections.abc import Iterable

from tapplan.design.objection import Objection
from tapplan.design.places import key_lines, line_of
from tapplan.design.shape import Path
from tapplan.errors import Problem, escaped


def problems_of(text: str, objections: Iterable[Objection]) -> tuple[Problem, ...]:
    """What is told of a text; of several objections to one place the first is."""
    lines = key_lines(text)
    told: dict[Path, Problem] = {}
    for one in objections:
        line = line_of(lines, one.path)
        told.setdefault(one.path, Problem(key_text(one.path), one.found, one.accepted, line, one.hint))
    return tuple(sorted(told.values(), key=lambda problem: problem.line or 0))


def key_text(path: Path) -> str:
    """A path as people read it: `winding[3].turns`, entries counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else part
    return escaped(text)
