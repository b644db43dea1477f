"""Plans: their columns from their ratios, the bound and the legend in words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.answers.fit import LEGEND, plans
from tapplan.design.file import load_request
from tapplan.study.arrangements import ARRANGEMENTS
from tapplan.study.fitting import fitted
from tapplan.study.loaded import LoadedFit
from tapplan.study.request import request_of
from tests.examples import ROOT

F = Fraction
DESIGNS = ROOT / "designs"


def test_the_legend_names_the_plans_that_are_not_proven() -> None:
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    answer = plans(LoadedFit(fitted(request_of(asked.design, asked.fit, ())), (), ()), "x")
    one = answer.plans[0]
    proven, open_still = replace(one, number="1", proven=True), replace(one, number="2", proven=False)
    assert replace(answer, plans=(proven,)).legend == LEGEND
    assert replace(answer, plans=(proven, open_still)).legend == (
        f"{LEGEND} Not proven the best of their kind: plan 2; --to-the-end proves."
    )


def test_the_columns_of_a_plan_from_its_ratios() -> None:
    """Transformed is 1 - 1/g at the highest boost; off, the mean over the range of the nearest output's distance."""
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    for place, one in enumerate(
        plans(LoadedFit(fitted(request_of(asked.design, asked.fit, ())), (), ()), "x").plans, 1
    ):
        ratios = [float(F(ratio)) for ratio in one.ratios]
        assert one.number == f"{place}"
        assert one.arrangement in ARRANGEMENTS
        assert one.transformed == pytest.approx(max(max(1 - 1 / ratio, 1 - ratio) for ratio in ratios))
        inputs = [150 + 122 * place / 60 for place in range(61)]
        off = [min(abs(volts * ratio - 220) for ratio in ratios) for volts in inputs]
        assert one.deviation == pytest.approx(sum(off) / len(off) / 220)
        assert one.off == f"{100 * one.deviation:.1f}%"
        assert one.core == f"{100 * one.transformed:.1f}%"


def test_the_bound_of_a_request_in_a_sentence() -> None:
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    found = fitted(request_of(asked.design, asked.fit, ()))
    answer = plans(LoadedFit(found, (), ()), "x")
    assert (answer.bound.ratios, answer.bound.relays) == (found.bound.ratios, found.bound.relays)
    assert answer.bound_told.startswith(f"Whatever the wiring, at least {found.bound.ratios} ratios, so 2 relays, ")
    one = plans(LoadedFit(replace(found, bound=replace(found.bound, ratios=1, relays=0)), (), ()), "x")
    assert one.bound_told == "One ratio serves the whole range: no relay is needed."
    none = plans(LoadedFit(replace(found, bound=None), (), ()), "x")
    assert (none.bound, none.bound_told[:26]) == (None, "No number of ratios is eno")


def test_the_fewest_ratios_of_a_plan_beside_the_bound() -> None:
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    found = fitted(request_of(asked.design, asked.fit, ()))
    fewest = min(len(one.ratios) for one in found.plans)
    for ratios, near in ((fewest, "as few as that"), (fewest - 1, "1 more than that")):
        bound = replace(found.bound, ratios=ratios)
        told = plans(LoadedFit(replace(found, bound=bound), (), ()), "x").bound_told
        assert told.endswith(f"The plan with the fewest uses {fewest}, {near}.")
