"""The shortest course of the input that brings the controller into a row: the witness of a proof that fails."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tapplan.control.decisions import Decisions
from tapplan.control.lookup import Place, follows, inputs_of_interest, settled
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.exact import Span

Course = tuple[Fraction, ...]  # inputs as read: first the switch-on, then each change


def shortest_course(
    made: Decisions, number: int, last: Fraction, within: Span, *, switched_on: bool = True
) -> Course | None:
    """Inputs, the first at switch-on, after which a row is in force at the input `last`.

    All lie in `within`, but for `last`, which the row must hold. Readings are free of noise; where that of `last` is
    not, and is taken elsewhere than at the input, it is none that a stage just switched on can have (`switched_on`
    False). None when no such course exists.
    """
    wanted = InRow(number)
    if follows(made, wanted, Place(last)) != wanted:
        return None
    if switched_on and follows(made, AWAY, Place(last)) == wanted:
        return (last,)
    inputs = _inputs(made, within)
    reached: dict[Standing, Course] = {AWAY: ()}
    waiting: list[Standing] = [AWAY]
    while waiting and wanted not in reached:
        here = waiting.pop(0)
        for volts in inputs:
            found = settled(made, here, Place(volts))
            if not found.hunting and found.standing not in reached:
                reached[found.standing] = (*reached[here], volts)
                waiting.append(found.standing)
    return (*reached[wanted], last) if wanted in reached else None


def _inputs(made: Decisions, within: Span) -> Sequence[Fraction]:
    inside = [volts for volts in inputs_of_interest(made) if within.low <= volts <= within.high]
    return sorted({within.low, *inside, within.high})
