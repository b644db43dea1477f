"""Margins: growths, promises, and thresholds in counts."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import pytest

from tapplan.answers.margins import margins
from tapplan.answers.verdict import verdict
from tapplan.checks.budget import budget
from tapplan.checks.review import review
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
