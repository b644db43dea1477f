"""Plans: their columns from their ratios, the bound and the legend in words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from math import inf
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tapplan.answers.fit import LEGEND, Plans, plans, with_logs
from tapplan.answers.planned import LOGS_LEFT
from tapplan.answers.weighed import WeighedLog
from tapplan.control.table import control_table
from tapplan.design.conductor import Wire
from tapplan.design.file import load, load_request
from tapplan.design.model import Core
from tapplan.logs.samples import BadRows
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun
from tapplan.study.arrangements import ARRANGEMENTS
from tapplan.study.fitting import Fitted, fitted
from tapplan.study.loaded import LoadedFit
from tapplan.study.logged import MOST_PLANS, PlanRuns
from tapplan.study.request import request_of
from tapplan.study.sensitivity import Sensitivity, WishSpan
from tests.examples import ROOT, design

F = Fraction
DESIGNS = ROOT / "designs"


@cache
def workshop() -> Fitted:
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    return fitted(request_of(asked.design, asked.fit, ()))


def test_the_legend_names_the_plans_that_are_not_proven() -> None:
    answer = plans(LoadedFit(workshop(), (), ()), "x")
    one = answer.plans[0]
    proven, open_still = replace(one, number="1", proven=True), replace(one, number="2", proven=False)
    assert replace(answer, plans=(proven,)).legend == LEGEND
    assert replace(answer, plans=(proven, open_still)).legend == (
        f"{LEGEND} Not proven the best of their kind: plan 2; --to-the-end proves."
    )


def test_the_columns_of_a_plan_from_its_ratios() -> None:
    """Transformed is 1 - 1/g at the highest boost; off, the mean over the range of the nearest output's distance."""
    for place, one in enumerate(plans(LoadedFit(workshop(), (), ()), "x").plans, 1):
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
    found = workshop()
    answer = plans(LoadedFit(found, (), ()), "x")
    assert (answer.bound.ratios, answer.bound.relays) == (found.bound.ratios, found.bound.relays)
    assert answer.bound_told.startswith(f"Whatever the wiring, at least {found.bound.ratios} ratios, so 2 relays, ")
    one = plans(LoadedFit(replace(found, bound=replace(found.bound, ratios=1, relays=0)), (), ()), "x")
    assert one.bound_told == "One ratio serves the whole range: no relay is needed."
    none = plans(LoadedFit(replace(found, bound=None), (), ()), "x")
    assert (none.bound, none.bound_told[:26]) == (None, "No number of ratios is eno")


def test_the_fewest_ratios_of_a_plan_beside_the_bound() -> None:
    found = workshop()
    fewest = min(len(one.ratios) for one in found.plans)
    for ratios, near in ((fewest, "as few as that"), (fewest - 1, "1 more than that")):
        bound = replace(found.bound, ratios=ratios)
        told = plans(LoadedFit(replace(found, bound=bound), (), ()), "x").bound_told
        assert told.endswith(f"The plan with the fewest uses {fewest}, {near}.")


# --- of plans made by hand ---


def plan(**parts: Any) -> Any:
    made = {
        "arrangement": "chain", "relays": 2, "poles": 3, "taps": (200, 227), "points": 3, "sections": (31,),
        "ratios": (F(258, 200), F(1)), "room": F("6.5"), "deviation": F("0.0316"), "transformed": F("0.2248"),
        "moves": (1, 2), "proven": False, "open_score": 6.0, "score": 5.0,
    }  # fmt: skip
    return SimpleNamespace(**{**made, **parts})


def fit(*found: Any, built: Any = (), **parts: Any) -> Any:
    looked = SimpleNamespace(arrangements=("chain",), left_out=("more than 3 relays",), wirings=4)
    made = {
        "bound": SimpleNamespace(ratios=2, relays=1), "plans": found, "nearest": None, "boxes": 17, "relaxations": (),
        "finished": True, "explained": True, "considered": looked,
        "request": SimpleNamespace(single_moves=False, needed=F(4)),
    }  # fmt: skip
    whole: Any = SimpleNamespace(fitted=SimpleNamespace(**{**made, **parts}), built=built, refused=(), chosen=False)
    return whole


def test_a_plan_is_told_by_its_taps_its_series_turns_and_its_shares() -> None:
    first, second = plans(fit(plan(), plan(sections=())), "x").plans
    assert (first.number, second.number) == ("1", "2")
    assert (first.turns, second.turns) == ("200, 227; in series 31", "200, 227")
    assert (first.relays, first.poles, first.taps, first.tap_turns, first.section_turns) == (
        2,
        3,
        3,
        (200, 227),
        (31,),
    )
    assert (first.ratios, first.ratios_told) == (("129/100", "1"), "1.2900, 1.0000")
    assert (first.room_v, first.off, first.core, first.moves) == (F("6.5"), "3.2%", "22.5%", (1, 2))
    assert (first.deviation, first.transformed) == (0.0316, 0.2248)


