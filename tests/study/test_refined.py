"""Thresholds refined: what is kept, what is not, and that the promises stay."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from tapplan.checks.review import review
from tapplan.control.table import ControlTable, control_table
from tapplan.control.thresholds import Handover
from tapplan.design.file import load, parse
from tapplan.errors import LogError, UsageError
from tapplan.replay.clock import DAY, MINUTE
from tapplan.replay.machine import machine
from tapplan.replay.replayed import Running, replayed
from tapplan.study.handovers import restated
from tapplan.study.recording import Recording, recorded
from tapplan.study.refined import Refinement, Refining, RefiningHow, refined
from tapplan.study.soundness import keeping
from tests.examples import ROOT
from tests.replay.against import Listed
from tests.study.handed import TwoBands
from tests.study.test_soundness import IRON, MOST_V, line_moves, real_top

F = Fraction
ONE = TwoBands(30, "input", F(1, 2), F(1), F(2), 0, "", F(204), F(201))
STEP = 20 * MINUTE
Volts = Callable[[int], float]


def table_of(one: TwoBands) -> ControlTable:
    return control_table(parse(one.whole, "two.toml"))


def log(days: int, volts: Volts, name: str = "made") -> Recording:
    """So many days of samples, one each twenty minutes, in tenths of a volt."""
    count = days * DAY // STEP
    samples = [(STEP * number, F(round(10 * volts(number)), 10)) for number in range(count)]
    return recorded(Listed(samples, name=name), 10**7)


def around(seed: int, wide: float, middle: float = 202.5) -> Volts:
    chance = Random(seed)
    drawn = [middle + chance.gauss(0, wide) for _ in range(2000)]
    return lambda number: drawn[number]


def counts(table: ControlTable, sites: Sequence[Recording]) -> int:
    runs = [replayed(one, [machine(table)], Running(max_gap=one.gap)) for one in sites]
    return sum(int(run.tallies[0].changes.sum()) for run in runs)


def by_part(found: Refinement) -> list[tuple[int, int]]:
    """Changes before and after, by part."""
    tallies = [[run.tallies for run in part.runs] for part in found.parts]
    return [
        (sum(int(a.changes.sum()) for a, _ in part), sum(int(b.changes.sum()) for _, b in part)) for part in tallies
    ]


def test_fewer_changes_are_kept_and_counted_by_a_replay() -> None:
    one = log(9, around(1, 2.5))
    found = refined(table_of(ONE), [one])
    assert (found.outcome, found.kept, found.proven, found.partial) == (Refining.KEPT, True, True, False)
    chosen, rest = found.parts
    assert (chosen.held_out, rest.held_out) == (False, True)
    assert chosen.sites[0].end == rest.sites[0].first == 6 * DAY
    assert by_part(found) == [
        (counts(found.before.table, part.sites), counts(found.table, part.sites)) for part in found.parts
    ]
    assert all(after < before for before, after in by_part(found))
    assert found.table.rows == found.before.moved(found.found).rows


def test_the_design_found_is_reviewed_and_no_worse() -> None:
    for name in ("ridge-dispensary", "signal-box", "spring-pump", "orchard-cold-room"):
        table = control_table(load(ROOT / "designs" / f"{name}.toml"))
        middle = float(table.rows[1].input_hold.low)
        found = refined(table, [log(4, around(2, 5, middle))])
        before, after = keeping(review(table.design)), keeping(review(restated(found.table)))
        assert after.no_worse(before), name
        assert found.outcome in (Refining.KEPT, Refining.NOT_FEWER), name
        assert (found.margin_before, found.margin) == (before.margin, found.margin)


def test_what_the_flux_bars_is_not_found() -> None:
    """Without the core the upper end goes to the window's; with it no farther than its flux lets it."""
    text = line_moves(ONE.whole)
    one = log(9, around(1, 2.5))
    free = refined(control_table(parse(text, "two.toml")), [one])
    held = refined(control_table(parse(text + IRON, "two.toml")), [one])
    assert (free.outcome, held.outcome) == (Refining.KEPT, Refining.KEPT)
    assert real_top(held.found[0].upper_end) <= MOST_V < real_top(free.found[0].upper_end)
    assert keeping(review(restated(held.table))).faults == {}


