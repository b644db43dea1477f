"""The screens of `check --only` and `check --explain`, and findings on the screens of other verbs."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from tapplan.answers.findings import Explained, FindingRow, Findings, ToldFinding, counts_told, folded
from tapplan.checks.finding import Severity
from tapplan.pages.screens.grid import headline

_STYLE = {Severity.FAULT: "bold red", Severity.WARNING: "yellow", Severity.NOTE: "dim"}


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
    return Group(Text(heading, style="bold"), *listed(found), Text(counts_told(found), style="bold"))


def each(found: Sequence[FindingRow]) -> list[RenderableType]:
    """Every finding by itself."""
    return [_line(one) for one in found]


def listed(found: Sequence[FindingRow]) -> list[RenderableType]:
    """The same, folded."""
    return [_line(one) for one in folded(found)]


def _line(one: FindingRow | ToldFinding) -> RenderableType:
    head = Text(f"{one.severity.value}  {one.code}", style=_STYLE[one.severity])
    return Group(head, Padding(Text(one.told), (0, 0, 0, 4)))
