"""Logs through the package against a plain loop that shares nothing with it, to the last count."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from importlib.util import find_spec
from random import Random

import numpy as np
import pytest

from tapplan.errors import UsageError
from tapplan.logs.samples import Chunk
from tapplan.replay.engines import NUMPY, Backend, compiled
from tests.examples import ROOT
from tests.outside import replay as outside
from tests.replay.against import Both, Figures, Listed, both_of, drawn_logs

ENGINES = ["numpy", pytest.param("compiled", marks=pytest.mark.skipif(not find_spec("numba"), reason="an extra"))]


def engine_of(name: str) -> Backend:
    return NUMPY if name == "numpy" else compiled()


def wanted(both: Both, samples: list[outside.Sample], gap: int | None) -> Figures | None:
    try:
        return both.wanted(samples, gap)
    except outside.HuntingError:
        return None


def found(both: Both, log: Listed, gap: int | None, engine: Backend) -> Figures | None:
    try:
        return both.found(both.run(log, gap, engine))
    except UsageError:
        return None


def cuts_of(chance: Random, samples: int) -> Iterator[list[int]]:
    """None, some, and one at each sample of a short log."""
    yield []
    yield sorted(chance.sample(range(1, samples), min(samples - 1, chance.choice((1, 3, 10)))))
    if samples < 40:
        yield list(range(1, samples))


@pytest.mark.parametrize("name", ENGINES)
def test_a_log_gives_what_the_plain_loop_gives_however_it_is_cut(name: str) -> None:
    told: Counter[str] = Counter()
    engine = engine_of(name)
    for one in drawn_logs(70):
        chance, both, samples, gap = one.chance, one.both, one.samples, one.gap
        expected = wanted(both, samples, gap)
        kind, scale = chance.choice((np.float64, np.float32)), chance.choice((Fraction(1), Fraction(1, 10)))
        for cuts in cuts_of(chance, len(samples)):
            assert found(both, Listed(samples, cuts, scale, kind), gap, engine) == expected
            told["runs"] += 1
        told["standstills"] += expected is None
        if expected is not None:
            told["changes"] += sum(expected.changes.values())
            told["transfers"] += expected.transfers
            told["gaps"] += expected.gaps
            told["intervals"] += expected.kept[0]
            told["outside"] += expected.outside > 0
    assert told["runs"] > 600
    assert told["changes"] > 3000
    assert told["transfers"] > 300
    assert told["gaps"] > 1000
    assert told["intervals"] > 40
    assert told["outside"] > 150
    assert told["standstills"] > 0


def test_a_log_whose_stored_kind_changes_keeps_its_decimals() -> None:
    """The last short 230.1 before long numbers stands as 230.1, at the end of a hold that is written so."""
    text = (ROOT / "designs" / "ridge-dispensary.toml").read_text(encoding="utf-8").replace("214, 245", "214, 245.1")
    both = both_of(text)
    assert both is not None

    class Mixed(Listed):
        def chunks(self) -> Iterator[Chunk]:
            yield Chunk(np.array([0, 1_000_000]), np.array([230, 245.1], np.float32))
            yield Chunk(np.array([2_000_000]), np.array([245.1], np.float64))

    found = both.found(both.run(Mixed([(0, Fraction(0))])))
    assert found.us["direct"] == 3_000_000
    assert found.met == {}
