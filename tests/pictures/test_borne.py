"""What a curve bears, drawn with few corners: never off what the curve itself says, and with as few as it takes."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import log10

import pytest

from tapplan.design.standards import CURVES, Curve
from tapplan.pictures.borne import DECADES, FIRST_MS, NEAR, EdgeCorner, borne


def on_line(edge: list[EdgeCorner], time_ms: float) -> float:
    """The percentage of a drawn edge at a time, straight between corners in decades."""
    for one, other in pairwise(edge):
        if one.time_ms <= time_ms <= other.time_ms:
            share = log10(time_ms / one.time_ms) / log10(other.time_ms / one.time_ms)
            return one.percent + share * (other.percent - one.percent)
    raise AssertionError(f"{time_ms} ms lies on no part of the edge")


@pytest.mark.parametrize("curve", CURVES, ids=lambda one: one.key)
def test_an_edge_lies_where_the_curve_does(curve: Curve) -> None:
    """Asked at times that are not those of the drawing; beside a jump, the width of a drawn step is left out."""
    edges = borne(curve, 500)
    limits = [limit for limit in (curve.may_rise_to, curve.may_fall_to) if limit(Fraction(1, 5)) is not None]
    assert len(edges) == len(limits) >= 1
    checked = 0
    for edge, limit in zip(edges, limits, strict=True):
        jumps = [one.time_ms for one, other in pairwise(edge) if other.time_ms / one.time_ms < 1.03]
        for number in range(1, 700):
            time_ms = FIRST_MS * 10 ** (DECADES * number / 701)
            expected = limit(Fraction(time_ms) / 1000)
            first, last = edge[0].time_ms, edge[-1].time_ms
            if expected is None or not first < time_ms < last or any(0.97 < time_ms / at < 1.06 for at in jumps):
                continue
            assert on_line(edge, time_ms) == pytest.approx(float(expected), abs=2 * NEAR), time_ms
            checked += 1
    assert checked > 300


def test_a_flat_stretch_has_two_corners_and_a_step_four() -> None:
    """ITI 2000 below: nothing to 20 ms, 70 % to 0.5 s, 80 % to 10 s; each level is one straight line."""
    curve = next(one for one in CURVES if one.key == "iti-2000")
    over, under = borne(curve, 500)
    assert [round(one.percent) for one in over] == [
        200,
        141,
        120,
        120,
        110,
        110,
    ]  # the slope from 1 to 3 ms is one line
    assert [round(one.percent) for one in under] == [0, 0, 70, 70, 80, 80]


def test_what_lies_above_the_picture_is_left_out() -> None:
    curve = next(one for one in CURVES if one.key == "iti-2000")
    over = borne(curve, 130)[0]
    assert max(one.percent for one in over) <= 130
    assert min(one.time_ms for one in over) > FIRST_MS
