"""Cells of text to numbers of volts, many at a time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Floats
from tapplan.logs.form import VoltUnit
from tapplan.logs.samples import RowFault

_UNIT = re.compile(r"(?<=[0-9.])\s*([A-Za-zµμΩ°%][A-Za-z]*)$")
_KNOWN: dict[str, VoltUnit] = {"v": "V", "volt": "V", "volts": "V", "vac": "V", "vrms": "V", "kv": "kV"}


@dataclass(frozen=True, slots=True)
class Numerals:
    """How the numbers of a column are written: the mark before decimals, and the unit that may stand after them."""

    decimal: str
    unit: VoltUnit


def floats(cells: Sequence[str], numerals: Numerals) -> Floats:
    """The numbers of cells, each the nearest float64 to its decimal text; the log's own unit may stand behind them.

    Raises:
        ValueError: one of them is no number in this unit.
    """
    joined = "".join(cells)
    if numerals.decimal == "," and "." in joined:
        raise ValueError("a point where decimals have a comma")
    if "_" in joined or not joined.isascii():
        cells = [_plain(_bare(cell, numerals.unit)) for cell in cells]
    if numerals.decimal == ",":
        cells = [cell.replace(",", ".") for cell in cells]
    try:
        return np.fromiter(map(float, cells), np.float64, len(cells))
    except ValueError:
        return np.array([float(_bare(cell, numerals.unit)) for cell in cells])


def with_unit(cell: str) -> str:
    """A cell without the letters behind its number."""
    return _UNIT.sub("", cell.strip())


def fault_of(cell: str) -> RowFault:
    """Why a cell that is no number in the log's unit is none."""
    number = with_unit(cell)
    if number == cell.strip():
        return RowFault.NO_NUMBER
    try:
        float(number.replace(",", "."))
    except ValueError:
        return RowFault.NO_NUMBER
    return RowFault.OTHER_UNIT


def _plain(cell: str) -> str:
    """A cell that is surely written by a logger: Python would also read 1_000 and the digits of other scripts."""
    if "_" in cell or not cell.isascii():
        raise ValueError("no number")
    return cell


def _bare(cell: str, unit: VoltUnit) -> str:
    """The number before the log's own unit."""
    found = _UNIT.search(cell.strip())
    if found is None:
        return cell
    word = found[1]
    said = "mV" if word in ("mV", "mv") else _KNOWN.get(word.casefold())
    if said != unit:
        raise ValueError("another unit")
    return cell.strip()[: found.start()]
