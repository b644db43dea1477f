"""Single faults of the reading: what the controller then takes for the line, and the rows it stands in."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.control.table import ControlTable, Row
from tapplan.exact import Span

MisreadingName = Literal["scaled-high", "scaled-low", "lost", "frozen"]

# How far a scaled reading is taken to be off: a drifted divider or a turned trimmer; common practice, no source.
SCALED_BY = Fraction(1, 10)


@dataclass(frozen=True, slots=True)
class Misreading:
    """One way in which the reading can be wrong; as a fault its part is always the reading."""

    fault: MisreadingName
    part: str = "reading"


MISREADINGS = tuple(Misreading(name) for name in ("scaled-high", "scaled-low", "lost", "frozen"))

_FACTORS: dict[MisreadingName, Fraction] = {
    "scaled-high": 1 + SCALED_BY,
    "scaled-low": 1 - SCALED_BY,
    "lost": Fraction(0),
}


def factor_of(fault: Misreading) -> Fraction:
    """The reading over the right one; 1 for one that is frozen, which is right when it freezes."""
    return _FACTORS.get(fault.fault, Fraction(1))


@dataclass(frozen=True, slots=True)
class RowThen:
    """A row that can be in force while a reading is wrong, and the true inputs at which it can."""

    row: Row
    inputs: Span


def rows_then(table: ControlTable, fault: Misreading, row: Row) -> list[RowThen]:
    """The rows that can be in force while the line is where `row` should be.

    A frozen reading keeps the row over the whole mains range. Beyond the outermost rows a controller with a backup
    leaves the mains (no entry); without one, it is taken to stay in the outermost row, the worst it can do.
    """
    mains, hold = table.design.mains.span, row.input_hold
    inside = hold.meet(mains) if hold is not None else None
    if inside is None:
        return []
    if fault.fault == "frozen":
        return [RowThen(row, mains)]
    factor = _FACTORS[fault.fault]
    read = Span(factor * inside.low, factor * inside.high)
    held = [(one, kept.meet(read)) for one in table.rows if (kept := one.input_hold) is not None]
    found = [RowThen(one, span.scaled(1 / factor)) for one, span in held if span is not None and factor]
    return found if table.design.backup is not None else [*found, *_beyond(table, factor, inside)]


def _beyond(table: ControlTable, factor: Fraction, inside: Span) -> list[RowThen]:
    """The outermost rows, for the true inputs that are read, off by a factor, as lying beyond them."""
    rows = [(row, hold) for row in table.rows if (hold := row.input_hold) is not None]
    found = []
    if factor * inside.low < rows[0][1].low:
        high = min(inside.high, rows[0][1].low / factor) if factor else inside.high
        found.append(RowThen(rows[0][0], Span(inside.low, high)))
    if factor * inside.high > rows[-1][1].high:
        found.append(RowThen(rows[-1][0], Span(max(inside.low, rows[-1][1].high / factor), inside.high)))
    return found
