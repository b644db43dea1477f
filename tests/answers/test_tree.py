"""The decision tree from a tree made by hand: its steps by number, on to another step or to what is left."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers import tree as answers
from tapplan.answers.tree import Grown, grown
from tapplan.bench.defects import HEALTHY, Defect
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.tree import Branch, Fork, Leaf, Tree
from tapplan.exact import Span

F = Fraction
OPEN, WORN = Defect("K", "coil-open"), Defect("S", "nc-worn")
CLICK = Measure(Condition("off", frozenset()), "click", ("K",))
COIL = Measure(Condition("off", frozenset()), "coil-ohms", ("K",))
NO, YES, OHMS = (Span(F(0), F(0)),), (Span(F(1), F(1)),), (Span(F(1), F(2)),)

LEFT = Leaf(((OPEN,), (WORN,)))
SECOND = Fork(2, COIL, (Branch(OHMS, (0,), LEFT), Branch(NO, (1,), Leaf((HEALTHY,)))))
ROOT = Fork(1, CLICK, (Branch(NO, (0,), SECOND), Branch(YES, (1,), Leaf((HEALTHY,)))))


def told(monkeypatch: pytest.MonkeyPatch, root: Fork | Leaf, *, alive: bool = True) -> Grown:
    monkeypatch.setattr(answers, "tree", lambda isolation: Tree(root, 1.54, 2))
    made: Any = SimpleNamespace(alive=[alive], diagnosis=lambda: SimpleNamespace(firm=False, groups=()))
    return grown(made, "x")


def test_steps_stand_by_their_number_and_lead_on_or_end(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = told(monkeypatch, ROOT)
    assert (answer.tree.mean, answer.tree.worst) == (1.54, 2)
    assert (answer.tree.begins.step, answer.tree.begins.left) == (1, None)
    first, second = answer.tree.steps
    assert [(one.step, one.condition, one.measure) for one in (first, second)] == [
        (1, "off", "click K"),
        (2, "off", "coil-ohms K"),
    ]
    assert first.asked == "Power off, no coil driven: is K heard to click as its coil is driven?"
    on, end = first.outcomes
    assert (on.readings, on.spans, on.step, on.left, on.then) == ("no", ((0.0, 0.0),), 2, None, "go to 2")
    assert (end.readings, end.step, end.left, end.then) == ("yes", None, ((),), "no fault")
    open_or_worn, _ = second.outcomes
    assert open_or_worn.then == "K coil-open; S nc-worn"
    assert open_or_worn.left is not None
    assert [each[0].part for each in open_or_worn.left] == ["K", "S"]
    assert answer.told[0] == "2 steps; on average 1.5 measurements lead to the end, at worst 2."
    assert len(answer.told) == 2


def test_a_tree_without_a_step_tells_what_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = told(monkeypatch, LEFT)
    assert (answer.tree.begins.step, answer.tree.steps) == (None, ())
    assert answer.told == ["Nothing more to measure: K coil-open; S nc-worn."]
    assert told(monkeypatch, Leaf((HEALTHY,))).told == ["Nothing more to measure: no fault."]


@pytest.mark.parametrize("alive", [True, False])
def test_a_tree_is_wrong_where_a_healthy_stage_does_not_explain_the_readings(
    alive: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = told(monkeypatch, ROOT, alive=alive)
    assert (answer.healthy, answer.wrong) == (alive, not alive)
