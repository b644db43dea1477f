"""The best room of each arrangement against CP-SAT, which knows nothing of boxes or bounds.

Source of the answers: Google OR-Tools, CP-SAT. It is asked twice: whether the best room found is possible at all, and
whether a trifle more is. `python -m tests.benchmarks.plans --agree 200` asks more often.
"""

from __future__ import annotations

import os
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from tapplan.design.file import load_request
from tapplan.exact import rounded_down
from tapplan.study.cores import answered
from tapplan.study.fitting import How
from tapplan.study.plans import best_plan, plan_of
from tapplan.study.request import Request, bound
from tapplan.study.roomsearch import RoomSearch, structure_of
from tapplan.study.search import search
from tapplan.study.task import Task
from tapplan.study.wiring import Wiring
from tests.examples import ROOT
from tests.study.requests import drawn, offered

if os.environ.get("CI") == "true":
    import ortools  # CI must not go without it
else:
    ortools = pytest.importorskip("ortools", reason="OR-Tools is not installed: pip install -e '.[engines]'")

from tests.engines.cp_sat import possible

F = Fraction
TRIFLE = F(1, 10**6)
ARRANGEMENTS = ("line-chain", "output-chain", "both-sides", "add-in", "reversing")


def agrees(request: Request, wiring: Wiring) -> bool:
    """Asserts that both find the same most room; whether there is any plan."""
    wiring = replace(wiring, least_used=2)
    plan = best_plan(request, wiring, search(Task(request, wiring, any_room=True)).points)
    if plan is None or plan.room is None:
        assert possible(request, wiring, -2 * request.mains.high) is None, request
        return False
    values = possible(request, wiring, plan.room)
    assert values is not None, request
    other = plan_of(request, wiring, values)
    assert other is not None
    assert other.room == plan.room
    assert possible(request, wiring, plan.room + TRIFLE) is None, request
    return True


def case(arrangement: str, random: Random) -> tuple[Request, Wiring]:
    """A random request that needs two ratios or more, and one of the arrangement's wirings."""
    relays = 2 if arrangement in ("both-sides", "reversing") else random.choice([1, 2])
    while True:
        request = drawn(random, random.choice([20, 30, 40]))
        least = bound(request)
        if least is None or least.ratios > 1:
            return request, random.choice(offered(arrangement, relays))


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_the_same_most_room(arrangement: str) -> None:
    random = Random(arrangement)
    found = [agrees(*case(arrangement, random)) for _ in range(60)]
    assert any(found)


def orders_agree(request: Request, wiring: Wiring) -> bool:
    """Asserts that the search by orders of ratios finds what CP-SAT finds; whether any plan has room at all.

    CP-SAT knows nothing of relays that choose between equal turns: what it finds then is another wiring's business.
    """
    wiring = replace(wiring, least_used=2)
    structure = structure_of(request, wiring)
    assert structure is not None
    plans = RoomSearch(request, wiring, structure, 0.0).run().plans
    room = Fraction(0) if not plans else plans[-1].room
    assert room is not None
    assert not plans or possible(request, wiring, room) is not None, request
    more = possible(request, wiring, room + TRIFLE)
    assert more is None or plan_of(request, wiring, more) is None, request
    return bool(plans)


@pytest.mark.parametrize("arrangement", ["line-chain", "both-sides", "trees", "mixed", "add-in"])
def test_the_orders_of_ratios_find_the_same_most_room(arrangement: str) -> None:
    random = Random(f"orders of {arrangement}")
    relays = {"line-chain": 1}.get(arrangement, 2)
    found = []
    for _ in range(15):
        request, _ = case("both-sides", random)
        found.append(orders_agree(request, random.choice(offered(arrangement, relays))))
    assert any(found)


@pytest.mark.parametrize("arrangement", ["line-chain", "both-sides", "trees"])
def test_plans_wound_on_a_core_have_the_most_room_there_is(arrangement: str) -> None:
    """The island's grid on few turns: flux, the drop at full load and what the window leaves are in the request."""
    asked = load_request(ROOT / "designs" / "requests" / "island-grid.toml")
    fit = replace(asked.fit, total_turns=(F(150), F(235)), arrangements=(arrangement,), relays_max=F(3))
    compared = 0
    for one in answered(asked.design, fit, (), How(relaxing=False)).built:
        plan = one.plan
        if plan.relays > 2 or plan.room is None:
            continue
        assert plan.request.sag.share > 0
        assert plan.request.output_least > 150
        fine = F(1, 1000)  # with more decimals the solver's whole numbers run over
        assert possible(plan.request, plan.wiring, rounded_down(plan.room, fine)) is not None
        more = possible(plan.request, plan.wiring, rounded_down(plan.room, fine) + fine)
        assert more is None or plan_of(plan.request, plan.wiring, more) is None
        compared += 1
    assert compared or arrangement == "line-chain"
