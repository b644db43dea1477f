"""A log in columns against a plain loop over the pieces of the course that `tests/outside` makes of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import floor
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.cli.opened import table_in
from tapplan.logs.samples import BadRows
from tapplan.replay.machine import machine
from tapplan.replay.replayed import LogRun, Running, replayed
from tapplan.replay.view import COLUMNS, LogView, _Again, cut, edges_of, viewed
from tapplan.replay.volts import GRAINS
from tests.examples import ROOT
from tests.outside import replay as outside
from tests.outside.stage import AWAY
from tests.replay.against import Both, Listed, drawn_logs

MINUTE = 60_000_000
RIDGE = machine(table_in(str(ROOT / "designs" / "ridge-dispensary.toml")))


def as_lists(view: LogView) -> dict[str, Any]:
    return {name: getattr(view, name).tolist() for name in LogView.__dataclass_fields__}


def plain(both: Both, samples: Sequence[outside.Sample], gap: int | None, columns: int) -> dict[str, Any]:
    """The same, piece by piece and column by column, with nothing but whole numbers and fractions."""
    run = both.plain.run(samples, gap)
    lasting = run.end - run.begin
    count = min(columns, lasting)
    edges = [run.begin + lasting * n // count for n in range(count + 1)] if count else [run.begin]
    names, grain = both.machine.names, both.machine.grain.volts
    found: dict[str, Any] = {
        "edges": edges,
        "least": [[GRAINS] * count for _ in names],
        "most": [[-1] * count for _ in names],
        "lasting": [[0] * count for _ in names],
        "outside": [0] * count,
        "gaps": [0] * count,
    }
    for piece in run.pieces:
        for column, (begin, end) in enumerate(pairwise(edges)):
            us = min(piece.end, end) - max(piece.begin, begin)
            if us <= 0:
                continue
            if piece.volts is None:
                found["gaps"][column] += us
                continue
            at, volts = names.index(piece.row), floor(piece.volts / grain + Fraction(1, 2))
            found["lasting"][at][column] += us
            found["least"][at][column] = min(found["least"][at][column], volts)
            found["most"][at][column] = max(found["most"][at][column], volts)
            found["outside"][column] += us * is_outside(both, piece.row, piece.volts)
    return found


def is_outside(both: Both, row: str, volts: Fraction) -> bool:
    low, high = both.plain.stage.window
    return row == AWAY or not low <= both.plain.ratios[row] * volts <= high


def cuts_of(chance: Random, samples: int) -> Iterator[list[int]]:
    """Nowhere, at some places, and at each."""
    yield []
    yield sorted(chance.sample(range(1, samples), min(samples - 1, chance.choice((1, 3, 10)))))
    if samples < 40:
        yield list(range(1, samples))


def test_a_view_is_what_the_plain_loop_gives_however_the_log_is_cut() -> None:
    told: Counter[str] = Counter()
    for one in drawn_logs(24, most_rows=80):
        chance, both, samples, gap = one.chance, one.both, one.samples, one.gap
        columns = chance.choice((1, 3, 17, 200))
        try:
            expected = plain(both, samples, gap, columns)
        except outside.HuntingError:
            continue
        for cuts in cuts_of(chance, len(samples)):
            log = Listed(samples, cuts, kind=chance.choice((np.float64, np.float32)))
            run = replayed(log, [both.machine], Running(max_gap=gap))
            assert as_lists(viewed(log, both.machine, run, columns)) == expected
            told["views"] += 1
        told["outside"] += any(expected["outside"])
        told["gaps"] += any(expected["gaps"])
        told["columns within a sample"] += columns > 2 * len(samples)
        told["samples within a column"] += columns * 2 < len(samples)
    assert told["views"] > 180
    assert min(told.values()) > 15


@given(st.lists(st.integers(1, 30), min_size=1, max_size=12), st.lists(st.integers(1, 40), max_size=9), st.data())
def test_times_are_cut_at_edges_and_nothing_is_lost(
    steps: list[int], lengths: list[int], data: st.DataObject
) -> None:
    edges = np.cumsum([0, *steps])
    begins = np.array([data.draw(st.integers(-20, 200)) for _ in lengths], np.int64)
    shares = cut(begins, begins + np.array(lengths, np.int64), edges)
    assert (shares.lengths > 0).all()
    assert (edges[shares.columns] <= shares.begins).all()
    assert (shares.ends <= edges[shares.columns + 1]).all()
    for place, (begin, length) in enumerate(zip(begins.tolist(), lengths, strict=True)):
        inside = max(min(begin + length, int(edges[-1])) - max(begin, 0), 0)
        assert int(shares.lengths[shares.of == place].sum()) == inside


def test_one_sample_in_a_year_is_seen() -> None:
    """Half a million minutes at 230 V, one at 271 V, for which another band is in force."""
    volts = np.full(525_600, 230.0)
    volts[123_456] = 271.0
    samples = [(minute * MINUTE, Fraction(one)) for minute, one in enumerate(volts.tolist())]
    log = Listed(samples, [100_000, 123_456, 123_457])
    view = viewed(log, RIDGE, replayed(log, [RIDGE]))
    line = view.line(0.01)
    assert view.columns == COLUMNS
    assert np.flatnonzero(line.most > 230).tolist() == [123_456 * COLUMNS // 525_600]
    assert line.most.max() == pytest.approx(271)
    assert (line.least == 230).all()
    assert np.flatnonzero(view.lasting[:-1] > 0).size == COLUMNS + 1  # one column has a second band


def test_columns_together_are_columns_that_last_longer() -> None:
    chance = Random(5)
    samples = [(minute * MINUTE, Fraction(chance.randint(1500, 2900), 10)) for minute in range(700)]
    log = Listed(samples)
    run = replayed(log, [RIDGE])
    fine, coarse = viewed(log, RIDGE, run, 700), viewed(log, RIDGE, run, 100)
    assert as_lists(fine.coarser(7)) == as_lists(coarse)
    rest = fine.coarser(300)
    assert rest.columns == 3
    assert rest.edges[-1] == fine.edges[-1]
    assert rest.gaps.sum() + rest.lasting.sum() == fine.lasting.sum()


def test_a_log_of_no_time_has_no_columns() -> None:
    log = Listed([(MINUTE, Fraction(230))])
    view = viewed(log, RIDGE, replayed(log, [RIDGE]))
    assert view.columns == view.coarser(3).columns == 0
    assert len(edges_of(replayed(log, [RIDGE]), 10)) == 1


def test_a_log_shorter_than_the_columns_has_one_each_microsecond() -> None:
    log = Listed([(0, Fraction(230)), (3, Fraction(231))])
    assert viewed(log, RIDGE, replayed(log, [RIDGE])).edges.tolist() == [0, 1, 2, 3, 4, 5, 6]


def test_what_was_stopped_is_seen_as_far_as_it_was_read() -> None:
    """What comes after it, and sooner than the step for which its last sample stands, is not."""
    samples = [(minute * MINUTE, Fraction(230 + minute % 3)) for minute in range(40)]
    samples += [(39 * MINUTE + (1 + late) * MINUTE // 4, Fraction(260)) for late in range(20)]
    log = Listed(samples, [20, 40])
    passed: list[int] = []
    run = replayed(log, [RIDGE], Running(stop=lambda: len(passed) == 2, tell=passed.append))
    assert run.partial
    short = Listed(samples[:40])
    assert as_lists(viewed(log, RIDGE, run, 10)) == as_lists(viewed(short, RIDGE, replayed(short, [RIDGE]), 10))


def test_the_output_is_told_only_of_bands_with_a_ratio() -> None:
    log = Listed([(0, Fraction(230)), (MINUTE, Fraction(400)), (2 * MINUTE, Fraction(400))])
    view = viewed(log, RIDGE, replayed(log, [RIDGE]), 3)
    output, line = view.output(RIDGE.ratios, 0.01), view.line(0.01)
    assert output.least[0] == pytest.approx(230)
    assert np.isnan(output.most[2])
    assert line.most[2] == 400
    assert view.away[2] == view.outside[2] == MINUTE


# --- by hand ---


@pytest.mark.parametrize(
    ("begin", "end", "parts"),
    [
        (0, 10, [(0, 0, 10)]),
        (0, 11, [(0, 0, 10), (1, 10, 11)]),
        (9, 21, [(0, 9, 10), (1, 10, 20), (2, 20, 21)]),
        (10, 20, [(1, 10, 20)]),
        (12, 13, [(1, 12, 13)]),
        (-5, 3, [(0, 0, 3)]),
        (25, 99, [(2, 25, 30)]),
        (-9, -5, []),
        (30, 40, []),
        (-9, 0, []),
    ],
)
def test_times_are_cut_at_the_edges_of_columns(begin: int, end: int, parts: list[tuple[int, int, int]]) -> None:
    """Columns from 0 to 10, 20 and 30; beside another time that lies in the first."""
    found = cut(np.array([1, begin]), np.array([2, end]), np.array([0, 10, 20, 30]))
    each = list(
        zip(found.of.tolist(), found.columns.tolist(), found.begins.tolist(), found.ends.tolist(), strict=True)
    )
    assert each == [(0, 0, 1, 2), *((1, *one) for one in parts)]
    assert found.lengths.tolist() == [1, *(one[2] - one[1] for one in parts)]


def run_of(first: int, last: int, step: int, **changes: Any) -> LogRun:
    tally = RIDGE.tally()
    tally.samples = 5
    return LogRun("a log", None, first, last, step, 0, BadRows(), (tally,), **changes)


@pytest.mark.parametrize(
    ("columns", "edges"),
    [(1, [100, 120]), (2, [100, 110, 120]), (3, [100, 106, 113, 120]), (40, list(range(100, 121)))],
)
def test_columns_are_as_long_as_one_another_to_a_microsecond(columns: int, edges: list[int]) -> None:
    """From 100 to 110, and a step of 10."""
    assert edges_of(run_of(100, 110, 10), columns).tolist() == edges
    assert edges_of(run_of(100, 100, 0), columns).tolist() == [100]


@pytest.mark.parametrize(("partial", "samples", "stop"), [(True, 4, False), (True, 5, True), (True, 6, True),
                                                          (False, 9, False)])  # fmt: skip
def test_a_log_that_was_stopped_is_viewed_as_far_as_it_was_run(partial: bool, samples: int, stop: bool) -> None:
    told: list[int] = []
    again = _Again(run_of(100, 110, 10, partial=partial), told.append)
    again.passed(samples)
    assert (told, again.stop()) == ([samples], stop)


def small() -> LogView:
    """Two rows and being away over three columns of ten microseconds."""
    return LogView(
        np.array([0, 10, 20, 30]),
        np.array([[5, GRAINS, 7], [GRAINS, 4, 9], [GRAINS, GRAINS, 3]]),
        np.array([[6, -1, 8], [-1, 4, 9], [-1, -1, 3]]),
        np.array([[10, 0, 2], [0, 10, 3], [0, 0, 5]]),
        np.array([1, 2, 6]),
        np.array([0, 4, 0]),
    )


def test_the_mains_of_a_column_is_that_of_all_standings_and_the_output_that_of_rows_with_a_ratio() -> None:
    line = small().line(0.5)
    assert (line.least.tolist(), line.most.tolist()) == ([2.5, 2.0, 1.5], [3.0, 2.0, 4.5])
    output = small().output((Fraction(2), Fraction(1), Fraction(0)), 0.5)
    assert (output.least.tolist(), output.most.tolist()) == ([5.0, 2.0, 4.5], [6.0, 2.0, 8.0])
    nothing = small().output((Fraction(2), Fraction(0), Fraction(0)), 0.5)
    assert np.isnan(nothing.least).tolist() == np.isnan(nothing.most).tolist() == [False, True, False]
    assert (small().columns, small().away.tolist()) == (3, [0, 0, 5])


def test_columns_taken_together() -> None:
    found = small().coarser(2)
    assert found.edges.tolist() == [0, 20, 30]
    assert found.least.tolist() == [[5, 7], [4, 9], [GRAINS, 3]]
    assert found.most.tolist() == [[6, 8], [4, 9], [-1, 3]]
    assert found.lasting.tolist() == [[10, 2], [10, 3], [0, 5]]
    assert (found.outside.tolist(), found.gaps.tolist()) == ([3, 6], [4, 0])
    assert small().coarser(1).edges.tolist() == small().edges.tolist()
    assert small().coarser(3).edges.tolist() == small().coarser(9).edges.tolist() == [0, 30]
    none = LogView(np.array([7]), *(np.zeros((3, 0), np.int64) for _ in range(3)), np.zeros(0), np.zeros(0))
    assert none.coarser(2).columns == 0
