"""The shortest course of the input that brings the controller into a row: the witness of a proof that fails."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from tapplan.control.lookup import holds, inputs_of_interest, moves_to, starts
from tapplan.control.table import ControlTable
from tapplan.exact import Span

Course = tuple[Fraction, ...]  # readings referred to the input: first the switch-on, then each change


def shortest_course(table: ControlTable, row: int, last: Fraction, within: Span) -> Course | None:
    """Readings, the first at switch-on, after which `row` is in force at the reading `last`.

    All lie in `within`, but for `last`, which the row must hold. None when no such course exists.
    """
    if not holds(table.rows[row], (last, 0)):
        return None
    if any(started is table.rows[row] for started in starts(table, (last, 0))):
        return (last,)
    inputs = _inputs(table, within)
    reached: dict[int, Course] = {}
    for volts in inputs:
        for started in starts(table, (volts, 0)):
            reached.setdefault(_number(table, started), (volts,))
    waiting = list(reached)
    while waiting and row not in reached:
        here = waiting.pop(0)
        for volts in inputs:
            there = next(reversed(moves_to(table, here, volts)), None)
            if there is not None and there not in reached and holds(table.rows[there], (volts, 0)):
                reached[there] = (*reached[here], volts)
                waiting.append(there)
    return (*reached[row], last) if row in reached else None


def _inputs(table: ControlTable, within: Span) -> Iterable[Fraction]:
    inside = [volts for volts in inputs_of_interest(table) if within.low <= volts <= within.high]
    return sorted({within.low, *inside, within.high})


def _number(table: ControlTable, row: object) -> int:
    return next(number for number, one in enumerate(table.rows) if one is row)
