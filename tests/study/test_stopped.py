"""A search that is told to stop asks no more, says what it left out, and what it answers is still true."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from tapplan.answers.fit import plans
from tapplan.arrays import Floats
from tapplan.design.file import load_request
from tapplan.exact import Span
from tapplan.study import arrangements, fitting, free, loaded, relaxing, search
from tapplan.study.cores import answered
from tapplan.study.fitting import How, fitted
from tapplan.study.loaded import LoadedFit, on_core
from tapplan.study.plans import plan_of
from tapplan.study.relaxing import nearest, possible
from tapplan.study.search import AT_ONCE, Found
from tapplan.study.sensitivity import sensitivity
from tapplan.study.task import Task
from tests.examples import ROOT
from tests.study.requests import asked, offered

F = Fraction
HARD = asked(
    (145, 285), (198, 242), hysteresis=F(4), turns=Span(F(60), F(90)), arrangements=("both-sides",), relays_max=2
)
EASY = replace(HARD, hysteresis=F(2))


class Searches:
    """Counts the wirings searched by a module, and says to stop once one has begun."""

    def __init__(self, module: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        self.begun = 0
        self._found_in: Callable[..., Found] = module.found_in
        monkeypatch.setattr(module, "found_in", self._counted)

    def _counted(self, *given: Any) -> Found:
        self.begun += 1
        return self._found_in(*given)

    def stop(self) -> bool:
        return self.begun > 0


def told(found: LoadedFit) -> tuple[str, ...]:
    answer = plans(found, "made for a test")
    assert answer.finished is (answer.stopped == ())
    assert answer.as_json()["stopped"] == list(answer.stopped)
    return answer.stopped


def test_a_search_that_ends_by_itself_says_nothing_of_it() -> None:
    assert told(LoadedFit(fitted(EASY), (), ())) == ()
    assert told(LoadedFit(fitted(replace(HARD, relays_max=1)), (), ())) == ()


def test_ways_out_end_with_the_wiring_in_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Told to stop while the first wiring is searched for ways out: none other is begun."""
    searches = Searches(relaxing, monkeypatch)
    found = fitted(HARD, How(stop=searches.stop))
    assert searches.begun == 1
    assert found.finished
    assert not found.explained
    assert told(LoadedFit(found, (), ())) == (
        "Stopped while ways out were sought: others may do, and smaller changes than those told.",
    )
    assert plans(LoadedFit(found, (), ()), "").none_told.startswith("No plan meets the request.")


def test_a_search_stopped_without_a_plan_does_not_say_that_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    searches = Searches(fitting, monkeypatch)
    found = fitted(HARD, How(stop=searches.stop))
    assert searches.begun == 1
    stopped = "Stopped before the search was over: no plan so far; more time may find one."
    assert told(LoadedFit(found, (), ())) == (stopped,)
    assert "No plan meets the request." not in plans(LoadedFit(found, (), ()), "").none_told


