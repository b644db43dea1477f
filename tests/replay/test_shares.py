"""A log in shares gives what the log gives at once, wherever it is cut and however soon controllers forget."""

from __future__ import annotations

import itertools
import pickle
from collections import Counter
from random import Random

import pytest

from tapplan.errors import UsageError
from tapplan.replay.engines import NUMPY, Engines
from tapplan.replay.plain import PlainRun, as_plain
from tapplan.replay.replayed import USUAL_GAP, Running
from tapplan.replay.shares import Joining, NotApartError, joined, share_run
from tests.outside import replay as outside
from tests.replay.against import Both, Listed, drawn, drawn_logs


def cut(log: Listed, ends: list[int]) -> list[Listed]:
    edges = [0, *ends, len(log.samples)]
    return [Listed(log.samples[begin:end]) for begin, end in itertools.pairwise(edges)]


def shared(both: Both, log: Listed, ends: list[int], gap: int, head: int) -> PlainRun:
    how, parts = Running(max_gap=gap, engines=Engines(NUMPY)), cut(log, ends)
    runs = [share_run(part, [both.machine], how, gap, head) for part in parts]
    sent = [pickle.loads(pickle.dumps(run)) for run in runs if run is not None]  # noqa: S301, it is our own
    joining = Joining("a list", log, [both.machine], how, lambda number: parts[number])
    return as_plain(joined(sent, joining, gap))


def test_shares_joined_are_the_log() -> None:
    told: Counter[str] = Counter()
    for one in drawn_logs(60):
        chance, both, samples = one.chance, one.both, one.samples
        try:
            run = both.run(Listed(samples), one.gap, NUMPY)
        except UsageError:
            continue
        at_once, most = both.found(run), len(samples) - 1
        ends = sorted(chance.sample(range(1, len(samples)), min(most, chance.choice((1, 2, 5)))))
        head = chance.choice((1, 2, 8, 400))
        assert shared(both, Listed(samples), ends, run.max_gap, head) == as_plain(run)
        told["shares"] += len(ends) + 1
        told["changes"] += sum(at_once.changes.values())
    assert told["shares"] > 400
    assert told["changes"] > 2000


def test_shares_that_overlap_in_time_are_not_joined() -> None:
    both = drawn(Random(1))
    samples = [(1_000_000 * number, outside.marks(both.plain)[0]) for number in range(10)]
    log, how = Listed(samples), Running()
    runs = [share_run(part, [both.machine], how, None) for part in cut(log, [5])]
    sent = [run for run in runs if run is not None]
    joining = Joining("joined", log, [both.machine], how, lambda number: log)
    assert joined(sent, joining, USUAL_GAP * 1_000_000).tallies[0].samples == 10
    with pytest.raises(NotApartError):
        joined(sent[::-1], joining, USUAL_GAP * 1_000_000)


def test_shares_that_took_another_gap_are_not_joined() -> None:
    both = drawn(Random(1))
    times = [*range(0, 6_000_000, 1_000_000), *range(6_000_000, 60_000_000, 10_000_000)]
    log, how = Listed([(time, outside.marks(both.plain)[0]) for time in times]), Running()
    sent = [run for part in cut(log, [6]) if (run := share_run(part, [both.machine], how, None)) is not None]
    joining = Joining("joined", log, [both.machine], how, lambda number: log)
    assert [one.read.gap for one in sent] == [3_000_000, 30_000_000]
    with pytest.raises(NotApartError):
        joined(sent, joining, sent[1].read.gap)
