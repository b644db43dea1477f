"""The screens of `check --only` and `check --explain`, and findings on the screens of other verbs."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from tapplan.answers.findings import Explained, FindingRow, Findings, counts_told
from tapplan.checks.finding import Severity
from tapplan.pages.screens.grid import headline

_STYLE = {Severity.FAULT: "bold red", Severity.WARNING: "yellow", Severity.NOTE: "dim"}
GATHERED_AT = 4  # findings of one code beyond which they fold into one line


def screen(answer: Findings, _: int) -> Group:
    """Every finding by itself."""
    return Group(headline(answer), *each(answer.findings), Text(answer.told, style="bold"))


def explained(answer: Explained, _: int) -> Group:
    """What a code means, why it matters, how to mend it, and where it was found in this design."""
    one = answer.explained
    lines = [f"means: {one.means}", f"why it matters: {one.why}", f"to mend it: {one.mend}"]
    where = "\n".join(f"  {found.told}" for found in answer.findings) or "  nowhere"
    return Group(Text(one.code, style="bold"), Text("\n".join(lines)), Text(f"found in this design:\n{where}"))


def section(found: Sequence[FindingRow], heading: str) -> Group:
    """Findings under a heading, folded, and how many they are."""
    return Group(Text(heading, style="bold"), *folded(found), Text(counts_told(found), style="bold"))


def each(found: Sequence[FindingRow]) -> list[RenderableType]:
    """Every finding by itself."""
    return [_line(one, one.told) for one in found]


def folded(found: Sequence[FindingRow]) -> list[RenderableType]:
    """The same, with many warnings or notes of one code gathered into one line; faults never."""
    parts: list[RenderableType] = []
    gathered: set[str] = set()
    for one in found:
        alike = [other for other in found if other.code == one.code and other.severity is one.severity]
        if one.severity is Severity.FAULT or len(alike) <= GATHERED_AT:
            parts.append(_line(one, one.told))
        elif one.code not in gathered:
            gathered.add(one.code)
            places = ", ".join(other.where for other in alike[:GATHERED_AT])
            parts.append(_line(one, f"{len(alike)} times, among them at {places}"))
    return parts


def _line(one: FindingRow, text: str) -> RenderableType:
    head = Text(f"{one.severity.value}  {one.code}", style=_STYLE[one.severity])
    return Group(head, Padding(Text(text), (0, 0, 0, 4)))
