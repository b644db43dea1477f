"""What the first lines of a text file show: marks between cells, names of columns, which of them matter."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from statistics import mode

from tapplan.design.objection import quoted
from tapplan.errors import escaped
from tapplan.logs.choice import LogColumn, Look, chosen, epoch_named
from tapplan.logs.form import Epoch, LogForm
from tapplan.logs.lines import DAMAGED, lines_of
from tapplan.logs.splitting import BLANKS, Parting, cells_of, fits
from tapplan.logs.stamps import is_number, stamp_of
from tapplan.logs.told import found, refusal
from tapplan.logs.volts import with_unit

HEAD = 1 << 16  # characters that are looked at
MOST_HEAD = 1 << 22  # characters that are looked at where lines are very long
MOST_ROWS, MOST_LOOKED = (
    1000,
    50,
)  # lines of them for what may need many, as the order of dates, and for what needs few
MARKS = ("\t", ";", "|", ",", BLANKS)  # in this order: a comma can be a decimal one, a blank can part date and hour
MADE = "made:"
NO_VALUE = {"", "-", "--", "null", "none", "nan", "na", "n/a"}


def made_in(comments: Iterable[str]) -> str | None:
    """How mains were made up, where one of a file's comments, without their mark, says so."""
    marks = (text.removeprefix(MADE).strip() for text in comments if text.startswith(MADE))
    return next(map(escaped, marks), None)


@dataclass(frozen=True, slots=True)
class Layout:
    """How a text file is laid out.

    `first`: the line of its first row. `decimal`: the mark before decimals. `seen`: the times of its first rows,
    `named` the unit that their heading tells. `made`: how the log was made up, where it says so.
    """

    parting: Parting
    first: int
    decimal: str
    seen: tuple[str, ...]
    named: Epoch | None
    made: str | None


@dataclass(frozen=True, slots=True)
class _Head:
    """The first lines of a file: comments without their mark, then those that are not blank with their numbers."""

    comments: tuple[str, ...]
    lines: tuple[str, ...]
    numbers: tuple[int, ...]

    @property
    def made(self) -> str | None:
        return made_in(self.comments)


@dataclass(frozen=True, slots=True)
class _Grid:
    """The names of the columns, empty where they have none, and the first rows."""

    names: list[str]
    rows: list[list[str]]
    first: int

    @property
    def whole(self) -> list[list[str]]:
        """The rows that have all cells."""
        return [cells for cells in self.rows if len(cells) >= len(self.names)]


def layout_of(file: str, form: LogForm) -> Layout:
    """The layout of a text file, from its first lines and from what is said about it.

    Raises:
        LogError: it cannot be opened, has no row, or something about it cannot be told.
    """
    head = _head(file)
    mark = form.parted_by or _mark(head, file)
    grid = _grid(head, mark, file)
    columns = [_column(name, [cells[place] for cells in grid.whole]) for place, name in enumerate(grid.names)]
    which = chosen(columns, form, file)
    seen = tuple(" ".join([cells[place] for place in which.times]) for cells in grid.whole) if which.times else ()
    decimal = form.decimal or _decimal([cells[which.volts] for cells in grid.whole], file)
    named = epoch_named(columns[which.times[-1]].name) if which.times else None
    return Layout(Parting(mark, len(columns), which), grid.first, decimal, seen, named, head.made)


def _head(file: str) -> _Head:
    """The first lines, parted into comments and others; a line "sep=;" of a spreadsheet counts as a comment."""
    lines = _first_lines(file)
    is_comment = [line.lstrip().startswith(("#", "sep=")) for line in lines.values()]
    comments = is_comment.index(False) if False in is_comment else len(lines)
    numbers, texts = tuple(lines), tuple(lines.values())
    if comments == len(lines):
        raise refusal(file, "found only comments and blank lines", "a heading and rows, or rows")
    if DAMAGED in texts[comments]:
        said = "found a NUL, as in UTF-16 without its byte order mark, or a line of over a million characters"
        raise refusal(f"{file}:{numbers[comments]}", said, "text")
    told = tuple(text.lstrip()[1:].strip() for text in texts[:comments])
    return _Head(told, texts[comments:][:MOST_ROWS], numbers[comments:][:MOST_ROWS])


def _first_lines(file: str) -> dict[int, str]:
    """The first lines that are not blank, by their numbers."""
    lines: dict[int, str] = {}
    size = 0
    with closing(lines_of(file, HEAD)) as blocks:
        for block in blocks:
            size += len(block.text)
            every = enumerate(block.text.split("\n"), block.first)
            lines |= {number: line for number, line in every if line.strip()}
            if size > MOST_HEAD or (size >= HEAD and len(lines) >= MOST_LOOKED):
                break
    if not size:
        raise refusal(file, "it is empty", "a heading and rows, or rows")
    return lines


