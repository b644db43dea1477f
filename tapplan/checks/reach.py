"""Which bands any course of the input can enter, and which switch-on leaves to chance."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.states import EitherStart, NeverEntered
from tapplan.control.decisions import Decisions
from tapplan.control.lookup import inputs_of_interest, rows_entered
from tapplan.control.standing import AWAY, InRow, Standing


def unreachable_bands(review: Review) -> Iterator[Finding]:
    """Bands that no switch-on chooses and no move enters, whatever the input does."""
    entered = _entered(review.decisions)
    for number, row in enumerate(review.table.rows):
        if number not in entered and row.input_hold is not None:
            hold = row.input_hold
            shown = NeverEntered(bands=(row.name,), energised=row.energised, from_v=hold.low, to_v=hold.high)
            yield Finding("unreachable-band", Severity.WARNING, where.in_band(row.name), shown)


def _entered(made: Decisions) -> set[int]:
    """The rows that some switch-on chooses or some sudden or slow change of the input moves to."""
    inputs = inputs_of_interest(made)
    entered: set[int] = set()
    waiting: list[Standing] = [AWAY]
    while waiting:
        here = waiting.pop()
        new = {number for volt in inputs for number in rows_entered(made, here, volt)} - entered
        entered |= new
        waiting += [InRow(number) for number in new]
    return entered


def ambiguous_start(review: Review) -> Iterator[Finding]:
    """Two bands of equal ratio but different relays that hold one start reading."""
    for one, other in combinations(review.table.rows, 2):
        if one.ratio is None or one.ratio != other.ratio or one.energised == other.energised:
            continue
        if one.input_hold is None or other.input_hold is None:
            continue
        shared = one.input_hold.meet(other.input_hold)
        if shared is not None:
            shown = EitherStart(
                bands=(one.name, other.name),
                input_v=shared.low,
                from_v=shared.low,
                to_v=shared.high,
                ratio=one.ratio,
                output_v=one.ratio * shared.low,
            )
            yield Finding("ambiguous-start", Severity.NOTE, where.in_bands(one.name, other.name), shown)
