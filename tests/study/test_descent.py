"""The thresholds found against a plain search over every pair, and against every pair near them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from random import Random

import pytest

from tapplan.control.table import control_table
from tapplan.control.thresholds import Handover
from tapplan.design.file import parse
from tapplan.study import descent
from tapplan.study.descent import NEAR, Descent, Searching
from tapplan.study.handovers import Thresholds
from tapplan.study.recording import recorded
from tapplan.study.scoring import Scorer
from tests.replay.against import Listed
from tests.study import handed
from tests.study.handed import TwoBands


@dataclass(frozen=True)
class Case:
    one: TwoBands
    samples: handed.Samples

    def scorer(self) -> Scorer:
        table = control_table(parse(self.one.whole, "drawn.toml"))
        return Scorer(Thresholds(table), [recorded(Listed(self.samples), 10**6)])

    def plain(self, ends: Handover) -> handed.Plain:
        return handed.judged(self.one, ends.upper_end, ends.lower_end, self.samples)


CASES = 14


@cache
def case(number: int) -> Case:
    chance = Random(number)
    one = handed.drawn(chance)
    return Case(one, handed.trace(chance, one))


@cache
def best_of(number: int) -> handed.Plain:
    made = case(number)
    return handed.best(made.one, made.samples)


@pytest.mark.parametrize("number", range(CASES))
def test_one_handover_is_as_good_as_the_best_of_every_pair(number: int) -> None:
    made = case(number)
    scorer = made.scorer()
    found = Descent(scorer, scorer.thresholds.rooms, Searching()).run()
    assert (len(found.ends), found.proven, found.every_pair, found.stopped) == (1, True, True, False)
    assert made.plain(found.ends[0]) == best_of(number)


def test_the_cases_are_worth_searching() -> None:
    bettered = 0
    for number in range(CASES):
        made = case(number)
        now = handed.judged(made.one, made.one.upper, made.one.lower, made.samples)
        bettered += best_of(number).changes < now.changes
        assert len(list(made.one.pairs())) > 100
    assert bettered > CASES // 2


@pytest.mark.parametrize("number", range(CASES, CASES + 8))
def test_where_there_is_too_much_to_try_all_no_pair_near_is_better(
    number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(descent, "WORK", 3 * descent.OVERHEAD)
    made = case(number)
    scorer = made.scorer()
    found = Descent(scorer, scorer.thresholds.rooms, Searching()).run()
    assert (found.proven, found.every_pair) == (True, False)
    now = handed.judged(made.one, made.one.upper, made.one.lower, made.samples)
    reached = made.plain(found.ends[0])
    for upper, lower in made.one.pairs():
        near = (abs(upper - found.ends[0].upper_end), abs(lower - found.ends[0].lower_end))
        if max(near) <= NEAR * handed.GRID:
            other = made.plain(Handover(upper, lower))
            assert other >= reached or other.outside > now.outside + handed.MINUTE


def test_what_is_not_sound_is_not_taken() -> None:
    made = case(11)
    scorer = made.scorer()
    room = scorer.thresholds.rooms[0]

    def sound(ends: object) -> bool:
        return ends[0].upper_end <= room.now.upper_end  # type: ignore[index]

    free = Descent(scorer, scorer.thresholds.rooms, Searching()).run()
    held = Descent(scorer, scorer.thresholds.rooms, Searching(sound=sound)).run()
    assert free.ends[0].upper_end > room.now.upper_end >= held.ends[0].upper_end
    below = [pair for pair in made.one.pairs() if pair[0] <= room.now.upper_end]
    now = made.plain(room.now)
    best = min(one for pair in below if (one := made.plain(Handover(*pair))).outside <= now.outside + handed.MINUTE)
    assert made.plain(held.ends[0]) == best


def test_told_to_stop_it_keeps_the_best_so_far() -> None:
    made = case(11)
    scorer = made.scorer()
    followed: list[int] = []
    how = Searching(stop=lambda: len(followed) > 40, tell=followed.append)
    found = Descent(scorer, scorer.thresholds.rooms, how).run()
    assert (found.proven, found.every_pair, found.stopped) == (False, False, True)
    assert made.plain(found.ends[0]) <= made.plain(scorer.thresholds.now[0])
    assert followed == sorted(followed)
    at_once = Descent(made.scorer(), scorer.thresholds.rooms, Searching(stop=lambda: True)).run()
    assert at_once.ends == scorer.thresholds.now
