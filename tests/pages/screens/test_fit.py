"""Plans on a screen: what stands before, between and after them, from answers made by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

from tapplan.answers.fit import Plans, WishRow, plans
from tapplan.pages.screens import fit
from tests.answers.test_fit import LOG, on_logs, plan
from tests.answers.test_fit import built as built_plan
from tests.answers.test_fit import fit as fitted
from tests.pages.screens.test_verdict import lines

F = Fraction
CLOSING = "`--pick N -o FILE` writes plan N as a design file."


@cache
def answer() -> Plans:
    return plans(fitted(plan()), "x")


def shown(one: Plans, width: int = 400) -> list[str]:
    return lines(fit.screen(one, width))


def test_plans_stand_under_the_bound_and_over_how_to_write_one() -> None:
    text = shown(answer())
    assert text[0] == "Plans: x"
    assert text[-1] == CLOSING
    assert any(line.startswith("Whatever the wiring, at least 2 ratios") for line in text)
    assert "Room against relays:" in text
    assert not any(line.startswith(("On the log", "Weighed by", "Wound for", "How far each")) for line in text)


def test_without_a_plan_only_the_reason_is_told() -> None:
    text = shown(replace(answer(), plans=(), none_told="No plan meets."))
    assert text[-1] == "No plan meets."
    assert CLOSING not in text


def test_logs_that_weigh_are_told_and_else_that_weights_were_made_up() -> None:
    logged = shown(replace(answer(), log=LOG, weights_made="drawn: x"))
    assert any(line.startswith("Weighed by a.csv") for line in logged)
    assert not any("made up" in line for line in logged)
    made = shown(replace(answer(), weights_made="drawn: x"))
    assert "The log is made up (drawn): nothing here was measured." in made
    stopped = shown(replace(answer(), stopped=("Stopped early.",)))
    assert "Stopped early." in stopped


def test_what_logs_make_of_plans_and_how_far_wishes_go_stands_below() -> None:
    from tests.answers.test_fit import run

    on_log = shown(on_logs((run(3),)))
    assert any(line.startswith("On the log, with thresholds as they are placed;") for line in on_log)
    wish = WishRow(key="sensing.noise_v", now="1 V", farthest=None, saving="2 V")
    wished = shown(replace(answer(), wishes=(wish,), wishes_told="How far each wish may go:"))
    at = wished.index("How far each wish may go:")
    assert wished[at + 2].split() == ["sensing.noise_v", "1", "V", "no", "farther", "found", "2", "V"]


def test_plans_as_built_stand_under_their_core() -> None:
    made: Any = fitted(plan(), built=(built_plan(),))
    text = shown(plans(made, "x"))
    assert any(line.startswith("Wound for 0 VA on EI 84 stacked 40 mm,") for line in text)
    assert any(line.split()[:2] == ["1", "-"] for line in text)


def test_a_narrow_screen_gets_a_list() -> None:
    wide, narrow = shown(answer()), shown(answer(), 20)
    assert not any(line.startswith("plan:") for line in wide)
    assert any(line == "plan:         1" for line in narrow)