def test_wishes_end_with_the_wiring_in_work(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = fitted(EASY)
    searches = Searches(relaxing, monkeypatch)
    swayed = sensitivity(EASY, whole.plans, searches.stop)
    assert swayed is not None
    assert searches.begun == 1
    assert not swayed.finished
    answer = plans(LoadedFit(whole, (), ()), "made for a test", swayed)
    assert not answer.finished
    assert answer.stopped == (
        "Stopped while wishes were tried: they may go farther than told, and some are missing.",
    )


def test_what_was_told_to_stop_at_once_finds_nothing() -> None:
    assert nearest(EASY, lambda: True) is None
    assert not possible(EASY, lambda: True)


def test_twelve_relays_are_listed_but_not_worked_out_before_they_are_searched(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What 2**12 relay states join is worked out wiring by wiring; told to stop, of no more than have been begun."""
    many = replace(EASY, relays_max=12, relays_exactly=12, arrangements=("line-chain", "output-chain"))
    looked: list[object] = []

    def counted(wiring: Any, ratios: int) -> bool:
        looked.append(wiring)
        return False

    monkeypatch.setattr(fitting, "offers", counted)
    found = fitted(many, How(stop=lambda: len(looked) >= 2, relaxing=False))
    assert len(looked) == 2
    assert found.considered.wirings == len(arrangements.wirings(many)) > 2
    assert not found.finished
    assert all("states" not in vars(one) for one in arrangements.wirings(many))


def test_free_wirings_are_looked_at_no_further_once_it_is_to_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two relays are looked at by the first of them, 324 ways to connect it on each of three ties; told to stop after
    two of those, the third is not begun, and the next who asks gets all of them."""
    monkeypatch.setattr(free, "_known", {})
    begun: list[object] = []
    others = free._others

    def counted(*given: Any) -> Any:
        begun.append(given)
        return others(*given)

    monkeypatch.setattr(free, "_others", counted)
    request = replace(EASY, relays_max=2, arrangements=("free",))
    assert arrangements.wirings(request, lambda: len(begun) >= 2) == []
    assert len(begun) == 2
    assert len(arrangements.wirings(request)) == 2
    assert len(begun) == 2 + 3 * 324
    assert len(arrangements.wirings(request)) == 2
    assert len(begun) == 2 + 3 * 324


def test_plans_are_wound_no_more_once_it_is_to_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    """Winding and checking a plan takes a second: told to stop when the turns are found, none is wound."""
    request = load_request(ROOT / "designs" / "requests" / "island-grid.toml")
    searches = Searches(fitting, monkeypatch)
    wound: list[object] = []
    monkeypatch.setattr(loaded, "_built", lambda *given: wound.append(given))
    found = on_core(replace(request.design, fit=request.fit), request.fit, (), How(stop=searches.stop))
    assert wound == []
    assert not found.fitted.finished
    assert found.refused[0].why == "the search was stopped before a plan on it was found to be sound"


def test_plans_that_were_not_checked_at_their_reading_are_left_out() -> None:
    """Read at the output a plan is offered only when its promises are held; told to stop, that is not known."""
    request = load_request(ROOT / "designs" / "requests" / "coast-road.toml")
    small = replace(request.fit, relays_max=F(2), total_turns=(F(100), F(160)))
    sensing = replace(request.design.sensing, at="output", hysteresis_v=F(2), noise_v=F(0))
    design = replace(request.design, sensing=sensing)
    over: list[bool] = []
    told_over = How(stop=lambda: bool(over), watch=lambda now: over.extend([True] * (now.done == now.of)))
    assert answered(design, small, ()).fitted.plans
    found = answered(design, small, (), told_over)
    assert found.fitted.plans == ()
    assert not found.fitted.finished


def test_choices_from_taps_that_exist_are_tried_some_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve taps for five unknowns are 248,832 choices: never more than a block of them at once."""
    taps = tuple(range(300, 420, 10))
    request = replace(EASY, hysteresis=F(0), fixed_taps=taps, turns=Span(F(300), F(410)))
    wiring = max(offered("both-sides", 3), key=lambda one: one.unknowns)
    sizes: list[int] = []
    scores = search._scores

    def counted(task: Task, low: Floats, high: Floats) -> Floats:
        sizes.append(len(low))
        return scores(task, low, high)

    monkeypatch.setattr(search, "_scores", counted)
    whole = search.search(Task(request, wiring))
    assert sum(sizes) == whole.boxes == len(taps) ** wiring.unknowns
    assert max(sizes) <= AT_ONCE
    part = search.search(Task(request, wiring).limited(AT_ONCE))
    assert part.boxes == AT_ONCE
    assert not part.proven
    rooms = [plan.room for points in (whole.points, part.points) if (plan := plan_of(request, wiring, points[0]))]
    assert all(room is not None and float(room) <= part.open_score + 1e-9 for room in rooms)
    assert np.isfinite(part.open_score)