def test_what_the_rest_of_the_log_does_not_bear_out_is_not_kept() -> None:
    """Six days go to and fro between 200.8 and 204.2 V; then readings lie farther apart than any room is wide."""
    one = log(9, lambda number: (200.8, 204.2)[number % 2] if number < 6 * 72 else (197, 212)[number % 2])
    found = refined(table_of(ONE), [one])
    assert (found.outcome, found.kept) == (Refining.NOT_FEWER, False)
    (before, after), (rest_before, rest_after) = by_part(found)
    assert (before > 400, after < 10, rest_after) == (True, True, rest_before)
    assert found.table.rows == found.before.table.rows
    assert found.found != found.before.now


def test_longer_outside_is_not_kept() -> None:
    """With ten minutes to confirm a jump from 205.2 to 215 V is outside so long, unless the boost is left before."""
    slow = replace(ONE, confirm=600_000)
    later = (200.6, 205.2, 200.6, 205.2, 215, 198)
    volts = [(200.6, 205.2)[number % 2] for number in range(6 * 72)] + [later[number % 6] for number in range(3 * 72)]
    found = refined(table_of(slow), [log(9, lambda number: volts[number])])
    chosen, rest = (part.runs[0].tallies for part in found.parts)
    assert (found.outcome, found.kept) == (Refining.LONGER_OUTSIDE, False)
    assert (chosen[0].changes.sum(), chosen[1].changes.sum()) == (6 * 72 - 1, 0)
    assert (rest[0].changes.sum(), rest[1].changes.sum()) == (4 * 36, 2 * 36)
    assert (rest[0].outside, rest[1].outside) == (0, 36 * 10 * MINUTE)


def test_a_log_that_stays_in_one_band_changes_nothing() -> None:
    found = refined(table_of(ONE), [log(9, lambda number: 215 + number % 5)])
    assert (found.outcome, found.found, by_part(found)) == (Refining.NONE_BETTER, found.before.now, [(0, 0), (0, 0)])


def test_too_short_to_hold_out_is_found_and_not_kept() -> None:
    found = refined(table_of(ONE), [log(2, around(1, 2.5))])
    assert (found.outcome, len(found.parts), found.kept) == (Refining.TOO_SHORT, 1, False)
    assert found.table.rows == found.before.table.rows
    ((before, after),) = by_part(found)
    assert after < before


def test_several_logs_count_together() -> None:
    sites = [log(9, around(1, 2.5), "one"), log(2, around(5, 2.5), "short"), log(5, around(3, 2.5), "two")]
    found = refined(table_of(ONE), sites)
    chosen, rest = found.parts
    assert [one.name for one in chosen.sites] == ["one", "short", "two"]
    assert [one.name for one in rest.sites] == ["one", "two"]
    assert found.kept
    assert by_part(found)[1] == (counts(found.before.table, rest.sites), counts(found.table, rest.sites))


def test_no_room_is_told() -> None:
    """209.5 and 198 V lie beyond the room already, and all of the overlap is wanted as hysteresis."""
    full = replace(ONE, upper=F("209.5"), lower=F(198), hysteresis=F(20))
    found = refined(table_of(full), [log(4, around(1, 2.5))])
    assert (found.outcome, found.found, len(found.parts)) == (Refining.NO_ROOM, (), 2)
    assert by_part(found)[0][0] == by_part(found)[0][1]


def test_stopped_at_once_nothing_is_moved() -> None:
    found = refined(table_of(ONE), [log(4, around(1, 2.5))], RefiningHow(stop=lambda: True))
    assert (found.partial, found.proven, found.outcome) == (True, False, Refining.NONE_BETTER)
    assert found.found == found.before.now


def test_other_mains_and_bands_without_end_are_refused() -> None:
    with pytest.raises(LogError, match="found no reading in the mains range, 174 to 240 V"):
        refined(table_of(ONE), [log(4, lambda _: 120)])
    hunting = replace(ONE, at="output", upper=F(228), lower=F(220), times="", hysteresis=F(0))
    instant = "operate_ms = 0\nrelease_ms = 0\ntransfer_ms = 0\nbounce_ms = 0\n"
    with pytest.raises(UsageError, match="without end"):
        refined(table_of(replace(hunting, times=instant)), [log(4, lambda number: 195 + number % 9)])


def test_outer_ends_and_untouched_handovers_stay() -> None:
    table = control_table(load(ROOT / "designs" / "ridge-dispensary.toml"))
    found = refined(table, [log(6, around(1, 3, 215.5))])
    assert found.kept
    assert found.found[0] == Handover(192, 189)
    assert (found.table.rows[0].hold.low, found.table.rows[-1].hold.high) == (166, 277)
