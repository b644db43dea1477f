"""The compiled controller as a program holds it: masks, moves and their waits, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from tapplan.control.program import Passing, Program, mask, program
from tapplan.control.standing import AWAY, Change, InRow
from tapplan.control.table import control_table
from tapplan.design.model import Backup, Design, Sequence
from tests.examples import PAIR, TAPPED, design

F = Fraction
BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]
B2, B1, D, K = (InRow(number) for number in range(4))


def compiled(sequence: Sequence = Sequence(), **changes: object) -> Program:  # noqa: B008 -- frozen
    made: Design = replace(design(TAPPED, PAIR, bands=BANDS, **changes), sequence=sequence)  # type: ignore[arg-type]
    return program(control_table(made))


def test_a_mask_has_a_bit_for_each_relay_of_the_file() -> None:
    table = control_table(design(TAPPED, PAIR, bands=BANDS))
    masks = [mask(table, frozenset(driven)) for driven in ((), ("KL",), ("KO",), ("KL", "KO"))]
    assert masks == [0, 1, 2, 3]
    assert compiled().coils == (2, 0, 3, 1, 0)
    assert compiled().names == ("b2", "b1", "d", "k", AWAY.value)


def test_coils_that_change_together_are_one_mask_and_one_wait() -> None:
    """By default both change at once, and the slower takes 15 + 10 + 5 ms."""
    assert compiled().step(B1, D) == Passing((3,), (F(30),), F(30))


def test_coils_one_after_the_other_are_a_mask_and_a_wait_each() -> None:
    """b1 to d, KL first: 30 ms until it has settled, 30 more for KO. Back, KO lets go within 10 + 10 + 5 ms."""
    made = compiled(Sequence(order="safest"))
    assert made.step(B1, D) == Passing((1, 3), (F(30), F(30)), F(60))
    assert made.step(D, B1) == Passing((1, 0), (F(25), F(25)), F(50))


def test_a_pause_of_the_file_stands_between_the_masks() -> None:
    """The second coil is told 80 ms after the first, and takes its 30 ms."""
    found = compiled(Sequence(order="safest", pause_ms=F(80))).step(B1, D)
    assert found == Passing((1, 3), (F(80), F(30)), F(110))


def test_a_move_that_is_never_made_is_at_once_and_takes_no_time() -> None:
    """A row is not left for itself."""
    made = compiled()
    assert Change(B1, B1) not in made.passings
    assert made.step(B1, B1) == Passing((0,), (F(0),), F(0))
    assert made.step(K, K) == Passing((1,), (F(0),), F(0))


def test_a_way_to_where_the_coils_stand_already_is_one_mask_and_no_wait() -> None:
    """Away drives nothing, as b1 does: coming back from b1 moves no relay, from the others those that are driven."""
    backup = Backup(leave_v=(F(155), F(285)), return_v=(F(165), F(280)))
    made = compiled(backup=backup)
    retreats = dict(zip(("b2", "b1", "d", "k", "rest"), made.retreats, strict=True))
    assert retreats["b1"] == retreats["rest"] == Passing((0,), (F(0),), F(0))
    assert [retreats[name].masks for name in ("b2", "d", "k")] == [(0,)] * 3
    assert all(retreats[name].decides_ms > 0 for name in ("b2", "d", "k"))


@pytest.mark.parametrize("sequence", [Sequence(), Sequence(order="safest"), Sequence(order="safest", pause_ms=F(7))])
def test_every_move_ends_in_the_coils_of_its_end_and_waits_until_readings_count(sequence: Sequence) -> None:
    made = compiled(sequence)
    assert made.passings
    for change, passing in made.passings.items():
        assert passing.masks[-1] == made.coils[made.number(change.end)]
        assert sum(passing.waits_ms) == passing.decides_ms
        assert len(passing.waits_ms) == len(passing.masks)
        steps = [made.coils[made.number(change.start)], *passing.masks]
        assert all(one != other for one, other in pairwise(steps)) or steps[0] == steps[-1]
    assert made.paths == {change: passing.masks for change, passing in made.passings.items()}


def test_readings_are_millivolts_where_the_file_describes_no_converter() -> None:
    made = compiled()
    assert (made.per_volt, made.counted, made.most_reading) == (1000, False, None)
    assert made.standings == (B2, B1, D, K, AWAY)
    assert {188_000, 192_001} <= set(made.thresholds)
