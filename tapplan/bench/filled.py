"""A filled sheet, or a plain list of readings: every reading with its line, and every cell that means nothing."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from tapplan.bench.isolation import Reading
from tapplan.bench.phrase import Names, ReadingError
from tapplan.bench.readings import reading_of
from tapplan.bench.values import SOMETIMES
from tapplan.control.table import ControlTable
from tapplan.design.file import read_text
from tapplan.design.fingerprint import fingerprint
from tapplan.errors import DesignError, Problem

COLUMNS = ("condition", "measure", "reading")


@dataclass(frozen=True, slots=True)
class WrittenReading:
    """A reading, and its line in the file."""

    line: int
    reading: Reading


@dataclass(frozen=True, slots=True)
class FilledSheet:
    """A filled sheet: its readings, how many cells were left empty, and the cells that were not understood."""

    readings: tuple[WrittenReading, ...]
    empty: int
    refused: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class _Cells:
    """The cells of one row, and its line in the file."""

    line: int
    cells: list[str]


def load_sheet(path: str, table: ControlTable, *, any_revision: bool = False) -> FilledSheet:
    """The readings of a filled sheet, as `bench` writes it in CSV, commas or semicolons between the cells.

    A cell that means nothing is told in `refused`, and the others are kept.

    Raises:
        DesignError: the file is no such sheet, is of another revision of the design, or no filled cell of it is
            understood; every problem is told at once.
    """
    rows = _cells(path, "a sheet that `tapplan bench` wrote, filled in, that can be read")
    if len(rows) < 2 or not rows[0].cells or rows[0].cells[0] != "fingerprint":
        raise DesignError(
            path, (Problem("", "no fingerprint in the first line", "a sheet that `tapplan bench` wrote"),)
        )
    own, theirs = fingerprint(table.stated), rows[0].cells[1] if len(rows[0].cells) > 1 else ""
    if own != theirs and not any_revision:
        accepted = f"a sheet of this design, {own}, or --any-revision"
        raise DesignError(path, (Problem("fingerprint", f"{theirs or 'none'}, another revision", accepted, 1),))
    head = rows[1]
    if not set(COLUMNS) <= set(head.cells):
        problem = Problem("", "no columns condition, measure and reading", "the columns of the sheet kept", head.line)
        raise DesignError(path, (problem,))
    found = _readings(Names.of(table), head, rows[2:])
    if found.refused and not found.readings:
        raise DesignError(path, found.refused)
    return found


def load_plain(path: str, names: Names) -> FilledSheet:
    """Readings of a board without a drawing: a first line with condition, measure, reading, then one each line.

    A wiring is found from all of the readings together, so that none is left out without its writer knowing.

    Raises:
        DesignError: the file holds no such list, or a cell that means nothing or tells no wiring; every problem is
            told at once.
    """
    rows = _cells(path, "a file of readings that can be read")
    if not rows or not set(COLUMNS) <= set(rows[0].cells):
        found = "no first line with condition, measure and reading"
        raise DesignError(path, (Problem("", found, "these three columns, then one reading a line", 1),))
    taken = _readings(names, rows[0], rows[1:])
    wavering = [
        Problem("reading", "a reading that is now so, now otherwise", "one that stands, or unknown", one.line)
        for one in taken.readings
        if one.reading.value == SOMETIMES
    ]
    if taken.refused or wavering:
        raise DesignError(path, tuple(sorted((*taken.refused, *wavering), key=lambda problem: problem.line or 0)))
    return taken


def _readings(names: Names, head: _Cells, rows: Sequence[_Cells]) -> FilledSheet:
    at = {name: head.cells.index(name) for name in COLUMNS}
    found, refused, empty = [], [], 0
    for row in rows:
        if not any(cell.strip() for cell in row.cells):
            continue
        condition, measure, value = (_plain(row.cells[at[name]]) if at[name] < len(row.cells) else "" for name in at)
        if not value:
            empty += 1
            continue
        if _cut(head, row, at["reading"]):
            told = f'"{value}" and "{row.cells[at["reading"] + 1]}" in two cells, of a number cut at its comma'
            refused.append(Problem("reading", told, "a decimal comma in quotes, or a point", row.line))
            continue
        try:
            found.append(WrittenReading(row.line, reading_of(f"{condition}: {measure} = {value}", names)))
        except ReadingError as error:
            refused.append(Problem("reading", error.found, error.accepted, row.line))
    return FilledSheet(tuple(found), empty, tuple(refused))


def _cut(head: _Cells, filled: _Cells, place: int) -> bool:
    """Whether a comma in a number was taken for one between cells: a cell too many, and digits on both its sides."""
    here, there = (*filled.cells[place : place + 2], "")[:2]
    return len(filled.cells) > len(head.cells) and here.strip().isdigit() and there.strip()[:1].isdigit()


def _cells(path: str, accepted: str) -> list[_Cells]:
    """The rows of a file that hold anything; lines may end as on any system.

    Raises:
        DesignError: the file cannot be read, or a cell has no end.
    """
    text = read_text(path, accepted).replace("\r", "\n")
    first = re.sub(r'"[^"]*"', "", text.partition("\n")[0])
    after = re.match(r"\ufeff?fingerprint([,;])", first)  # a title may hold any mark
    mark = after.group(1) if after else ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text), delimiter=mark)
    try:
        return [_Cells(reader.line_num, row) for row in reader if row]
    except csv.Error as error:
        problem = Problem(
            "", f"a row that cannot be read ({error})", "cells between commas or semicolons", reader.line_num
        )
        raise DesignError(path, (problem,)) from None


def _plain(cell: str) -> str:
    """A cell without the apostrophe that keeps a spreadsheet from reading it as a formula."""
    text = cell.strip()
    return text[1:] if text[:2] in ("'=", "'+", "'-", "'@") else text
