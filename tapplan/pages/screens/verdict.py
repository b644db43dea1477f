"""The screen of `check`: the verdict, then promises, findings, traits."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers.verdict import Verdict
from tapplan.pages.screens.findings import each, listed
from tapplan.pages.screens.grid import grid, headline


def screen(answer: Verdict, _: int) -> Group:
    """Promises that hold without a margin are only counted, and notes only named."""
    held = len(answer.also_held)
    parts = [*_head(answer), *([Text(f"and {held} that have no margin, held")] if held else []), *_assumed(answer)]
    if answer.urgent:
        parts += [Text(""), *listed(answer.urgent)]
    if answer.notes:
        parts.append(Text(f"notes (--all shows them): {', '.join(answer.notes)}", style="dim"))
    return Group(*parts, *_tail(answer))


def everything(answer: Verdict, _: int) -> Group:
    """Every promise and every finding by itself."""
    held = ", ".join(answer.also_held)
    parts = [*_head(answer), *([Text(f"also held: {held}")] if held else []), *_assumed(answer)]
    if answer.findings:
        parts += [Text(""), *each(answer.findings)]
    return Group(*parts, *_tail(answer))


def _head(answer: Verdict) -> list[RenderableType]:
    style = "bold green" if answer.sound else "bold red"
    parts: list[RenderableType] = [headline(answer), Text(answer.told, style=style), grid(answer.measured)]
    broken = answer.broken_told
    return [*parts, *([Text(f"BROKEN: {broken}", style="bold red")] if broken else [])]


def _assumed(answer: Verdict) -> list[RenderableType]:
    return [Text(answer.assumed, style="dim")] if answer.assumed else []


def _tail(answer: Verdict) -> list[RenderableType]:
    """What the file accepts, and the figures of every such stage."""
    parts: list[RenderableType] = [
        Text(f"accepted  {one.code} ({one.where}): {one.reason}", style="dim") for one in answer.accepted
    ]
    if answer.traits:
        parts += [Text("\nWhat every such stage has", style="bold"), grid(answer.traits)]
    return parts
