"""The lines that bound the next ratio on each scale never lie below the bound itself, and touch it where they can."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, log
from random import Random

import numpy as np
import pytest

from tapplan.design.file import load_request
from tapplan.rating.iron import iron_of
from tapplan.study.request import request_of
from tapplan.study.scales import INVERSE, LOGARITHM, PLAIN, NextBound, RatioScale
from tests.examples import ROOT


@pytest.mark.parametrize("scale", [LOGARITHM, PLAIN, INVERSE])
@pytest.mark.parametrize("seed", range(6))
def test_a_line_never_cuts_the_bound(scale: RatioScale, seed: int) -> None:
    """u' = (A u - loss)/scale at ten thousand u between the ends, of random A; losses above and below nought."""
    random = Random(seed)
    for loss in (random.uniform(0, 20), random.uniform(-20, 0)):
        bound = NextBound(random.uniform(180, 260), loss, random.uniform(150, 240), 0.6, 1.6)
        touched = random.uniform(0.6, 1.6)
        line = scale.tangent(bound, touched)
        inputs = np.linspace(0.6, 1.6, 10_000)
        gap = [line.slope * scale.of(float(u)) + line.level - scale.of(bound.of(float(u))) for u in inputs]
        assert min(gap) >= -1e-9
        at = touched if loss >= 0 or scale is PLAIN else 0.6  # a chord begins at the end
        assert line.slope * scale.of(at) + line.level == pytest.approx(scale.of(bound.of(at)))
        assert scale.back(scale.of(touched)) == pytest.approx(touched)


@pytest.mark.parametrize(("scale", "turned"), [(LOGARITHM, log), (PLAIN, float), (INVERSE, lambda u: -1 / u)])
def test_a_largest_step_is_a_line(scale: RatioScale, turned: Callable[[float], float]) -> None:
    """u' <= 1.15 u, on the scale: log u + log 1.15; 1.15 u; (-1/u)/1.15."""
    line = scale.step(1.15)
    for u in (0.5, 1.0, 1.7):
        assert line.slope * turned(u) + line.level == pytest.approx(turned(1.15 * u))
    assert exp(LOGARITHM.step(1.15).level) == pytest.approx(1.15)


def test_the_flux_and_the_volts_of_a_turn_set_the_fewest_turns() -> None:
    """U = 4.44 f N B A of the books (0.065 % below the closed form) at the top of the range and of the window."""
    asked = load_request(ROOT / "designs" / "requests" / "island-grid.toml")
    design, fit = asked.design, asked.fit
    assert design.core is not None
    request = request_of(design, fit)
    iron = iron_of(design)
    assert iron is not None
    assert iron.net_mm2 is not None
    limit = float(design.core.flux_limit_t or 0)
    per_turn = 4.44 * float(design.mains.frequency_hz[0]) * limit * iron.net_mm2 * 1e-6
    assert float(request.line_least) == pytest.approx(float(design.mains.span.high) / per_turn, rel=7e-4)
    assert float(request.output_least) == pytest.approx(float(design.output.window.high) / per_turn, rel=7e-4)
