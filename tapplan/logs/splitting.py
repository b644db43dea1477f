"""Lines of text to the cells that matter: the time, in one column or several, and the volts.

A line is a row, but for quoted cells that hold line ends; such a row is taken only when it has as many cells as the
others, so that a stray quote spoils its own line and no more. Blocks in which every line is plain are split at once.
"""

from __future__ import annotations

import csv
import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from tapplan.logs.choice import ColumnsMeant
from tapplan.logs.lines import DAMAGED, Lines

FEW = 8  # lines that are not worth being split together
MOST_JOINED = 64  # lines that one row can have
BLANKS = " "
UNENDED = "unexpected end of data"  # what the csv module says of a quote that is not closed


@dataclass(frozen=True, slots=True)
class Parting:
    """How the lines of a file are parted: by which mark (None: one cell a line), into how many, which matter."""

    mark: str | None
    width: int
    meant: ColumnsMeant


@dataclass(frozen=True, slots=True)
class TextRows:
    """Rows one after the other: their line numbers, the texts of time and volts; `broken` ones have their line there.

    `held`: lines at the end that may go on in what is not yet read.
    """

    rows: Sequence[int]
    times: list[str]
    volts: list[str]
    broken: dict[int, str] = field(default_factory=dict)
    held: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _RowCells:
    """The cells of one row, None where it is broken, and its lines; 0 lines where that is not known yet."""

    cells: list[str] | None
    lines: int = 1
    is_blank: bool = False


def cells_of(line: str, mark: str | None) -> list[str] | None:
    """The cells of one line, or None where its quotes do not fit."""
    if mark is None:
        return [line.strip().strip('"')]
    if mark == BLANKS:
        line = re.sub(r"[ \t]+", BLANKS, line.strip())
    if '"' not in line:
        return line.split(mark)
    try:
        return list(next(_reader([line], mark)))
    except csv.Error:
        return None


def fits(cells: list[str], width: int) -> bool:
    """Whether a row has as many cells as it should; more of them must be empty."""
    return len(cells) >= width and not any(cell.strip() for cell in cells[width:])


def split(blocks: Iterable[Lines], parting: Parting, first: int) -> Iterator[TextRows]:
    """The rows of a file from line `first` on, as many at a time as its blocks have."""
    held: list[str] = []
    number = first
    for block in blocks:
        skipped = max(first - block.first, 0)
        lines = held + block.text.split("\n")[skipped:]
        number = block.first + skipped - len(held)
        if lines:
            rows = _plain(lines, number, parting) or _line_by_line(lines, number, parting, is_end=False)
            held, number = rows.held, number + len(lines) - len(rows.held)
            yield rows
    if held:
        yield _line_by_line(held, number, parting, is_end=True)


def _plain(lines: list[str], number: int, parting: Parting) -> TextRows | None:
    """The rows of lines that are all alike, or None where one is not."""
    text = "\n".join(lines)
    if DAMAGED in text:
        return None
    columns = _columns(text, lines, parting)
    if columns is None or any(any(column) for column in columns[parting.width :]):
        return None
    times = [columns[place] for place in parting.meant.times]
    return TextRows(range(number, number + len(lines)), _joined(times, len(lines)), columns[parting.meant.volts])


def _columns(text: str, lines: list[str], parting: Parting) -> list[list[str]] | None:
    """The columns of alike lines, or None where they are not alike."""
    if parting.mark is None:
        return [lines] if '"' not in text and all(map(str.strip, lines)) else None
    if '"' in text:
        return _quoted(lines, parting)
    if parting.mark == BLANKS:
        text = re.sub(r"^ | $", "", re.sub(r"[ \t]+", BLANKS, text), flags=re.MULTILINE)
    return _unquoted(text, len(lines), parting)


def _unquoted(text: str, count: int, parting: Parting) -> list[list[str]] | None:
    """The columns of lines without quotes: a line end becomes a cell, and each must follow as many others."""
    mark = str(parting.mark)
    cells = text.replace("\n", f"{mark}\n{mark}").split(mark)
    width = (len(cells) + 1) // count - 1
    ends = cells[width :: width + 1]
    if width < parting.width or len(cells) != count * (width + 1) - 1 or ends.count("\n") != count - 1:
        return None
    return [cells[place :: width + 1] for place in range(width)]