@pytest.mark.parametrize(
    ("parts", "bound", "gap"),
    [
        ({}, 6.0, 0.2),
        ({"open_score": -6.0, "score": -7.5}, 6.0, 0.2),
        ({"open_score": 4.0}, 4.0, 0.2),
        ({"proven": True}, None, None),
        ({"open_score": inf}, None, None),
        ({"score": inf}, 6.0, None),
        ({"score": 0.0}, 6.0, None),
    ],
)
def test_a_bound_and_a_gap_are_told_where_something_is_left_to_look_at(
    parts: dict[str, Any], bound: float | None, gap: float | None
) -> None:
    """Of a score of 5 and 6 left a fifth; scores to be small count below nought, 6 of 7.5 left a fifth too."""
    (row,) = plans(fit(plan(**parts)), "x").plans
    assert row.bound == bound
    assert row.gap == (None if gap is None else pytest.approx(gap))


def test_plans_that_are_not_proven_are_named_with_what_they_may_miss() -> None:
    every = plans(fit(plan(), plan(proven=True), plan(open_score=inf)), "x")
    assert every.legend.endswith(
        "Not proven the best of their kind: plan 1 (at most 20.0% from the best), 3; --to-the-end proves."
    )


def test_an_answer_without_a_plan_says_why_and_what_is_nearest() -> None:
    way = SimpleNamespace(key="a", now="1", then="2")
    none = plans(fit(nearest=plan(), relaxations=(way,)), "x")
    assert none.wrong
    assert none.nearest is not None
    assert none.nearest.number == "nearest"
    assert none.none_told.startswith("No plan meets the request.\n")
    assert [(one.key, one.now, one.then) for one in none.relaxations] == [("a", "1", "2")]
    some = plans(fit(plan()), "x")
    assert (some.wrong, some.none_told, some.nearest, some.finished, some.stopped) == (False, "", None, True, ())
    assert (some.boxes, some.considered, some.not_considered) == (17, ("chain",), ("more than 3 relays",))
    assert (some.bound.ratios, some.bound.relays) == (2, 1)
    assert (some.wishes, some.wishes_told) == ((), "")
    halted = plans(fit(plan(), finished=False), "x")
    assert (halted.finished, len(halted.stopped)) == (False, 1)


def test_wishes_stand_beside_plans_built_or_not() -> None:
    swayed = Sensitivity(1, (WishSpan("sensing.noise_v", "1 V", "2 V", None),))
    bare = plans(fit(plan()), "x", swayed)
    assert bare.wishes_told == "How far each wish may go alone, about plans of 1 relay:"
    (wish,) = bare.wishes
    assert (wish.key, wish.now, wish.farthest, wish.saving) == ("sensing.noise_v", "1 V", "2 V", None)
    wound = plans(fit(plan(), built=(built(),)), "x", replace(swayed, relays=2))
    assert wound.wishes_told == "How far each wish may go alone, about plan 1, its drop reserved, and 2 relays:"


# --- as built ---


def section(wire: Wire | None) -> Any:
    return SimpleNamespace(wire=wire)


def built(*wires: Wire | None, **parts: Any) -> Any:
    made = {
        "design": replace(design([("w", "N", "A", 1)], {}), core=Core(lamination="EI 84", stack_mm=F(40))),
        "ratings": SimpleNamespace(sections=tuple(map(section, wires)), coil=None),
        "iron_kg": 2.5, "copper_kg": None, "fill": 0.287, "cost": None, "loss_w": 12.0, "rise_k": None,
        "efficiency": 0.956,
    }  # fmt: skip
    return SimpleNamespace(**{**made, **parts})


def as_built(*wires: Wire | None, chosen: bool = False, **parts: Any) -> Any:
    whole = fit(plan(), built=(built(*wires, **parts),))
    whole.chosen = chosen
    (row,) = plans(whole, "x").built
    return row


def test_wires_stand_from_the_thickest_each_once_and_millimetres_are_named_once() -> None:
    thin, thick, strip = Wire("0.8 mm", 0.8), Wire("1.6 mm", 1.6, 2), Wire("AWG 12", 2.05)
    assert as_built(thin, None, thick, thin).wires == "2 x 1.6, 0.8 mm"
    assert as_built(thin).wires == "0.8 mm"
    assert as_built(strip, thin).wires == "AWG 12, 0.8 mm"
    assert as_built(strip, thick).wires == "2 x 1.6 mm, AWG 12"
    assert as_built().wires == as_built(None).wires == "-"


