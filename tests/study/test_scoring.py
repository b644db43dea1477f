"""Scores against a whole replay, on random designs and logs; thresholds that no reading tells apart."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from importlib.util import find_spec
from random import Random
from typing import Any

import numpy as np
import pytest

from tapplan.control.table import control_table
from tapplan.control.thresholds import Handover
from tapplan.design.file import parse
from tapplan.errors import UsageError
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import Running, replayed
from tapplan.study import scoring
from tapplan.study.handovers import Thresholds
from tapplan.study.recording import Recording, recorded
from tapplan.study.scoring import Scorer, TraceScore
from tests.outside import replay as outside
from tests.replay.against import Both, Listed, drawn
from tests.study import handed

ENGINES = ["numpy", pytest.param("compiled", marks=pytest.mark.skipif(not find_spec("numba"), reason="an extra"))]
F = Fraction


def wanted(made: Machine, sites: list[Recording]) -> TraceScore | None:
    try:
        runs = [replayed(one, [made], Running(max_gap=one.gap)) for one in sites]
    except UsageError:
        return None
    tallies = [run.tallies[0] for run in runs]
    return TraceScore(sum(int(one.changes.sum()) for one in tallies), sum(one.outside for one in tallies))


def sites_of(chance: Random, both: Both) -> list[Recording]:
    found = []
    for _ in range(chance.choice((1, 1, 2))):
        samples = outside.random_log(chance, both.plain)
        kind, scale = chance.choice((np.float64, np.float32)), chance.choice((F(1), F(1, 10)))
        log = Listed(samples, (), scale, kind)
        found.append(recorded(log, 10**6, outside.random_max_gap(chance, samples)))
    return found


def ends_of(chance: Random, thresholds: Thresholds) -> list[Handover]:
    while True:
        ends = [Handover(chance.choice(room.uppers), chance.choice(room.lowers)) for room in thresholds.rooms]
        if thresholds.ordered(ends):
            return ends


@pytest.mark.parametrize("engine", ENGINES)
def test_a_score_is_what_a_replay_gives(engine: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scoring, "LONG", 0 if engine == "compiled" else 10**9)
    told: Counter[str] = Counter()
    for number in range(60):
        chance = Random(number)
        both = drawn(chance)
        sites, thresholds = sites_of(chance, both), Thresholds(both.machine.table)
        scorer = Scorer(thresholds, sites)
        for ends in (thresholds.now, *(ends_of(chance, thresholds) for _ in range(4 if thresholds.rooms else 0))):
            if ends != thresholds.now and not thresholds.ordered(ends):
                continue
            score = scorer.score(ends)
            assert score == wanted(machine(thresholds.moved(ends)), sites), number
            told["found"] += score is not None
            told["changes"] += 0 if score is None else score.changes
            told["moved"] += ends != thresholds.now
    assert min(told["found"], told["moved"]) > 120
    assert told["changes"] > 3000


def test_the_mean_deviation_by_the_plain_loop() -> None:
    for number in range(12):
        chance = Random(number)
        one = handed.drawn(chance)
        samples = handed.trace(chance, one)
        thresholds = Thresholds(control_table(parse(one.whole, "two.toml")))
        scorer = Scorer(thresholds, [recorded(Listed(samples), 10**6)])
        for ends in (thresholds.now[0], Handover(thresholds.rooms[0].uppers[-1], thresholds.rooms[0].lowers[0])):
            plain = handed.judged(one, ends.upper_end, ends.lower_end, samples)
            assert scorer.score([ends]) == TraceScore(plain.changes, plain.outside)
            assert scorer.off([ends]) == plain.off


def test_thresholds_that_no_reading_tells_apart_are_followed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Readings of 201, 204.5 and 206 V: an upper end of 204.5 keeps that reading, one of 204.4 does not."""
    one = handed.TwoBands(30, "input", F(1, 2), F(1), F(2), 0, "", F(205), F(202))
    samples = [
        (60_000_000 * number, F(volts)) for number, volts in enumerate(("201", "204.5", "206", "201", "204.5"))
    ]
    thresholds = Thresholds(control_table(parse(one.whole, "two.toml")))
    scorer = Scorer(thresholds, [recorded(Listed(samples), 10**6)])
    followed: list[Any] = []
    real = scorer._scored
    monkeypatch.setattr(scorer, "_scored", lambda ends: followed.append(ends) or real(ends))
    pairs = [("204.4", "202"), ("204.5", "202"), ("205", "202"), ("205.9", "203"), ("206", "203"), ("206", "200.5")]
    keys = [scorer.key([Handover(F(up), F(low))]) for up, low in pairs]
    assert [keys.index(key) for key in keys] == [0, 1, 1, 1, 4, 5]
    for up, low in pairs:
        scorer.score([Handover(F(up), F(low))])
    assert len(followed) == 4


def test_the_grain_of_several_logs_is_that_of_the_finest() -> None:
    both = drawn(Random(1))
    volts = outside.marks(both.plain)[0]
    logs = [Listed([(step * number, volts) for number in range(4)]) for step in (5_000_000, 60_000_000)]
    assert Scorer(Thresholds(both.machine.table), [recorded(log, 100) for log in logs]).grain_us == 5_000_000