def _quoted(lines: list[str], parting: Parting) -> list[list[str]] | None:
    """The columns of lines some of whose cells are quoted, each closed in its line."""
    try:
        rows = list(_reader(lines, str(parting.mark)))
    except csv.Error:
        return None
    width = len(rows[0])
    if len(rows) != len(lines) or width < parting.width or any(len(cells) != width for cells in rows):
        return None
    return [[cells[place] for cells in rows] for place in range(width)]


def _line_by_line(lines: list[str], number: int, parting: Parting, *, is_end: bool) -> TextRows:
    """The rows of lines of which some may be blank, broken or parts of one row; those between them at once."""
    found = TextRows([], [], [])
    numbers: list[int] = []
    odd = [*_odd(lines, parting), len(lines)]
    place = 0
    while place < len(lines):
        stop = odd[bisect_left(odd, place)]
        plain = _plain(lines[place:stop], number + place, parting) if stop - place >= FEW else None
        if plain is not None:
            numbers += plain.rows
            found.times.extend(plain.times)
            found.volts.extend(plain.volts)
            place = stop
            continue
        taken = _row_at(lines, place, parting, is_end)
        if not taken.lines:
            break
        if not taken.is_blank:
            numbers.append(number + place)
            _enter(found, taken.cells, lines[place], parting.meant)
        place += taken.lines
    return TextRows(numbers, found.times, found.volts, found.broken, lines[place:])


def _odd(lines: list[str], parting: Parting) -> Iterable[int]:
    """The lines that do not just have as many marks as they should."""
    mark, count = parting.mark, parting.width - 1
    if mark is None or mark == BLANKS:
        return range(len(lines))
    return [place for place, line in enumerate(lines) if line.count(mark) != count or '"' in line or DAMAGED in line]


def _enter(found: TextRows, cells: list[str] | None, line: str, meant: ColumnsMeant) -> None:
    """Puts one more row at the end."""
    if cells is None:
        found.broken[len(found.volts)] = line
    found.times.append("" if cells is None else " ".join([cells[place] for place in meant.times]))
    found.volts.append("" if cells is None else cells[meant.volts])


def _row_at(lines: list[str], place: int, parting: Parting, is_end: bool) -> _RowCells:
    """The row that begins at a line, if one does."""
    if _is_blank(lines[place], parting.mark):
        return _RowCells(None, is_blank=True)
    if DAMAGED in lines[place]:
        return _RowCells(None)
    cells = cells_of(lines[place], parting.mark)
    if cells is None:
        return _row_over_lines(lines[place : place + MOST_JOINED], parting, is_end)
    return _RowCells(cells if fits(cells, parting.width) else None)


def _row_over_lines(lines: list[str], parting: Parting, is_end: bool) -> _RowCells:
    """A row whose quotes are not closed in its first line: all its lines, if they make one that fits."""
    reader = _reader([f"{line}\n" for line in lines], str(parting.mark))
    try:
        cells = next(reader)
    except csv.Error as error:
        may_go_on = UNENDED in str(error) and len(lines) < MOST_JOINED and not is_end
        return _RowCells(None, 0 if may_go_on else 1)
    return _RowCells(cells, reader.line_num) if fits(cells, parting.width) else _RowCells(None)


def _is_blank(line: str, mark: str | None) -> bool:
    """Whether a line is no row at all; one of nothing but marks is a row, though a tab is one too."""
    return not line.strip() and (mark in (None, BLANKS) or str(mark) not in line)


def _joined(columns: list[list[str]], count: int) -> list[str]:
    """Texts of several columns as one, parted by blanks."""
    if len(columns) == 1:
        return columns[0]
    return list(map(" ".join, zip(*columns, strict=True))) if columns else [""] * count


def _reader(lines: Iterable[str], mark: str) -> Any:
    """The csv module's reader, strict about quotes."""
    return csv.reader(lines, delimiter=mark, skipinitialspace=True, strict=True)
