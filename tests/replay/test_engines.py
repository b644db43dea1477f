"""Which engine a log gets: numpy's until it is long, the compiled one from then on, where it is there."""

from __future__ import annotations

import pytest

from tapplan.replay import engines
from tapplan.replay.engines import NUMPY, Backend, Engines

OTHER = Backend(NUMPY.course, NUMPY.profile)


def chosen(monkeypatch: pytest.MonkeyPatch, *, there: bool, fixed: Backend | None = None) -> list[bool]:
    """Whether it is the compiled one, for 4, 6 and 1 samples after one another, and 0 more; long is above 10."""
    monkeypatch.setattr(engines, "LONG", 10)
    monkeypatch.setattr(engines, "find_spec", lambda name: name if there and name == "numba" else None)
    monkeypatch.setattr(engines, "compiled", lambda: OTHER)
    made = Engines(fixed)
    return [made.after(samples) is OTHER for samples in (4, 6, 1, 0)]


def test_the_compiled_engine_takes_over_beyond_so_many_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    assert chosen(monkeypatch, there=True) == [False, False, True, True]


def test_where_there_is_no_compiler_it_stays_with_numpy(monkeypatch: pytest.MonkeyPatch) -> None:
    assert chosen(monkeypatch, there=False) == [False] * 4


def test_an_engine_that_is_given_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    assert chosen(monkeypatch, there=True, fixed=NUMPY) == [False] * 4
    assert chosen(monkeypatch, there=False, fixed=OTHER) == [True] * 4


def test_millions_of_samples_pass_before_a_compiler_is_worth_loading() -> None:
    assert Engines().after(1_000_000) is NUMPY
