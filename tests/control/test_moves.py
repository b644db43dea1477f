"""The safest order against every order, and which moves a controller can make."""

from __future__ import annotations

from fractions import Fraction
from random import Random

from tapplan.control.decisions import decisions
from tapplan.control.moves import Mixtures, Move, Order, moves, orders, safest_order, transitions
from tapplan.control.standing import AWAY, REST, Change, InRow
from tapplan.control.table import control_table
from tapplan.design.model import Backup, Sensing
from tapplan.network.circuit import circuit_of
from tests.checks.test_margins import stage
from tests.examples import wiring

F = Fraction


def by_trying_all(mixtures: Mixtures, move: Move) -> Order:
    """Shorts nothing, rises least above both ends, dips least below them; a tie to the order of the file."""
    ends = [one for one in (mixtures.ratio(move.old), mixtures.ratio(move.new)) if one is not None]

    def harm(order: Order) -> tuple[bool, Fraction, Fraction]:
        above = [ratio - max(ends) for ratio in order.ratios if ends and ratio > max(ends)]
        below = [min(ends) - ratio for ratio in order.ratios if ends and ratio < min(ends)]
        return order.shorts, max(above, default=F(0)), max(below, default=F(0))

    return min(orders(mixtures, move), key=harm)


def test_the_safest_order_is_the_best_of_all() -> None:
    chance = Random(3)
    tried = shorted = risky = 0
    for _ in range(260):
        circuit = circuit_of(wiring(chance.randint, relays_max=5))
        mixtures, relays = Mixtures(circuit), circuit.relays
        old, new = (frozenset(one for one in relays if chance.random() < 0.5) for _ in range(2))
        movers = tuple(one for one in relays if one in old ^ new)
        if len(movers) < 2:
            continue
        move = Move("", InRow(0), InRow(1), old, new, movers, None)
        best = safest_order(mixtures, move)
        assert best == by_trying_all(mixtures, move)
        tried += 1
        shorted += best.shorts
        risky += len({order.shorts for order in orders(mixtures, move)}) == 2
    assert tried > 120
    assert shorted > 10
    assert risky > 10


def test_the_moves_are_the_changes_that_readings_bring_about() -> None:
    """Read at the input any row leads to any other; read elsewhere only to its neighbours, and away from the ends."""
    backup = Backup(leave_v=(F(161), F(248)), return_v=(F(165), F(244)))
    rows = [InRow(number) for number in range(3)]
    made = decisions(control_table(stage(backup=backup)))
    every = {Change(one, other) for one in (*rows, AWAY) for other in (*rows, AWAY) if one != other}
    assert set(transitions(made)) == every
    named = {move.name for move in moves(made)}
    assert {
        '"boost 2" to "direct"',
        '"direct" to backup',
        'backup to "direct"',
        'coil supply lost in "direct"',
    } <= named
    elsewhere = decisions(control_table(stage(sensing=Sensing(at="output"), bands=[
        ("b2", ["KO"], 207, 246), ("b1", [], 208, 248), ("d", ["KL", "KO"], 208, 250)])))  # fmt: skip
    between = {one for one in transitions(elsewhere) if AWAY not in (one.start, one.end)}
    assert between == {
        Change(rows[one], rows[other]) for one, other in ((0, 1), (1, 0), (1, 2), (2, 1))}  # fmt: skip
    assert not any(move.end is AWAY for move in moves(elsewhere))  # nothing is promised there, and nothing judged
    assert {move.end for move in moves(elsewhere) if not move.chosen} == {REST}
