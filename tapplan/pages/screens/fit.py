"""The screen of `fit`: the bound, the front of plans with a picture, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.fit import PlanRow, Plans
from tapplan.answers.forms import cells
from tapplan.pages.screens.bars import Share, bar
from tapplan.pages.screens.grid import grid, headline

LONGEST_BAR = 30
NARROW = 76  # columns; below, a table of plans would break numbers in two
LEAST_WIDTH = {"wiring": 12, "relays": 6, "taps (turns)": 7, "ratios": 7, "room (V)": 6, "off": 5, "core": 5}


def screen(answer: Plans, width: int) -> Group:
    """The plans that no other beats in relays, taps, room, deviation and transformed power at once."""
    parts: list[RenderableType] = [headline(answer), Text(answer.bound_told)]
    if not answer.finished:
        parts.append(Text("Stopped before the search was over: what follows is the best so far, not proven."))
    if not answer.plans:
        return Group(*parts, Text(answer.none_told))
    front = _table(answer.plans) if width >= NARROW else _listed(answer.plans)
    closing = Text("\n`--pick N -o FILE` writes plan N as a design file.")
    return Group(*parts, front, Text(answer.legend), *_picture(answer.plans), closing)


def _table(plans: Sequence[PlanRow]) -> RenderableType:
    table = grid(plans)
    for column in table.columns:
        column.min_width = LEAST_WIDTH.get(str(column.header), 4)  # a number is never broken in two
    return table


def _listed(plans: Sequence[PlanRow]) -> RenderableType:
    """One line a plan and quantity, where the screen is too narrow for the table."""
    made = cells(plans)
    lines = [f"{head + ':':<14}{cell}" for row in made.rows for head, cell in zip(made.heads, row, strict=True)]
    return Text("\n".join(f"\n{line}" if line.startswith("plan:") else line for line in lines) + "\n")


def _picture(plans: Sequence[PlanRow]) -> list[RenderableType]:
    rooms = [one.room_v for one in plans if one.room_v is not None]
    lines = [
        f"{one.number:>4}  {one.relays} {'relay ' if one.relays == 1 else 'relays'}  "
        f"{bar([Share('=', one.room_v)], max(rooms), LONGEST_BAR)} {words.number(one.room_v, 3)} V"
        for one in plans
        if one.room_v is not None
    ]
    return [Text("\nRoom against relays:"), Text("\n".join(lines))] if lines else []
