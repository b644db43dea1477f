"""The controller's times when it is called only so often: each at the first call at its end or after it, by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.control.program import Program, program
from tapplan.control.table import control_table
from tapplan.control.ticks import Time, at_ticks, settlings, times
from tapplan.design.model import Backup, Sensing, Sequence
from tests.examples import PAIR, TAPPED, design

F = Fraction
BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]


def made(sensing: Sensing, sequence: Sequence, back: str | None = None) -> Program:
    backup = None
    if back is not None:
        backup = Backup(leave_v=(F(155), F(285)), return_v=(F(165), F(280)), return_after_ms=F(back))
    stage = design(TAPPED, PAIR, bands=BANDS, backup=backup, sensing=sensing)
    return program(control_table(replace(stage, sequence=sequence)))


@pytest.mark.parametrize(
    ("ms", "tick", "acts"),
    [("30", 10, 30), ("30.1", 10, 40), ("29.9", 10, 30), ("1", 10, 10), ("0", 10, 0), ("25", 7, 28), ("28", 7, 28)],
)
def test_a_wait_ends_at_the_first_call_at_its_end_or_after_it(ms: str, tick: int, acts: int) -> None:
    assert Time("", F(ms)).acts_ms(tick) == acts


def test_the_times_that_a_controller_keeps() -> None:
    """Of the pair one after the other 25 ms for a relay that lets go, 30 for one that is driven; the last settles."""
    found = made(Sensing(confirm_ms=F(25)), Sequence(order="safest"), "3000")
    assert times(found) == [
        *(Time("confirm_ms", F(25)), Time("return_after_ms", F(3000))),
        *(Time("pause_ms", F(25)), Time("pause_ms", F(30))),
    ]
    assert settlings(found) == [Time("settling", F(25)), Time("settling", F(30))]
    apart = made(Sensing(confirm_ms=F(25), confirm_up_ms=F(5), confirm_down_ms=F(45)), Sequence())
    assert times(apart) == [Time("confirm_up_ms", F(5)), Time("confirm_down_ms", F(45))]
    assert times(made(Sensing(), Sequence())) == []


def test_at_a_tick_of_20_every_time_is_as_late_as_it_can_be() -> None:
    """5 and 45 ms of confirmation act at 20 and 60, seen 20 later; 3000 acts as it is; 30 of settling at 40."""
    sensing = Sensing(confirm_up_ms=F(5), confirm_down_ms=F(45))
    found = at_ticks(made(sensing, Sequence(order="safest"), "3010"), 20).design
    assert (found.sensing.confirm_up_ms, found.sensing.confirm_down_ms) == (40, 80)
    assert found.backup is not None
    assert found.backup.return_after_ms == 3040
    assert (found.sequence.pause_ms, found.sequence.blank_ms) == (40, 40)


def test_blanking_is_a_wait_too_and_what_the_file_has_not_is_not_made_up() -> None:
    """55 ms of blanking outlast the 30 of settling and end at 60; coils that change together have no pause."""
    together = at_ticks(made(Sensing(confirm_ms=F(20)), Sequence(blank_ms=F(55))), 20).design
    assert (together.sensing.confirm_up_ms, together.sensing.confirm_down_ms) == (40, 40)
    assert (together.sequence.pause_ms, together.sequence.blank_ms) == (None, 60)
    assert together.backup is None
