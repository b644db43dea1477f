"""Whole requests: the bound, the plans as designs that check, what an impossible request is told, six regions."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapplan.checks.finding import Severity
from tapplan.checks.rules import findings
from tapplan.design.file import load_request
from tapplan.exact import Span
from tapplan.study.arrangements import wirings
from tapplan.study.fitting import How, fitted
from tapplan.study.plans import turns
from tapplan.study.request import bound, evenly, request_of
from tapplan.study.wiring import Wiring
from tapplan.study.written import designed
from tests.examples import ROOT
from tests.study.requests import asked, file_of

F = Fraction
EVERY = sorted((ROOT / "designs" / "requests").glob("*.toml"))
REQUESTS = [path for path in EVERY if "[core]" not in path.read_text(encoding="utf-8")]  # those of ratios alone
SMALL, COMMON = Span(F(100), F(200)), Span(F(200), F(1000))
QUICK = ("line-chain", "output-chain", "both-sides")


@pytest.mark.parametrize(
    ("mains", "window", "wanted", "ratios"),
    [
        # range, window, hysteresis, and the least number of ratios
        ((170, 270), (198, 242), 0, 3),
        ((140, 270), (198, 242), 0, 4),
        ((160, 280), (198, 242), 0, 3),
    ],
)
def test_ideal_counts(mains: tuple[int, int], window: tuple[int, int], wanted: int, ratios: int) -> None:
    """n >= ln R / ln W with no error and no hysteresis: ln(270/170) / ln(242/198) = 2.31; 3.27; 2.79."""
    least = bound(asked(mains, window, error=F(0), hysteresis=F(wanted)))
    assert least is not None
    assert least.ratios == ratios


def test_the_bound_by_hand() -> None:
    """145 to 285 V, 1 %, 3 V: k = 242/198 x 0.99/1.01 = 1.198; reaches 175.45, 206.6, 243.9 and 288.6 V."""
    least = bound(asked((145, 285), (198, 242), hysteresis=F(3)))
    assert least is not None
    assert (least.ratios, least.relays) == (4, 2)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**9))
def test_every_plan_checks_without_a_fault_and_keeps_the_bound(seed: int) -> None:
    random = Random(seed)
    low, high, half = random.randint(150, 200), random.randint(240, 290), random.randint(14, 30)
    request = asked(
        (low, high),
        (220 - half, 220 + half),
        error=F(random.randint(0, 4), 2) / 100,
        hysteresis=F(random.randint(1, 6)),
        noise=F(random.randint(0, 2), 2),
        turns=SMALL,
        arrangements=(random.choice(("line-chain", "output-chain", "both-sides", "add-in", "reversing")),),
        relays_max=2,
        rest=random.choice(("lowest", "lowest", "direct")),
        require_direct=False,
    )
    request = replace(request, require_direct=request.rest == "direct")
    found = fitted(request, How(relaxing=False))
    for plan in found.plans:
        assert found.bound is not None
        assert len(plan.ratios) >= found.bound.ratios
        assert request.enough(plan.room)
        made = designed(file_of(request), request, plan)
        assert [one for one in findings(made) if one.severity is Severity.FAULT] == []
        assert {band.energised for band in made.bands} >= {()}  # all coils off is one of the bands, as asked
        if request.rest == "direct":
            assert next(band.name for band in made.bands if not band.energised) == "direct"
        else:
            assert made.bands[-1].energised == ()


@pytest.mark.parametrize("path", REQUESTS, ids=lambda path: path.stem)
def test_six_regions_are_served_within_one_band_of_the_bound(path: object) -> None:
    asked = load_request(str(path))
    request = request_of(asked.design, asked.fit)
    wide = request.mains.low <= F(70, 100) * 220 or request.mains.high >= F(120, 100) * 220
    narrow = (request.window.high - request.window.low) / 220 <= F(8, 100)
    assert wide or narrow
    found = fitted(request)
    assert found.bound is not None
    assert found.bound.ratios >= 4
    assert min(len(plan.ratios) for plan in found.plans) <= found.bound.ratios + 1
    for plan in found.plans:
        made = designed(asked.design, request, plan)
        assert [one for one in findings(made) if one.severity is Severity.FAULT] == []


def test_six_regions_are_shipped() -> None:
    assert len(REQUESTS) == 6
    assert len(EVERY) == 9


def test_an_impossible_request_names_the_nearest_and_ways_that_work() -> None:
    request = asked((145, 285), (198, 242), hysteresis=F(5), turns=COMMON, arrangements=QUICK, relays_max=2)
    found = fitted(request)
    assert found.plans == ()
    assert found.nearest is not None
    assert found.nearest.room is not None
    assert found.nearest.room < 5
    keys = [one.key for one in found.relaxations]
    assert keys == ["output.window_v", "mains.range_v", "sensing.hysteresis_v", "fit.relays_max"]
    for one in found.relaxations:
        eased = request
        if one.key == "output.window_v":
            low, high = (F(end) for end in one.then.strip("[]").split(","))
            eased = replace(request, window=Span(low, high))
        elif one.key == "mains.range_v":
            low, high = (F(end) for end in one.then.strip("[]").split(","))
            eased = replace(request, mains=Span(low, high), weights=evenly(Span(low, high)))
        elif one.key == "sensing.hysteresis_v":
            eased = replace(request, hysteresis=F(one.then))
        else:
            eased = replace(request, relays_max=int(one.then))
        assert fitted(eased, How(relaxing=False)).plans, one


def test_one_ratio_enough_needs_no_relay() -> None:
    found = fitted(asked((215, 225), (198, 242), turns=COMMON))
    assert found.bound is not None
    assert found.bound.ratios == 1
    assert found.plans == ()


def test_single_moves_leave_chains() -> None:
    request = asked((165, 265), (200, 240), turns=Span(F(2), F(300)), single_moves=True, relays_max=3)
    found = fitted(request)
    assert {plan.arrangement for plan in found.plans} <= {"line-chain", "output-chain"}
    assert all(set(plan.moves) == {1} for plan in found.plans)
    assert found.plans


def test_ternary_sections_in_series_give_nine_even_steps() -> None:
    """Sections of 1 and 3 (10 V and 30 V) give 0, +-10, +-20, +-30 and +-40 V.

    Source: H. Attia, Novel 9-Steps Automatic Voltage Regulator based on Two Step-Down Transformers, IJECE 7(2), 2017,
    576-583 (abstract).
    """
    wiring = next(one for one in offered_reversing() if one.unknowns == 3)
    heights = sorted({turns(rows.output, (220, 10, 30)) - 220 for rows in wiring.states})
    assert heights == [-40, -30, -20, -10, 0, 10, 20, 30, 40]


def offered_reversing() -> list[Wiring]:
    request = asked((180, 280), (200, 240), arrangements=("reversing",), relays_max=4, relays_exactly=4)
    return [one for one in wirings(request) if one.output == "OUTPUT"]
