"""What relays went through and how long they last at that rate, and what a log cannot show, by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from tapplan.control.table import control_table
from tapplan.design.model import Backup, Design, Sensing
from tapplan.replay.clock import DAY, SECOND, Pace, median_of, pace_of, seconds
from tapplan.replay.life import Worn, moves_of, worn
from tapplan.replay.machine import Machine, machine
from tapplan.replay.tally import Tally
from tapplan.replay.unseen import Unseen, unseen
from tests.checks.test_rules import SENSED, sound

F = Fraction
MS = 1000


def made(endurance: object = None, **changes: object) -> Machine:
    """Boost 2 drives KO, boost 1 nothing, direct both, and being away nothing."""
    one = sound(**changes)
    relays = tuple(replace(relay, endurance=None if endurance is None else F(str(endurance))) for relay in one.relays)
    return machine(control_table(replace(one, relays=relays)))


def tally(changes: dict[tuple[int, int], int], observed: int = 2 * DAY) -> Tally:
    found = made().tally()
    for (before, after), many in changes.items():
        found.changes[before, after] = many
    found.lasting[1, 23_000] = observed // 2
    found.lasting[2, 22_000] = observed - observed // 2
    return found


def test_a_relay_moves_where_one_band_drives_it_and_the_other_does_not() -> None:
    """0 boost 2, 1 boost 1, 2 direct, 3 away: KL differs with direct alone, KO with boost 1 and away."""
    each = {(0, 1): 1, (1, 0): 10, (1, 2): 100, (2, 0): 1000, (1, 3): 10_000, (3, 2): 100_000}
    assert moves_of(made(), tally(each)) == {"KL": 101_100, "KO": 100_111}
    assert moves_of(made(), tally({})) == {"KL": 0, "KO": 0}


def test_while_away_the_backup_s_relays_are_driven() -> None:
    backup = Backup(leave_v=(F(100), F(300)), return_v=(F(120), F(280)), energised=("KL",))
    assert moves_of(made(backup=backup), tally({(1, 3): 5, (3, 0): 2})) == {"KL": 7, "KO": 2}


def test_years_are_endurance_over_moves_a_year() -> None:
    """Of KL 200 moves in two days, a hundred a day: 36500 a year, of which 100 000 are 2.74 years."""
    kl, ko = worn(made(endurance=100_000), tally({(1, 2): 150, (2, 0): 50}))
    assert kl == Worn("KL", 200, 100.0, F(100_000), pytest.approx(100_000 / 36_500))
    assert (ko.relay, ko.moves, ko.a_day) == ("KO", 150, 75.0)
    assert ko.years == pytest.approx(100_000 / (75 * 365))


def test_without_moves_an_endurance_or_time_nothing_tells() -> None:
    assert [(one.a_day, one.years) for one in worn(made(endurance=9), tally({}))] == [(0.0, None)] * 2
    assert [one.years for one in worn(made(), tally({(1, 2): 1}))] == [None, None]
    assert [one.endurance for one in worn(made(), tally({}))] == [None, None]
    assert [one.a_day for one in worn(made(endurance=9), tally({(1, 2): 1}, observed=0))] == [None, None]


# --- between two samples ---


def test_a_jump_over_a_band_passes_it_one_way_and_being_away_is_one_step() -> None:
    found = unseen(made(), tally({(0, 2): 3, (2, 0): 4, (1, 0): 5, (0, 3): 7, (3, 2): 11}), 20 * MS)
    assert (found.shortest, found.least) == (20 * MS, 30)
    assert found.one_way == 2 * 7 + 5 + 18


def paced(**changes: object) -> Machine:
    """Relays that pull in within 10 ms, fall out within 5, cross in 2 and bounce for 1."""
    one: Design = sound(**changes)
    times = {"operate_ms": (F(0), F(10)), "release_ms": (F(0), F(5)), "transfer_ms": (F(0), F(2)),
             "bounce_ms": (F(0), F(1))}  # fmt: skip
    return machine(control_table(replace(one, relays=tuple(replace(relay, **times) for relay in one.relays))))


def test_the_ceiling_is_one_change_after_the_other_as_soon_as_can_be() -> None:
    """The quickest lets a relay fall out and cross: its time, and the shorter confirmation."""
    plain = paced()
    shortest = pace_of(plain.made).shortest
    assert shortest is not None
    assert shortest > 0
    assert unseen(plain, tally({}), 1).ceiling == 2 * DAY // shortest
    waiting = paced(sensing=replace(SENSED, confirm_up_ms=F(30), confirm_down_ms=F(7)))
    assert unseen(waiting, tally({}), 1) == Unseen(1, 0, 0, 2 * DAY // (shortest + 0))  # away waits for nothing
    backed = paced(
        sensing=replace(SENSED, confirm_up_ms=F(30), confirm_down_ms=F(7)),
        backup=Backup(leave_v=(F(100), F(300)), return_v=(F(120), F(280)), return_after_ms=F(9)),
    )
    assert unseen(backed, tally({}), 1).ceiling == 2 * DAY // (shortest + 7 * MS)


def test_a_stage_that_moves_nothing_changes_nothing_and_one_that_takes_no_time_has_no_ceiling() -> None:
    alone = made(bands=[("boost 1", [], 150, 300)])
    assert unseen(alone, tally({}), 1).ceiling == 0
    none = {key: (F(0), F(0)) for key in ("operate_ms", "release_ms", "transfer_ms", "bounce_ms")}
    one = sound(sensing=Sensing())
    quick = machine(control_table(replace(one, relays=tuple(replace(relay, **none) for relay in one.relays))))
    assert pace_of(quick.made).shortest == 0
    assert unseen(quick, tally({}), 1).ceiling is None


def test_the_pace_is_of_changes_that_some_reading_leads_to() -> None:
    """Nothing to nothing, and no time where nothing moves: from being away to boost 1."""
    found = pace_of(paced().made)
    assert isinstance(found, Pace)
    assert [found.busy[at][at] for at in range(4)] == [0] * 4
    assert found.busy[3][1] == 0
    assert min(found.busy[1][0], found.busy[1][2], found.busy[0][1]) > 0
    assert found.shortest == min(taken for line in found.busy for taken in line if taken)


@pytest.mark.parametrize(
    ("counts", "median"),
    [({}, 0), ({5: 1}, 5), ({5: 1, 8: 1}, 6), ({5: 1, 9: 1}, 7), ({5: 2, 9: 1}, 5), ({9: 2, 5: 1}, 9),
     ({1: 2, 5: 2}, 3), ({1: 1, 5: 2, 7: 1}, 5), ({7: 3, 1: 3, 5: 1}, 5), ({3: 10}, 3)],
)  # fmt: skip
def test_the_median_of_counted_distances(counts: dict[int, int], median: int) -> None:
    each = sorted(value for value, many in counts.items() for _ in range(many))
    assert median_of(counts) == median == (int(np.median(each)) if each else 0)


def test_a_time_of_a_log_in_seconds() -> None:
    assert (seconds(SECOND), seconds(1), seconds(-5)) == (1, F(1, 10**6), F(-5, 10**6))
