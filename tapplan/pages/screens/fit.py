"""The screen of `fit`: the bound, the front of plans with a picture, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.fit import BuiltRow, PlanRow, Plans
from tapplan.answers.forms import cells
from tapplan.pages.screens.bars import Share, bar
from tapplan.pages.screens.grid import BETWEEN, grid, headline, width_of

LONGEST_BAR = 30


def screen(answer: Plans, width: int) -> Group:
    """The plans that no other beats in relays, taps, room, deviation and transformed power at once."""
    parts: list[RenderableType] = [headline(answer), Text(answer.bound_told)]
    if answer.log is not None:
        parts.append(Text(answer.log.told))
    elif answer.made_told:
        parts += [Text(one) for one in answer.made_told]
    parts += [Text(one) for one in answer.stopped]
    if not answer.plans:
        return Group(*parts, Text(answer.none_told))
    closing = Text("\n`--pick N -o FILE` writes plan N as a design file.")
    return Group(
        *parts,
        _front(answer.plans, width),
        Text(answer.legend),
        *_wound(answer, width),
        *_picture(answer.plans),
        *_logged(answer),
        *_wishes(answer),
        closing,
    )


def _front(rows: Sequence[PlanRow] | Sequence[BuiltRow], width: int) -> RenderableType:
    """A table, or where the screen is too narrow for it a list."""
    table = _table(rows)
    if _least_width(table) > width:
        return _listed(rows)
    if width_of(table) > width:
        for column in table.columns:  # only lists may be folded; of the others, their headings
            column.width = None if any(", " in str(cell) for cell in column.cells) else column.min_width
    return table


def _wound(answer: Plans, width: int) -> list[RenderableType]:
    return [Text(f"\n{answer.core_told}"), _front(answer.built, width)] if answer.built else []


def _logged(answer: Plans) -> list[RenderableType]:
    if not answer.on_log:
        return []
    told = "\nOn the log, with thresholds as they are placed; --pick refines those of the plan that is written:"
    return [Text(told), grid(answer.on_log)]


def _wishes(answer: Plans) -> list[RenderableType]:
    return [Text(f"\n{answer.wishes_told}"), grid(answer.wishes)] if answer.wishes else []


def _table(rows: Sequence[PlanRow] | Sequence[BuiltRow]) -> Table:
    table = grid(rows)
    for column in table.columns:
        longest = max(len(entry) for cell in column.cells for entry in str(cell).replace(", ", ",\n").split("\n"))
        column.min_width = max(longest, max(len(word) for word in str(column.header).split()))
    return table


def _least_width(made: Table) -> int:
    """The columns of a screen below which a number of the table would be broken in two, or cut."""
    return sum((column.min_width or 0) + BETWEEN for column in made.columns) - BETWEEN


def _listed(rows: Sequence[PlanRow] | Sequence[BuiltRow]) -> RenderableType:
    """One line a plan and quantity, where the screen is too narrow for the table."""
    made = cells(rows)
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
