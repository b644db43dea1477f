"""Tolerance curves corner by corner."""

from __future__ import annotations

import pytest

from tapplan.answers.standards import standards
from tapplan.design.standards import CURVES, SUPPLIES
from tapplan.exact import Span


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


def test_a_supply_is_told_with_its_range_its_frequency_and_its_source() -> None:
    rows = standards().supplies
    assert [one.key for one in rows] == [one.key for one in SUPPLIES]
    for row, supply in zip(rows, SUPPLIES, strict=True):
        low, high = supply.range_v
        assert row.range_v == Span(low, high)
        assert low < row.nominal_v < high
        assert (row.nominal_v, row.frequency_hz) == (supply.nominal_v, supply.frequency_hz)
        assert (row.title, row.source, row.seen) == (supply.title, supply.source, supply.seen)


def test_the_corners_of_the_iti_curve_as_its_note_has_them() -> None:
    """Down to nothing for a fiftieth of a second, then to 70, 80 and 90 %; up to 110 % from half a second on."""
    (row,) = (one for one in standards().curves if one.key == "iti-2000")
    assert [(one.seconds, one.percent) for one in row.lower] == [(0, 0), (0.02, 70), (0.5, 80), (10, 90)]
    assert row.fall.splitlines() == ["0 % from 0 s", "70 % from 0.02 s", "80 % from 0.5 s", "90 % from 10 s"]
    assert row.rise.splitlines()[-1] == "110 % from 0.5 s"
    assert len(row.upper) == len(row.rise.splitlines()) == 5
    known = next(one for one in CURVES if one.key == "iti-2000")
    assert (row.title, row.source, row.seen, row.note) == (known.title, known.source, known.seen, known.note)
