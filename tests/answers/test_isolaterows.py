"""Hypotheses and outcomes in a few words, cut short where there are many."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.answers.isolaterows import (
    LEAST_OUTCOME,
    DefectRow,
    NextRow,
    OutcomeRow,
    WaitingRow,
    candidates,
    defects_told,
    listed,
)
from tapplan.bench.defects import HEALTHY, Defect

OPEN, WORN = Defect("K", "coil-open", relays=("K",)), Defect("S", "nc-worn")


def test_a_hypothesis_is_told_defect_by_defect_and_each_that_reads_alike_once() -> None:
    """Of two defects that differ only in what is not said, as the relays hit, one stands."""
    rows = candidates([(OPEN,), HEALTHY, (Defect("K", "coil-open"),), (OPEN, WORN)])
    one, two = (DefectRow(part=part, fault=fault, told=f"{part} {fault}") for part, fault in
                (("K", "coil-open"), ("S", "nc-worn")))  # fmt: skip
    assert rows == ((one,), (), (one, two))
    assert [defects_told(each) for each in rows] == ["K coil-open", "no fault", "K coil-open and S nc-worn"]
    assert listed(rows) == "K coil-open; no fault; K coil-open and S nc-worn"


def following(*shares: float) -> NextRow:
    outcomes = tuple(
        OutcomeRow(readings=f"{place} V", spans=(), share=share, fits=(), left="x")
        for place, share in enumerate(shares)
    )
    return NextRow(
        condition="off", measure="volts", asked="x", unit="V", bits=1.0, effort=1, most_v=Fraction(0),
        outcomes=outcomes, unbars=(), again=False, worth="",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("shares", "shown", "hidden"),
    [
        ((0.5, LEAST_OUTCOME, 0.5), [0, 1, 2], []),
        ((0.5, LEAST_OUTCOME / 2, 0.5), [0, 2], ["and 1 more that fit less likely faults (all with --json)"]),
        ((0.99, 0.0, 0.001), [0], ["and 2 more that fit less likely faults (all with --json)"]),
        ((0.001, 0.002), [0, 1], []),
        ((), [], []),
    ],
)
def test_outcomes_of_what_is_hardly_likely_are_counted_unless_all_are(
    shares: tuple[float, ...], shown: list[int], hidden: list[str]
) -> None:
    one = following(*shares)
    assert [one.outcomes.index(each) for each in one.shown] == shown
    assert one.hidden_told == hidden


def test_what_waits_is_told_with_what_keeps_it_waiting() -> None:
    one = WaitingRow(condition="line 203 V rising", measure="volts OUT N", because=candidates([(OPEN,), (WORN,)]))
    assert one.told == (
        'More would tell "line 203 V rising: volts OUT N", but while this is possible the line stays off: '
        "K coil-open; S nc-worn."
    )