def test_what_is_not_known_of_a_plan_as_built_is_left_out() -> None:
    row = as_built()
    assert (row.number, row.core, row.filled, row.build_mm, row.width_mm, row.built_up) == (
        "1", None, "28.7 %", None, None, None,
    )  # fmt: skip
    assert (row.cost, row.currency, row.priced, row.rise_k, row.warmed) == (None,) * 5
    assert (row.iron_kg, row.copper_kg, row.loss_w, row.efficient) == (2.5, None, 12.0, "95.6 %")


def test_a_core_is_named_where_plans_stand_on_several_and_a_price_where_there_is_one() -> None:
    assert as_built(chosen=True).core == "EI 84 stacked 40 mm"
    cost = SimpleNamespace(total=61.256, currency="EUR")
    row = as_built(cost=cost, rise_k=41.6)
    assert (row.cost, row.currency, row.priced, row.warmed) == (61.256, "EUR", "61.26 EUR", "42")
    unknown = as_built(cost=SimpleNamespace(total=None, currency="EUR"))
    assert (unknown.cost, unknown.priced) == (None, "- EUR")


# --- on logs ---


def run(changes: int, *, seconds: int = 10) -> LogRun:
    """A log that was a while in direct and went to buck and back so many times: KO moves each time."""
    tally = ridge().tally()
    tally.lowest, tally.lasting = 23_000, np.zeros((5, 1), np.int64)
    tally.lasting[2, 0] = seconds * 10**6
    tally.changes[2, 3] = changes
    tally.change_least[2, 3], tally.change_most[2, 3] = 24_500, 24_500
    tally.outside = 1_500_000
    return LogRun("a.csv", None, 0, 10**7, 10**6, 3 * 10**6, BadRows(), (tally,))


@cache
def ridge() -> Machine:
    return machine(control_table(load(DESIGNS / "ridge-dispensary.toml")))


LOG = WeighedLog(log="a.csv", samples=10, cut=False, observed_s=F(10), outside_range_s=F(0))


def on_logs(*tried: tuple[LogRun, ...], count: int = 2) -> Plans:
    answer = plans(fit(*[plan() for _ in range(count)]), "x")
    runs = [PlanRuns(ridge(), one) for one in tried]
    return with_logs(answer, LOG, runs)


def test_plans_tried_on_one_log_have_its_figures_and_on_several_their_sums() -> None:
    one, two = on_logs((run(3),), (run(1), run(2))).plans
    assert (one.log_changes, one.log_moves, one.log_outside_s, one.log_deviation_v) == (3, 3, F(3, 2), 0.0)
    assert one.log_years is None
    assert (two.log_changes, two.log_moves, two.log_outside_s) == (3, 3, 3)


def test_rows_on_logs_are_those_of_the_plans_that_were_tried() -> None:
    answer = on_logs((run(3),))
    assert answer.log == LOG
    (row,) = answer.on_log
    assert (row.number, row.changes, row.moves, row.outside_s, row.deviation_v, row.years) == (
        "1", 3, 3, F(3, 2), 0.0, None,
    )  # fmt: skip
    still = replace(answer.plans[0], log_changes=0, log_moves=0, log_outside_s=F(0))
    (quiet,) = replace(answer, plans=(still, answer.plans[1])).on_log
    assert (quiet.changes, quiet.moves, quiet.outside_s) == (0, 0, 0)
    bare = replace(still, log_moves=None, log_outside_s=None)
    (empty,) = replace(answer, plans=(bare,)).on_log
    assert (empty.moves, empty.outside_s) == (0, 0)


def test_a_log_on_which_not_every_plan_was_tried_says_so() -> None:
    whole = on_logs((run(1),), (run(1),))
    assert (whole.finished, whole.stopped) == (True, ())
    part = on_logs((run(1),))
    assert (part.finished, part.stopped) == (False, (LOGS_LEFT,))
    most = on_logs(*[(run(1),)] * MOST_PLANS, count=MOST_PLANS + 1)
    assert most.finished
    assert not on_logs(*[(run(1),)] * (MOST_PLANS - 1), count=MOST_PLANS + 1).finished


def test_mains_that_were_made_up_are_told_of_the_weights_first() -> None:
    answer = plans(fit(plan()), "x")
    assert answer.made_told == ()
    assert replace(answer, log=LOG).made_told == ()
    made = replace(answer, log=replace(LOG, made="drawn: x"))
    assert made.made_told == ("The log is made up (drawn): nothing here was measured.",)
    assert replace(made, weights_made="told").made_told == ("The log is made up (told): nothing here was measured.",)
