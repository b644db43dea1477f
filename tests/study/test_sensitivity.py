"""How far wishes may go: each figure told is tried anew by the whole search, and by hand where room says it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.design.file import load_request
from tapplan.exact import Span
from tapplan.study.fitting import fitted
from tapplan.study.request import Request, request_of
from tapplan.study.sensitivity import WishSpan, sensitivity
from tests.examples import ROOT

F = Fraction
HILL, COAST, GRID = "hill-press", "coast-road", "island-grid"


def request(name: str, **changes: Any) -> Request:
    asked = load_request(ROOT / "designs" / "requests" / f"{name}.toml")
    return replace(request_of(asked.design, asked.fit, ()), arrangements=("both-sides",), **changes)


def swayed(asked: Request) -> dict[str, WishSpan]:
    found = sensitivity(asked, fitted(asked).plans)
    assert found is not None
    return {one.key: one for one in found.wishes}


def relays(asked: Request) -> int | None:
    return min((plan.relays for plan in fitted(asked).plans), default=None)


def with_told(asked: Request, key: str, told: str) -> Request:
    """The request with a wish as it is told."""
    told = told.removesuffix(" or beyond")
    match key:
        case "sensing.hysteresis_v":
            return replace(asked, hysteresis=F(told))
        case "sensing.noise_v":
            return replace(asked, noise=F(told))
        case "sensing.error_pct":
            return replace(asked, error=F(told) / 100)
        case "output.window_v":
            return replace(asked, window=Span(*map(F, told.strip("[]").split(", "))))
        case _:
            return replace(asked, mains=Span(*map(F, told.strip("[]").split(", "))))


def test_a_little_less_hysteresis_saves_a_relay() -> None:
    """Two relays leave 4.0255 V at most, with 1 V of noise: 3.02 V of hysteresis; 3.3 V take a third relay."""
    wish = swayed(request(COAST, hysteresis=F("3.3")))["sensing.hysteresis_v"]
    assert wish == WishSpan("sensing.hysteresis_v", "3.3", "14.35", "3.02")
    assert relays(request(COAST, hysteresis=F("3.3"))) == 3
    assert relays(request(COAST, hysteresis=F("3.02"))) == 2
    assert relays(request(COAST, hysteresis=F("3.03"))) == 3
    assert swayed(request(COAST))["sensing.hysteresis_v"].farthest == "3.02"


def test_a_little_less_noise_saves_a_relay() -> None:
    """Room for the noise and as much hysteresis, or twice the noise and more: 4.0255 - 3 = 1.02 V of noise."""
    wish = swayed(request(COAST, noise=F("1.2")))["sensing.noise_v"]
    assert (wish.now, wish.saving) == ("1.2", "1.02")
    assert relays(request(COAST, noise=F("1.02"))) == 2
    assert relays(request(COAST, noise=F("1.03"))) == 3
    all_noise = swayed(request(COAST, noise=F("2.1"), hysteresis=F(0)))["sensing.noise_v"]
    assert all_noise.saving == "2"  # 2 x 2.01 is less than 4.0255, and rounding keeps below
    assert relays(request(COAST, noise=F(2), hysteresis=F(0))) == 2
    assert "sensing.noise_v" not in swayed(request(COAST, noise=F(0)))
    assert "sensing.noise_v" not in swayed(request(COAST, noise_least=F(0)))


@pytest.mark.parametrize(("name", "changes"), [(HILL, {}), (GRID, {})])
def test_every_figure_told_is_possible_when_it_is_asked_for(name: str, changes: dict[str, Any]) -> None:
    asked = request(name, **changes)
    most = relays(asked)
    assert most is not None
    tried = 0
    for key, one in swayed(asked).items():
        for told, limit in ((one.farthest, most), (one.saving, most - 1)):
            if told is not None:
                found = relays(with_told(asked, key, told))
                assert found is not None
                assert found <= limit, (key, told)
                tried += 1
    assert tried >= 4


def test_beyond_the_farthest_it_takes_more() -> None:
    """0.5 % of error may be 0.57, the range 0.4 V wider at either end, the window 0.1 V narrower."""
    asked = request(HILL, relays_max=2)
    told = swayed(asked)
    farthest = {
        key: one.farthest for key, one in told.items() if key not in ("sensing.hysteresis_v", "sensing.noise_v")
    }
    assert farthest == {
        "sensing.error_pct": "0.57",
        "output.window_v": "[213.5, 226.5]",
        "mains.range_v": "[199.6, 242.4]",
    }
    for key, beyond in (
        ("sensing.error_pct", "0.6"), ("output.window_v", "[213.7, 226.3]"), ("mains.range_v", "[199.2, 242.8]"),
    ):  # fmt: skip
        assert relays(with_told(asked, key, beyond)) is None


def test_nothing_to_sway() -> None:
    """No plans; a range that one ratio serves; no wish is tried when told to stop."""
    asked = request(COAST)
    assert sensitivity(asked, ()) is None
    stopped = sensitivity(asked, fitted(asked).plans, lambda: True)
    assert stopped is not None
    assert [one.key for one in stopped.wishes] == ["sensing.hysteresis_v", "sensing.noise_v"]
    assert "sensing.error_pct" not in swayed(request(COAST, error=F(0)))
