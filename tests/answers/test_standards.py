"""Tolerance curves corner by corner."""

from __future__ import annotations

import pytest

from tapplan.answers.standards import standards
from tapplan.design.standards import CURVES


def test_a_curve_is_told_corner_by_corner() -> None:
    for row, curve in zip(standards().curves, CURVES, strict=True):
        for told, points in ((row.rise, curve.upper), (row.fall, curve.lower)):
            if not points:
                assert told == "-"
                continue
            lines = told.splitlines()
            assert len(lines) == len(points)
            for line, (seconds, level) in zip(lines, points, strict=True):
                percent, _, _, time, unit = line.split()
                assert float(percent) == float(level)
                assert float(time) == pytest.approx(float(seconds), rel=5e-3)
                assert unit == "s"


def test_a_curve_without_a_side_has_a_dash() -> None:
    from tapplan.answers.standards import _corners

    assert _corners(()) == "-"
