"""What is rated at all, the inlet while a feed runs, and loads that cannot be carried, put in by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tapplan.checks.finding import Severity
from tapplan.checks.rated import _has_limits, backfeed, load_collapse, over_rated
from tapplan.checks.review import review
from tapplan.design.model import Battery, CoilSupply, Core, Design, Feed, Protection
from tapplan.exact import Span
from tapplan.network.states import state_of
from tapplan.network.turns import Kind
from tapplan.rating.fed import Fed
from tapplan.rating.rated import FeedRating, Ratings
from tests.checks.handmade import changed, plain
from tests.checks.test_rules import LOADED, rated_by, sound

F = Fraction
FEED = Feed(name="inverter", winding="base", volts_v=(F(8), F(10)))
LIMITED: list[tuple[Design, bool]] = [
    (sound(), False),
    (replace(sound(), core=Core()), True),
    (replace(sound(), battery=Battery(winding="base", float_v=(F(1), F(2)))), True),
    (replace(sound(), coil_supply=CoilSupply(winding="base")), True),
    (replace(sound(), protection=Protection(fuse_a=F(1))), True),
    (replace(sound(), feeds=(FEED,)), True),
    (rated_by(sound(), wire_mm=F(1)), True),
    (rated_by(sound(), contact_a=F(1)), True),
    (rated_by(sound(), contact_v=F(1)), True),
    (rated_by(sound(), contact_make_a=F(1)), True),
    (replace(sound(), output=LOADED), False),
    (replace(sound(), output=replace(LOADED, load_model="current")), True),
    (replace(sound(), output=replace(LOADED, load_model="power")), True),
    (replace(sound(), output=replace(LOADED, load_model="power", load_va=None)), False),
]


@pytest.mark.parametrize(("made", "limited"), LIMITED, ids=range(len(LIMITED)))
def test_a_design_is_rated_where_it_states_something_to_be_rated_by(made: Design, limited: bool) -> None:
    assert _has_limits(made) is limited
    if not limited:
        assert list(over_rated(review(made))) == []


def test_one_part_that_states_a_limit_is_enough() -> None:
    first, second = sound().relays
    assert _has_limits(replace(sound(), relays=(first, replace(second, contact_a=F(1)))))
    windings = sound().windings
    assert _has_limits(replace(sound(), windings=(*windings[:2], replace(windings[2], wire_mm=F(1)))))


# --- the inlet while a feed runs ---


def fed(*relays: str, live: bool = True, line: Span | None = None, output: Span | None = None,
        fault: Kind | None = None) -> Fed:  # fmt: skip
    state = state_of(plain().carried.circuit, relays)
    return Fed(FEED, state, output, line, inlet_live=live, fault=fault)


def feeding(used: Fed | None, *states: Fed) -> Ratings:
    one = FeedRating(FEED, states, used, chosen=False, case=None, heat=None)
    return replace(plain(), feeds=(one,))


def test_a_live_inlet_is_a_fault_with_a_state_in_which_it_is_dead() -> None:
    used = fed("K", line=Span(F(180), F(225)), output=Span(F(207), F(258)))
    states = (used, fed("KO", live=False, fault=Kind.FLOATING), fed("K", "KO"), fed(live=False))
    (one,) = backfeed(feeding(used, *states))
    assert (one.code, one.severity, one.where) == ("backfeed", Severity.FAULT, 'feed "inverter"')
    shown = one.witness
    assert (shown.energised, shown.from_v, shown.to_v, shown.output_v, shown.safe) == (("K",), 180, 225, 258, ())


def test_without_volts_that_are_known_or_a_safe_state_these_are_left_out() -> None:
    (one,) = backfeed(feeding(fed("K"), fed("K"), fed("KO", live=False, fault=Kind.SHORTED)))
    shown = one.witness
    assert (shown.from_v, shown.to_v, shown.output_v, shown.safe) == (None, None, None, None)


def test_a_dead_inlet_or_a_feed_that_never_runs_is_none() -> None:
    assert list(backfeed(feeding(fed("K", live=False)))) == []
    assert list(backfeed(feeding(None, fed("K")))) == []
    both = feeding(fed("K", live=False))
    assert len(list(backfeed(replace(both, feeds=(*both.feeds, *feeding(fed("K")).feeds))))) == 1


# --- loads that cannot be carried ---


def carrying(lost: list[int], load_va: int | None = 500, feed: Any = None) -> Ratings:
    """Boost, direct and buck at both their ends, of 200, 210 ... 250 V, of which some cannot carry the load."""
    output = replace(plain().design.output, load_va=None if load_va is None else F(load_va), load_model="power")
    cases: Any = SimpleNamespace(collapsed=np.isin(np.arange(6), lost), volts=np.arange(200.0, 260.0, 10.0))
    carried: Any = SimpleNamespace(rows=plain().carried.rows, cases=cases)
    found = replace(changed(plain(), output=output), carried=carried)
    return found if feed is None else replace(found, feeds=feed)


def collapses(found: Ratings) -> list[tuple[str, Fraction]]:
    told = list(load_collapse(found))
    assert all((one.severity, one.witness.load_va, one.witness.load_model) == (Severity.FAULT, 500, "power")
               for one in told)  # fmt: skip
    assert all((one.witness.bands is None) is one.where.startswith("feed") for one in told)
    return [(one.where, one.witness.input_v) for one in told]


@pytest.mark.parametrize(
    ("lost", "told"),
    [
        ([], []),
        ([0], [('band "boost"', 200)]),
        ([1], [('band "boost"', 210)]),
        ([0, 1], [('band "boost"', 200)]),
        ([2], [('band "direct"', 220)]),
        ([3, 4], [('band "direct"', 230), ('band "buck"', 240)]),
        ([5], [('band "buck"', 250)]),
    ],
)
def test_a_band_in_which_a_load_cannot_be_carried_is_told_at_its_lowest_input(lost: list[int], told: Any) -> None:
    assert collapses(carrying(lost)) == told
    assert list(load_collapse(carrying(lost, load_va=None))) == []


def test_a_feed_that_cannot_carry_it_is_told_too() -> None:
    def case(*gone: bool) -> Any:
        cases = SimpleNamespace(collapsed=np.array(gone), volts=np.array([8.0, 10.0]))
        return FeedRating(FEED, (), None, chosen=False, case=SimpleNamespace(cases=cases), heat=None)  # type: ignore[arg-type]

    unknown = FeedRating(FEED, (), None, chosen=False, case=None, heat=None)
    assert collapses(carrying([], feed=(unknown, case(False, False)))) == []
    assert collapses(carrying([2], feed=(unknown, case(False, True)))) == [
        ('band "direct"', 220),
        ('feed "inverter"', 10),
    ]
    assert collapses(carrying([], feed=(case(True, True),))) == [('feed "inverter"', 8)]