def _mark(head: _Head, file: str) -> str | None:
    """The mark between cells: one that parts the first line, and most others into as many; None where none does."""
    looked = [_parted(head, mark) for mark in MARKS]
    for mark, rows in zip(MARKS, looked, strict=True):
        width = _width(rows[0])
        like = [len(cells) == len(rows[0]) or fits(cells, width) for cells in rows if cells]
        if width > 1 and 2 * sum(like) > len(like):
            return mark
    _check_unparted(head, looked, file)
    return None


def _check_unparted(head: _Head, looked: list[list[list[str]]], file: str) -> None:
    """Refuses a first line that cannot be read, or that a mark parts into another number of cells than the next."""
    if not any(rows[0] for rows in looked):
        raise refusal(f"{file}:{head.numbers[0]}", "its quotes are not closed", "a heading or a row")
    for mark, rows in zip(MARKS[:-1], looked, strict=False):
        first = len(rows[0])
        other = next((place for place, cells in enumerate(rows) if 1 < len(cells) != first > 1), None)
        if other is not None:
            said = f'has {len(rows[other])} cells parted by "{found(mark)}" where line {head.numbers[0]} has {first}'
            raise refusal(f"{file}:{head.numbers[other]}", said, "as many in each line, or --delimiter with another")


def _parted(head: _Head, mark: str) -> list[list[str]]:
    """The cells of the first lines by some mark; none where the quotes of a line do not fit."""
    return [cells_of(line, mark) or [] for line in head.lines[:MOST_LOOKED]]


def _width(cells: list[str]) -> int:
    """How many cells there are without empty ones at the end."""
    return max((place for place, cell in enumerate(cells, 1) if cell.strip()), default=0)


def _grid(head: _Head, mark: str | None, file: str) -> _Grid:
    """The names of columns and the first rows."""
    top = cells_of(head.lines[0], mark)
    if top is None:
        raise refusal(f"{file}:{head.numbers[0]}", "its quotes are not closed", "a heading or a row")
    below = [cells for line in head.lines[1:] if (cells := cells_of(line, mark)) is not None]
    if not _is_heading(top, below):
        rows = [top, *below]
        return _Grid(_commented(head, mark, mode(map(len, rows))), rows, head.numbers[0])
    if not below:
        raise refusal(file, "found only a heading, " + quoted(map(found, top)), "rows below it")
    return _Grid([name.strip() for name in top[: max(_width(top), 1)]], below, head.numbers[1])


def _is_heading(top: list[str], below: list[list[str]]) -> bool:
    """Whether the first line has names: a word where a row below has a value, or no value at all."""
    looks = [_look(cell) for cell in top]
    if Look.STAMP in looks:
        return False
    words = [place for place, cell in enumerate(top) if _look(cell) is Look.OTHER and not _is_nothing(cell)]
    values = any(place < len(cells) and _look(cells[place]) is not Look.OTHER for cells in below for place in words)
    return values or all(look is Look.OTHER for look in looks)


def _commented(head: _Head, mark: str | None, width: int) -> list[str]:
    """The names in the last comment, where it has as many cells as the rows; else as many empty names."""
    cells = cells_of(head.comments[-1], mark) if head.comments else None
    fit = cells is not None and len(cells) == width and width > 1 and all(_look(cell) is Look.OTHER for cell in cells)
    return [cell.strip() for cell in cells] if fit and cells else [""] * width


def _column(name: str, cells: Sequence[str]) -> LogColumn:
    """A column as it can be chosen, by what most of its first cells are."""
    looks = [_look(cell) for cell in cells[:MOST_LOOKED] if not _is_nothing(cell)]
    look = mode(looks) if looks else Look.OTHER
    return LogColumn(name, look, look is Look.NUMBER and _rise(cells))


def _rise(cells: Sequence[str]) -> bool:
    """Whether numbers rise from cell to cell."""
    if len(cells) < 2 or not all(is_number(cell.replace(",", ".")) for cell in cells):
        return False
    numbers = [Decimal(cell.strip().replace(",", ".")) for cell in cells]
    return all(one < other for one, other in pairwise(numbers))


def _look(cell: str) -> Look:
    if stamp_of(cell):
        return Look.STAMP
    return Look.NUMBER if is_number(with_unit(cell).replace(",", ".")) else Look.OTHER


def _is_nothing(cell: str) -> bool:
    return cell.strip().casefold() in NO_VALUE


def _decimal(cells: Sequence[str], file: str) -> str:
    """The mark before decimals, as the first volts have it; a point where they have none."""
    numbers = [cell for cell in cells if _look(cell) is Look.NUMBER]
    comma = next((cell for cell in numbers if "," in cell), None)
    point = next((cell for cell in numbers if "." in cell), None)
    if comma is not None and point is not None:
        raise refusal(
            file, f'found both "{found(comma)}" and "{found(point)}"', "--decimal with the mark before decimals"
        )
    return "." if comma is None else ","
