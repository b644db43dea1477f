"""The shortest course of the input into a row: the witness of a proof that fails."""

from __future__ import annotations

from collections import deque
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
    reached = made.once(("courses", within), lambda: _Reached(made, _inputs(made, within))).to(wanted)
    return None if reached is None else (*reached, last)


class _Reached:
    """The shortest course to each standing, worked out as far as any was asked for; mutable for that."""

    def __init__(self, made: Decisions, inputs: Sequence[Fraction]) -> None:
        self._made, self._inputs = made, inputs
        self._courses: dict[Standing, Course] = {AWAY: ()}
        self._waiting: deque[Standing] = deque([AWAY])

    def to(self, wanted: Standing) -> Course | None:
        """The course to a standing, or None where none leads there."""
        while self._waiting and wanted not in self._courses:
            here = self._waiting.popleft()
            for volts in self._inputs:
                found = settled(self._made, here, Place(volts))
                if not found.hunting and found.standing not in self._courses:
                    self._courses[found.standing] = (*self._courses[here], volts)
                    self._waiting.append(found.standing)
        return self._courses.get(wanted)


def _inputs(made: Decisions, within: Span) -> Sequence[Fraction]:
    inside = [volts for volts in inputs_of_interest(made) if within.low <= volts <= within.high]
    return sorted({within.low, *inside, within.high})
