"""What is advised where a step leaves its curve, or a move passes a bad ratio: windows tried, orders by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.finding import Finding
from tapplan.checks.mends import Cure, MilderOrder
from tapplan.checks.recovery import cures
from tapplan.checks.review import review
from tapplan.design.model import Sequence, SequenceMove
from tapplan.design.standards import Curve
from tests.checks.test_flight import clinic, found
from tests.checks.test_recovery import F47, ITI, drawn, left

F = Fraction


@pytest.mark.parametrize(("number", "cycles"), [(2, 1), (19, 1), (25, 1), (55, 2)])
@pytest.mark.parametrize("curve", [ITI, F47], ids=lambda curve: curve.key)
def test_the_window_advised_is_the_longest_of_all_that_keep_every_step(
    number: int, cycles: int, curve: Curve
) -> None:
    """Some levels of these wait for no reading at all: they bind no window, unless they leave by themselves."""
    made = drawn(number).design
    made = replace(made, sensing=replace(made.sensing, window_cycles=F(cycles)))
    halves = [F(count, 2) for count in range(1, int(2 * made.sensing.window_cycles))]
    for side in ("over", "under"):
        if not left(made, curve, side, Cure(made.sensing.longest_confirmation_ms)):
            continue
        kept = [one for one in halves if left(made, curve, side, Cure(F(0), one)) == 0]
        told = [one.window_cycles for one in cures(review(made), curve, side) if one.window_cycles is not None]
        assert told == kept[-1:], side


def ordered(*relays: str) -> Sequence:
    """The middle step with its relays commanded in this order, both ways."""
    moves = [
        SequenceMove(old="direct", new="buck 1", order=relays),
        SequenceMove(old="buck 1", new="direct", order=relays),
    ]
    return Sequence(moves=tuple(moves))


FORTH, BACK, START = '"direct" to "buck 1"', '"buck 1" to "direct"', 'start into "buck 1"'


def surges(sequence: Sequence) -> dict[str, Finding]:
    return found(replace(clinic(), sequence=sequence), "race-overvoltage")


def test_a_surge_that_another_order_avoids_has_it_advised() -> None:
    """K2 first passes 320/289 on the way there; on the way back K1 first does. The other order passes 129/160."""
    dip = (F(129, 160),)
    assert {where: one.mend for where, one in surges(ordered("K2", "K1")).items()} == {
        FORTH: MilderOrder(("K1", "K2"), dip),
        START: MilderOrder(("K1", "K2"), dip),
    }
    assert {where: one.mend for where, one in surges(ordered("K1", "K2")).items()} == {
        BACK: MilderOrder(("K2", "K1"), dip),
        START: MilderOrder(("K1", "K2"), dip),
    }
    assert {where: one.mend for where, one in surges(Sequence()).items()} == {
        FORTH: MilderOrder(("K1", "K2"), dip),
        BACK: MilderOrder(("K2", "K1"), dip),
        START: MilderOrder(("K1", "K2"), dip),
    }


def test_an_order_that_is_commanded_already_is_not_advised_though_its_pause_is_too_short() -> None:
    """K1 may be in flight until 30 ms: with K2 commanded after 5 ms both race, and the surge is met as before."""
    made = surges(Sequence(order="safest", pause_ms=F(5)))
    assert {where: one.mend for where, one in made.items()} == {FORTH: None, BACK: None, START: None}
