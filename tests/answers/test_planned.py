"""What is said of plans, from values made by hand: the bound, why there is none, the core they are wound on."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.planned import bound_told, core_told, none_told, stopped_told
from tapplan.design.model import Core
from tapplan.study.sensitivity import Sensitivity
from tests.examples import design

F = Fraction
LOOKED = SimpleNamespace(wirings=7, arrangements=("chain", "two selectors"), left_out=("more than 3 relays", "x"))
CONSIDERED = [
    "Considered: 7 wirings of chain, two selectors.",
    "Not considered: more than 3 relays; x.",
]


def fitted(**parts: Any) -> Any:
    made = {
        "bound": SimpleNamespace(ratios=3, relays=2), "plans": (), "nearest": None, "finished": True,
        "explained": True, "considered": LOOKED, "relaxations": (),
        "request": SimpleNamespace(single_moves=False, needed=F("4.256")),
    }  # fmt: skip
    return SimpleNamespace(**{**made, **parts})


def loaded(found: Any = None, built: Any = (), refused: Any = ()) -> Any:
    return SimpleNamespace(fitted=found or fitted(), built=built, refused=refused)


def plan(ratios: int) -> Any:
    return SimpleNamespace(ratios=(F(1),) * ratios)


# --- the bound ---


@pytest.mark.parametrize(
    ("ratios", "relays", "told"),
    [
        (2, 1, "Whatever the wiring, at least 2 ratios, so 1 relay, even with turns that are no whole numbers."),
        (3, 2, "Whatever the wiring, at least 3 ratios, so 2 relays, even with turns that are no whole numbers."),
        (1, 0, "One ratio serves the whole range: no relay is needed."),
    ],
)
def test_the_fewest_ratios_and_relays_of_any_wiring(ratios: int, relays: int, told: str) -> None:
    assert bound_told(fitted(bound=SimpleNamespace(ratios=ratios, relays=relays))) == told


@pytest.mark.parametrize(
    ("used", "told"),
    [
        ((5, 3, 4), " The plan with the fewest uses 3, as few as that."),
        ((5, 4), " The plan with the fewest uses 4, 1 more than that."),
        ((7,), " The plan with the fewest uses 7, 4 more than that."),
    ],
)
def test_how_near_plans_come_to_the_bound(used: tuple[int, ...], told: str) -> None:
    assert bound_told(fitted(plans=tuple(map(plan, used)))).endswith(f"no whole numbers.{told}")


def test_where_no_number_of_ratios_is_enough_that_is_said() -> None:
    assert bound_told(fitted(bound=None, plans=(plan(3),))).startswith("No number of ratios is enough: ")


# --- no plan ---


@pytest.mark.parametrize("parts", [{"bound": None}, {"bound": SimpleNamespace(ratios=1)}, {"finished": False}])
def test_without_a_search_to_its_end_nothing_is_explained(parts: dict[str, Any]) -> None:
    assert none_told(loaded(fitted(**parts))) == ["No plan."]


def test_what_would_do_is_told_after_what_was_considered() -> None:
    ways = (SimpleNamespace(key="output.window_v", now="[215, 245]", then="[214, 246]"),)
    none = "No turns of these arrangements, with as many relays and taps, serve the whole range."
    assert none_told(loaded(fitted(relaxations=ways))) == [
        "No plan meets the request.",
        none,
        *CONSIDERED,
        "It would do to change output.window_v from [215, 245] to [214, 246].",
    ]
    single = none_told(loaded(fitted(request=SimpleNamespace(single_moves=True, needed=F(4)))))
    assert single[2].startswith("single_moves leaves chains only: ")
    assert (single[:2], single[3:]) == (["No plan meets the request.", none], CONSIDERED)


def test_cores_that_will_not_do_are_told_one_by_one() -> None:
    refused = (SimpleNamespace(core="EI 84", why="hot"), SimpleNamespace(core="EI 96", why="full"))
    told = ["No plan carries the load.", "EI 84: hot.", "EI 96: full.", *CONSIDERED]
    assert none_told(loaded(refused=refused)) == told
    assert none_told(loaded(fitted(bound=None), refused=refused)) == told


@pytest.mark.parametrize(
    ("room", "told"),
    [(F("1.128"), "1.13 V between neighbours; 4.26 V are needed, 3.13 V more."),
     (None, "0 V between neighbours; 4.26 V are needed, 4.26 V more."),
     (F("-1.5"), "-1.5 V between neighbours; 4.26 V are needed, 5.76 V more.")],
)  # fmt: skip
def test_the_nearest_plan_lacks_what_is_needed_beyond_its_room(room: Fraction | None, told: str) -> None:
    near = SimpleNamespace(arrangement="chain", relays=3, room=room)
    assert none_told(loaded(fitted(nearest=near)))[1] == f"The nearest, chain with 3 relays, leaves {told}"


# --- stopped ---


def test_each_part_of_a_search_that_was_stopped_has_its_sentence() -> None:
    halted = Sensitivity(2, (), finished=False)
    told = list(stopped_told(loaded(fitted(finished=False, explained=False)), halted))
    assert [one[:35] for one in told] == [
        "Stopped before the search was over:",
        "Stopped while ways out were sought:",
        "Stopped while wishes were tried: th",
    ]
    assert list(stopped_told(loaded(), None)) == []
    assert list(stopped_told(loaded(), Sensitivity(2, ()))) == []
    assert len(list(stopped_told(loaded(), halted))) == 1


# --- cores ---


def built(lamination: str | None, va: int | None = 300) -> Any:
    made = design([("w", "N", "A", 1)], {}, load_va=va)
    core = None if lamination is None else Core(lamination=lamination, stack_mm=F(40))
    return SimpleNamespace(design=replace(made, core=core))


@pytest.mark.parametrize(
    ("plans", "refused", "told"),
    [
        ((), (), ""),
        ((), ("x",), ""),
        (
            (built("EI 84"),), (),
            "Wound for 300 VA on EI 84 stacked 40 mm, every plan was checked and rated at full load.",
        ),
        (
            (built("EI 84"), built("EI 84")), ("x",),
            "Wound for 300 VA on EI 84 stacked 40 mm, the smallest found that will do; every plan was checked and "
            "rated at full load.",
        ),
        (
            (built("EI 84"), built("EI 96")), (),
            "Wound for 300 VA on EI 84 stacked 40 mm, every plan was checked and rated at full load. Larger cores "
            "are offered where they leave more room, or lose or cost less.",
        ),
        (
            (built(None, None),), (),
            "Wound for 0 VA on the core stated, every plan was checked and rated at full load.",
        ),
    ],
)  # fmt: skip
def test_the_core_that_plans_are_wound_on(plans: Any, refused: Any, told: str) -> None:
    assert core_told(loaded(built=plans, refused=refused)) == told
