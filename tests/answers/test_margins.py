"""Margins: growths, promises, and thresholds in counts."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from fractions import Fraction
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.margins import (
    Counts,
    Draws,
    ErrorBudget,
    ErrorRow,
    Margins,
    _drawn,
    _growth,
    margins,
    with_samples,
)
from tapplan.answers.verdict import verdict
from tapplan.checks.budget import budget
from tapplan.checks.growths import Growth
from tapplan.checks.margins import sharings
from tapplan.checks.review import Review, review
from tapplan.checks.rules import CODES
from tapplan.design.file import load
from tests.examples import ROOT

F = Fraction
DESIGNS = ROOT / "designs"


def test_a_growth_breaks_a_code_at_a_place() -> None:
    for name in ("ridge-dispensary", "hostel-review", "signal-box"):
        for one in margins(review(load(DESIGNS / f"{name}.toml"))).growth:
            assert (one.breaks is None) is (one.most is None)
            assert one.breaks is None or one.breaks in CODES
            assert one.where is None or (one.where not in CODES and one.then.startswith(f"{one.breaks}, {one.where}"))


def test_the_promises_of_margins_are_those_of_the_verdict() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        one = review(load(path))
        assert margins(one).promises == verdict(one).measured


def test_thresholds_in_counts_are_whole_and_on_the_safe_side() -> None:
    """A return ends inward: 183.5 V up and 265.5 V down to whole counts; the outer ends of leaving go outward."""
    design = load(DESIGNS / "signal-box.toml")
    answer = margins(review(design))
    counts, step = answer.counts, answer.counts.step_v
    assert counts.told.startswith("One count is 0.2074 V; the converter is full at ")
    last = counts.with_return[-1]
    assert last.name == "return from backup"
    assert last.hold_counts == (math.ceil(F("183.5") / step), math.floor(F("265.5") / step))
    assert counts.with_return[:-1] == counts.bands
    for row, kept in zip(counts.bands, review(design).table.rows, strict=True):
        low, high = row.hold_counts
        assert abs(low * step - kept.kept.low) < step
        assert abs(high * step - kept.kept.high) < step
    for below, above in itertools.pairwise(counts.bands):
        assert below.left_above == below.hold_counts[1] - above.hold_counts[0]


def test_the_budget_is_in_percent_and_its_worst_no_less_than_its_sum() -> None:
    design = load(DESIGNS / "signal-box.toml")
    one = review(design)
    found, shown = budget(one.table, design.controller), margins(one).budget
    assert shown.worst_pct == pytest.approx(100 * (math.prod(1 + float(line.worst) for line in found.lines) - 1))
    assert shown.sum_pct == pytest.approx(100 * sum(float(line.worst) for line in found.lines))
    assert shown.likely_pct == pytest.approx(100 * math.sqrt(sum(line.likely**2 for line in found.lines)))
    assert shown.worst_pct >= shown.sum_pct > shown.likely_pct


# --- from values made by hand ---


@pytest.mark.parametrize(
    ("parts", "told", "then", "breaks"),
    [
        ({}, "3.142", "chatter, here", "chatter"),
        ({"now": F(4)}, "3.142", "chatter, here (broken already)", "chatter"),
        ({"hopeless": True, "now": F(4)}, "nothing helps", "chatter, here (broken already)", "chatter"),
        ({"most": None, "code": "", "where": ""}, "anything", "-", None),
    ],
)
def test_a_growth_in_words(parts: dict[str, Any], told: str, then: str, breaks: str | None) -> None:
    one = Growth("sensing.noise_v", F(1), F("3.14159"), "chatter", "here", False)
    row = _growth(replace(one, **parts))
    assert (row.quantity, row.most_told, row.then, row.breaks) == ("sensing.noise_v", told, then, breaks)
    assert row.where == ("here" if breaks else None)


def drawn(count: int, volts: Any, outside: int = 0) -> Any:
    return _drawn(SimpleNamespace(row=SimpleNamespace(name="x"), count=count, volts=volts, outside_window=outside,
                                  outside_worst=2))  # type: ignore[arg-type]  # fmt: skip


def test_draws_of_a_band_have_their_ends_and_percentiles_and_a_share_outside() -> None:
    row = drawn(8, (200.0, 201.0, 220.0, 239.0, 240.0), 3)
    assert (row.output_v, row.percentiles_v) == ((200.0, 240.0), {"1": 201.0, "50": 220.0, "99": 239.0})
    assert (row.p1_v, row.p50_v, row.p99_v) == (201.0, 220.0, 239.0)
    assert (row.count, row.outside_window, row.outside_told, row.outside_worst) == (8, 3, "3 (37.50%)", 2)
    none = drawn(0, None)
    assert (none.output_v, none.percentiles_v, none.p1_v, none.p50_v, none.p99_v) == (None,) * 5
    assert none.outside_told == "0"
    assert drawn(4, None, 4).outside_told == "4 (100.00%)"


def test_draws_together() -> None:
    bands = (drawn(8, None, 8), drawn(0, None), drawn(1, None))
    found = Draws(count=12, seed=5, unheld=3, bands=bands)
    assert found.beyond_worst == 6
    assert found.met == (bands[0], bands[2])
    assert found.drawn_told == "Drawn at random, seed 5: line, error and load, each evenly:"
    assert found.told == "6 of 12 samples lie outside the exact worst case; 3 readings no band holds."


def test_a_budget_ends_with_all_of_it_compounded() -> None:
    line = ErrorRow(name="reference", worst_pct=1.0, likely_pct=0.5, formula="p")
    found = ErrorBudget(lines=(line,), worst_pct=1.25, sum_pct=1.125, likely_pct=0.75)
    first, whole = found.with_sum
    assert first == line
    assert (whole.name, whole.worst_pct, whole.likely_pct, whole.formula) == ("all, compounded", 1.25, 0.75, "")


def test_counts_say_what_one_is_and_end_with_the_return_where_there_is_a_backup() -> None:
    bare = Counts(step_v=F("0.20743"), highest_v=F("424.26"), return_counts=None, bands=())
    assert bare.told == "One count is 0.2074 V; the converter is full at 424.3 V."
    assert bare.with_return == ()
    (last,) = replace(bare, return_counts=(3, 9)).with_return
    assert (last.name, last.hold_counts, last.left_above) == ("return from backup", (3, 9), None)


# --- of a shipped design ---


@cache
def ridge() -> Review:
    return review(load(DESIGNS / "ridge-dispensary.toml"))


@cache
def of_ridge() -> Margins:
    return margins(ridge())


def test_what_neighbours_share_is_used_up_by_its_parts() -> None:
    """Whole is what the ratios leave, by hand; load, error, noise, overlap beyond it and the spare add up to it."""
    rows = of_ridge().handovers
    assert [(one.below, one.above) for one in rows] == [
        ("boost 2", "boost 1"), ("boost 1", "direct"), ("direct", "buck"),
    ]  # fmt: skip
    ratios = [row.ratio for row in ridge().table.rows]
    for one, below, above, sharing in zip(rows, ratios, ratios[1:], sharings(ridge()), strict=False):
        assert below is not None
        assert above is not None
        assert one.whole_v == 253 / below - 207 / above
        parts = (one.load_v, one.error_v, one.noise_v, one.beyond_v, one.spare_v)
        assert sum(parts) == one.whole_v
        assert one.spare_v == one.spare_above_v + one.spare_below_v
        eaten = one.eaten_by
        assert (eaten.load_v, eaten.error_v, eaten.noise_v, eaten.hysteresis_v) == parts[:4]
        assert (one.overlap_v, one.overlap_at_source_v) == (sharing.overlap_v, sharing.open_overlap_v)
    assert [one.overlap_v for one in rows] == [
        F(192) - 189, F(217) - 214, F(245) - 242,
    ]  # fmt: skip


def test_the_least_margin_is_that_of_the_worst_corner_and_a_design_without_controller_has_no_budget() -> None:
    found = of_ridge()
    assert found.smallest_margin_v == min(one.margin_v for one in found.margins)
    assert {one.end for one in found.margins} == {"low", "high"}
    assert (found.budget, found.counts, found.samples, found.wrong) == (None, None, None, False)
    assert all(one.eaten_by.hysteresis_v is None for one in found.margins)
    assert margins(review(load(DESIGNS / "hostel-review.toml"))).wrong


def test_draws_stand_beside_what_was_proven() -> None:
    found = with_samples(of_ridge(), ridge(), 50, 3)
    assert found.samples is not None
    assert (found.samples.count, found.samples.seed, len(found.samples.bands)) == (50, 3, 4)
    assert replace(found, samples=None) == of_ridge()


def test_without_a_backup_the_counts_have_no_return() -> None:
    design = load(DESIGNS / "signal-box.toml")
    found = margins(review(replace(design, backup=None))).counts
    assert found is not None
    assert found.return_counts is None
    assert found.with_return == found.bands
