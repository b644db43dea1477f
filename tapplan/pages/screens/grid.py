"""Rows as a table of a screen, headings and cells as the columns of the answer say."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from rich.cells import cell_len
from rich.console import RenderableType
from rich.markup import escape
from rich.table import Column as RichColumn
from rich.table import Table
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import Column, ColumnKind, Field, SharedCell
from tapplan.answers.forms import shown_of, text

BETWEEN = 2  # blanks between columns


def headline(answer: Answer) -> Text:
    """The first line: what is shown, and of which design."""
    return Text(answer.headline, style="bold")


@dataclass(frozen=True, slots=True)
class Spread:
    """A column for each relay in place of the list of those energised, and how a cell of it is written."""

    relays: tuple[str, ...]
    write: Callable[[str, tuple[str, ...]], str]


def grid(rows: Sequence[Any], heading: str | None = None, spread: Spread | None = None, unit_told: str = "") -> Table:
    """Rows of one kind, a line each; columns that are a pair share a cell.

    Columns in the unit that is told above the table are headed without it.
    """
    table = empty_grid(heading)
    if not rows:
        return table
    groups = _groups(rows)
    for group in groups:
        for head in _heads(group, spread, unit_told):
            table.add_column(escape(head), overflow="fold")
            table.columns[-1].no_wrap = _whole(group[0].column)
    for row in rows:
        table.add_row(*(escape(cell) for group in groups for cell in _cells(row, group, spread)))
    return table


def _whole(column: Column) -> bool:
    """Whether no cell of the column may be folded."""
    return column.pair is not None or column.stacked or column.whole


def _heads(group: Sequence[Field], spread: Spread | None, unit_told: str) -> Sequence[str]:
    column = group[0].column
    if spread is not None and column.kind is ColumnKind.COILS:
        return spread.relays
    if column.pair is not None:
        return [column.pair.heading]
    return [column.heading if column.unit == unit_told else column.headed]


def _cells(record: Any, group: Sequence[Field], spread: Spread | None) -> list[str]:
    if spread is not None and group[0].column.kind is ColumnKind.COILS:
        return [spread.write(relay, getattr(record, group[0].name)) for relay in spread.relays]
    return [_cell(record, group)]


def width_of(made: Table) -> int:
    """The columns of a screen that a table takes where nothing in it is folded."""
    return sum(_width(column) for column in made.columns)


def _width(column: RichColumn) -> int:
    told = [str(column.header), *(str(cell) for cell in column.cells)]
    return BETWEEN + max(cell_len(line) for one in told for line in one.split("\n"))


def empty_grid(heading: str | None = None) -> Table:
    """A table without rules and, as yet, without columns."""
    return Table(
        title=heading, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, BETWEEN, 0, 0)
    )


def _groups(rows: Sequence[Any]) -> list[list[Field]]:
    """The columns on the screen, those of one pair together."""
    groups: list[list[Field]] = []
    for field in shown_of(rows):
        if not field.column.on_screen:
            continue
        pair: SharedCell | None = field.column.pair
        if pair is not None and groups and groups[-1][0].column.pair is pair:
            groups[-1].append(field)
        else:
            groups.append([field])
    return groups


def _cell(record: Any, group: Sequence[Field]) -> str:
    told = [_told(record, field) for field in group]
    pair = group[0].column.pair
    return told[0] if pair is None else pair.between.join(told)


def _told(record: Any, field: Field) -> str:
    value = getattr(record, field.name)
    if field.column.kind is ColumnKind.RATIO and field.column.stacked:
        return _stacked(record, value)
    return text(value, field.column)


def _stacked(record: Any, ratio: Any) -> str:
    return record.kind if ratio is None else words.ratio(ratio).replace(" = ", "\n")


def caution(told: str) -> Text:
    """The words of caution under anything that leads a hand to a circuit."""
    return Text("\n" + told, style="italic")


def lines(told: Sequence[str]) -> Iterator[RenderableType]:
    """Sentences, a line each."""
    return (Text(one) for one in told)
