"""The ladder of ratios: its steps against exact numbers, its ideal room against the bound on the number of ratios."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.study.ladder import ladder_of
from tapplan.study.request import Sag, bound
from tests.study.requests import asked

F = Fraction
SAGS = (Sag(), Sag(F(3, 100)), Sag(F(8, 100), F(1, 200)))
shares = st.fractions(F(0), F(1, 5), max_denominator=200)
us = st.fractions(F(1, 2), F(2), max_denominator=300)


@given(shares, shares, us)
def test_loaded_and_unloaded_undo_each_other(share: Fraction, always: Fraction, u: Fraction) -> None:
    sag = Sag(share, always)
    assert sag.unloaded(sag.loaded(u)) == u
    ladder = ladder_of(replace(asked((180, 280), (200, 240)), sag=sag))
    assert ladder.loaded(float(u)) == pytest.approx(float(sag.loaded(u)))
    assert ladder.unloaded(float(sag.loaded(u))) == pytest.approx(float(u))


@pytest.mark.parametrize("sag", SAGS)
def test_a_step_onward_leaves_just_the_room(sag: Sag) -> None:
    """As the request itself works the room out, from exact ratios."""
    request = asked((150, 290), (198, 242), sag=sag)
    ladder = ladder_of(request)
    for u in (0.8, 0.95, 1.0, 1.2):
        further = ladder.onward(u, 11.0)
        assert ladder.room(u, further) == pytest.approx(11)
        assert float(request.room(1 / F(u), 1 / F(further))) == pytest.approx(11)
        assert ladder.before(further, 11.0) == pytest.approx(u)
        assert ladder.onward_all(np.array([u]), 11.0)[0] == pytest.approx(further)
        assert ladder.room_all(np.array([u]), np.array([further]))[0] == pytest.approx(11)


@pytest.mark.parametrize("sag", SAGS)
def test_the_ends_of_the_range(sag: Sag) -> None:
    """The first u serves 150 V with the load on, the last 290 V without it."""
    ladder = ladder_of(asked((150, 290), (198, 242), sag=sag))
    assert ladder.loaded(ladder.first) == pytest.approx(150 / 198)
    assert ladder.last == pytest.approx(290 / 242)


def test_ideal_rooms_rise_with_the_ratios_and_meet_the_bound() -> None:
    """With a need just below the ideal room of n ratios the bound is n; just above, it is more."""
    request = asked((150, 290), (198, 242))
    ladder = ladder_of(request)
    rooms = [ladder.ideal_room(count) for count in range(4, 9)]
    assert all(low < high for low, high in pairwise(rooms))
    for count, room in enumerate(rooms, 4):
        if room > 0:
            below, above = (replace(request, hysteresis=F(room + by)) for by in (-1e-6, 1e-6))
            least, more = bound(below), bound(above)
            assert least is not None
            assert least.ratios == count
            assert more is None or more.ratios > count


def test_a_largest_step_holds_the_ladder_back() -> None:
    ladder = ladder_of(asked((150, 290), (198, 242), largest_step=F(1, 10)))
    assert ladder.onward(1.0, 0.0) == pytest.approx(1.1)
    assert ladder.before(1.1, 0.0) == pytest.approx(1.0)
    assert ladder.room(1.0, 1.2) == -float("inf")
    assert ladder.fewest(0.0, 12) == 6  # 150/198 times 1.1 five times reaches 290/242
