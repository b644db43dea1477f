"""The search against every choice of turns tried in turn, on small requests of every arrangement and objective."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from random import Random

import pytest

from tapplan.design.model import OBJECTIVES
from tapplan.exact import Span
from tapplan.study.arrangements import ARRANGEMENTS
from tapplan.study.plans import Plan, best_plan, plan_of, turns
from tapplan.study.request import Request
from tapplan.study.search import NEAR, search
from tapplan.study.task import Task
from tapplan.study.wiring import Wiring
from tests.study.requests import asked, drawn, offered

F = Fraction
RELAYS = {"both-sides": [2, 3], "reversing": [2], "free": [2, 2, 3], "trees": [2], "mixed": [2]}


def tried(request: Request, wiring: Wiring) -> list[Plan]:
    """Every plan that meets the request, by trying all turns."""
    found = []
    for values in product(
        range(request.multiple, int(request.turns.high) + 1, request.multiple), repeat=wiring.unknowns
    ):
        highest = max(turns(row, values) for row in wiring.highest)
        if all(turns(row, values) >= 1 for row in wiring.rising) and highest in request.turns:
            plan = plan_of(request, wiring, values)
            if plan is not None and request.enough(plan.room):
                found.append(plan)
    return found


def searched(request: Request, wiring: Wiring) -> Plan | None:
    least = float(request.needed) - NEAR if request.objective == "room" else -float("inf")
    found = search(Task(request, wiring, least))
    assert found.proven
    plan = best_plan(request, wiring, found.points)
    return plan if plan is not None and request.enough(plan.room) else None


@pytest.mark.parametrize("arrangement", sorted(ARRANGEMENTS))
def test_the_best_of_all_turns(arrangement: str) -> None:
    random = Random(arrangement)
    answers = []
    for number in range(32):
        relays = random.choice(RELAYS.get(arrangement, [1, 2]))
        wiring = random.choice([one for one in offered(arrangement, relays) if one.unknowns <= 5])
        request = drawn(
            random,
            {2: 30, 3: 14, 4: 8, 5: 5}[wiring.unknowns],
            objective=("room", "room", "deviation", "transformed")[number % 4],
            require_direct=random.random() < 0.2,
            multiple=random.choice([1, 1, 2]),
            largest_step=random.choice([None, None, F(20, 100)]),
            output_least=F(random.choice([1, 1, 6])),
            line_least=F(random.choice([1, 1, 8])),
        )
        every = tried(request, wiring)
        found = searched(request, wiring)
        assert (found is None) == (not every), request
        if found is not None:
            assert found.cost(request.objective)[0] == min(plan.cost(request.objective)[0] for plan in every), request
        answers.append(found is not None)
    assert any(answers)
    assert not all(answers)


def test_equal_room_is_settled_by_moves_deviation_and_power() -> None:
    request = asked((180, 290), (195, 245), turns=Span(F(2), F(13)))
    ties = 0
    for wiring in offered("both-sides", 2) + offered("line-chain", 2):
        if wiring.unknowns <= 3:
            every = tried(request, wiring)
            most = max((plan.room or F(10**9) for plan in every), default=None)
            same = [plan for plan in every if (plan.room or F(10**9)) == most]
            ties += len(same) > 1
            found = searched(request, wiring)
            assert (found and found.values) == (min(same, key=lambda one: one.cost("room")).values if same else None)
    assert ties  # the order among equals was put to the test


def test_taps_that_exist_are_all_that_is_used() -> None:
    request = asked((185, 285), (195, 245), fixed_taps=(300, 338, 370, 430), turns=Span(F(1), F(430)))
    plans = [plan for wiring in offered("both-sides", 2) if (plan := searched(request, wiring)) is not None]
    every = [
        plan
        for wiring in offered("both-sides", 2)
        for values in product(request.fixed_taps, repeat=wiring.unknowns)
        if all(turns(row, values) >= 1 for row in wiring.rising)
        and max(turns(row, values) for row in wiring.highest) in request.turns
        and (plan := plan_of(request, wiring, values)) is not None
    ]
    assert plans
    assert max(plan.room or 0 for plan in plans) == max(plan.room or 0 for plan in every)
    assert all(set(plan.taps) <= set(request.fixed_taps) for plan in plans)


def test_a_search_cut_short_says_so_and_keeps_its_best() -> None:
    request = asked((160, 290), (198, 242), turns=Span(F(200), F(1000)))
    wiring = offered("both-sides", 2)[-1]
    rounds = iter(range(100))
    cut = search(Task(request, wiring), stop=lambda: next(rounds) >= 12)
    whole = search(Task(request, wiring))
    assert whole.proven
    assert not cut.proven
    best = [best_plan(request, wiring, found.points) for found in (cut, whole)]
    assert best[0] is not None
    assert best[1] is not None
    assert cut.open_score >= float(best[1].room or 0)
    assert (best[0].room or 0) <= (best[1].room or 0)


def test_every_objective_is_known_to_the_cost() -> None:
    request = asked((185, 285), (195, 245))
    plan = searched(request, offered("line-chain", 2)[0])
    assert plan is not None
    assert all(plan.cost(objective) for objective in OBJECTIVES)
