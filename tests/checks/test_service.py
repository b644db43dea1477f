"""What the stage gives a feed's load, a charger and the load promised, by hand: just enough is enough."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tapplan.checks.finding import Severity
from tapplan.checks.service import charger_reach, feed_out_of_window, over_load
from tapplan.design.model import Battery, Feed
from tapplan.exact import Span
from tapplan.network.states import state_of
from tapplan.network.turns import Kind
from tapplan.rating.bandwise import Permitted
from tapplan.rating.fed import Fed
from tapplan.rating.feeds import Charging
from tapplan.rating.rated import FeedRating, Ratings
from tests.checks.handmade import changed, plain

F = Fraction
FEED = Feed(name="inverter", winding="a", volts_v=(F(8), F(10)))


def fed(low: object, high: object, loaded: list[complex] | None = None, **used: Any) -> Ratings:
    """A feed whose output is so without its load and, where given, so with it; the window is 200 to 256 V."""
    state = state_of(plain().carried.circuit, ("K",))
    shown = Fed(FEED, state, Span(F(str(low)), F(str(high))), None, inlet_live=False, fault=None)
    case: Any = None if loaded is None else SimpleNamespace(cases=SimpleNamespace(output=np.array(loaded)))
    one = FeedRating(FEED, (), replace(shown, **used), chosen=False, case=case, heat=None)
    return replace(plain(), feeds=(one,))


def outputs(found: Ratings) -> list[tuple[Fraction, ...]]:
    told = list(feed_out_of_window(found))
    assert all((one.severity, one.where) == (Severity.FAULT, 'feed "inverter"') for one in told)
    assert all(one.witness.energised == ("K",) for one in told)
    return [(one.witness.least_v, one.witness.most_v, one.witness.output_v, one.witness.limit_v) for one in told]


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (200, 256, []),
        (199, 256, [(199, 256, 199, 200)]),
        (200, 257, [(200, 257, 257, 256)]),
        (199, 258, [(199, 258, 258, 256)]),  # the side that is farther out
        (198, 257, [(198, 257, 198, 200)]),
        (199, 257, [(199, 257, 257, 256)]),
        ("199.9999995", "256.0000005", []),  # of floating point
    ],
)
def test_a_feed_s_output_without_its_load(low: object, high: object, told: list[tuple[int, ...]]) -> None:
    assert outputs(fed(low, high)) == told


def test_the_load_of_a_feed_pulls_its_output_down_and_one_that_collapses_leaves_none() -> None:
    assert outputs(fed(210, 250, [205 + 0j, 200 + 0j])) == []
    assert outputs(fed(210, 250, [0 + 199j, 205 + 0j])) == [(199, 250, 199, 200)]
    assert outputs(fed(210, 250, [205 + 0j, complex("nan")])) == [(0, 250, 0, 200)]
    assert outputs(fed(210, 250, [260 + 0j, 205 + 0j])) == [(205, 260, 260, 256)]


def test_a_feed_that_serves_nothing_is_told_elsewhere() -> None:
    assert outputs(fed(1, 2, fault=Kind.FLOATING)) == []
    assert outputs(fed(1, 2, output=None)) == []
    nowhere = fed(1, 2)
    unused = replace(nowhere, feeds=(replace(nowhere.feeds[0], used=None), *nowhere.feeds))
    assert len(outputs(unused)) == 1


# --- the charger ---


def charged(*peaks: tuple[float, float], needed: tuple[int, int | None] = (54, None), **battery: Any) -> Ratings:
    """In each band the charger gets so much at its low and its high end, 100 and 200 V in."""
    least, cyclic = needed
    cell = Battery(
        winding="aux",
        float_v=(F(least), F(least + 1)),
        cyclic_v=None if cyclic is None else (F(cyclic), F(cyclic + 1)),
        charger="step-down",
    )
    rows = [one.row for one in plain().bands]
    cases = tuple(Charging(row, (100.0, 200.0), peak) for row, peak in zip(rows, peaks, strict=False))
    return replace(changed(plain(), battery=replace(cell, **battery)), charging=cases)


def reach(found: Ratings) -> list[tuple[Severity, str, tuple[str, ...], tuple[Fraction | None, ...]]]:
    told = list(charger_reach(found))
    assert {one.where for one in told} <= {'battery on winding "aux"'}
    return [(one.severity, one.witness.charge, one.witness.bands, one.witness.enough_v) for one in told]


def test_a_charger_that_gets_enough_everywhere() -> None:
    assert reach(charged((54.0, 60.0), (54.0, 70.0))) == []
    assert reach(charged((53.9, 60.0), charger="boost")) == []
    assert list(charger_reach(plain())) == []
    assert reach(charged()) == []


def test_a_part_of_a_band_is_a_warning_with_the_input_from_which_it_is_enough() -> None:
    """From 50 to 60 V over 100 to 200 V in: 54 V at 140 V."""
    assert reach(charged((50.0, 60.0), (54.0, 70.0))) == [(Severity.WARNING, "float", ("boost",), (F(140),))]
    assert reach(charged((50.0, 53.0), (54.0, 70.0))) == [(Severity.WARNING, "float", ("boost",), (None,))]
    (one,) = charger_reach(charged((54.0, 60.0), (51.0, 52.0), (53.0, 58.0)))
    shown = one.witness
    assert (shown.bands, shown.output_v, shown.most_v, shown.limit_v) == (("direct", "buck"), 51, 60, 54)


def test_never_making_float_is_a_fault_and_cyclic_is_then_not_asked_for() -> None:
    both = (Severity.FAULT, "float", ("boost", "direct"), (None, None))
    assert reach(charged((50.0, 53.9), (51.0, 53.0), needed=(54, 58))) == [both]
    just = reach(charged((50.0, 54.0), (51.0, 53.0), needed=(54, None)))
    assert [one[:2] for one in just] == [(Severity.WARNING, "float")]


def test_cyclic_is_asked_for_too_and_is_never_a_fault() -> None:
    assert reach(charged((55.0, 57.0), (56.0, 57.0), needed=(54, 58))) == [
        (Severity.WARNING, "cyclic", ("boost", "direct"), (None, None))
    ]
    found = reach(charged((50.0, 60.0), (56.0, 60.0), needed=(54, 58)))
    assert [one[:3] for one in found] == [
        (Severity.WARNING, "float", ("boost",)),
        (Severity.WARNING, "cyclic", ("boost", "direct")),
    ]


# --- the load ---


def permitting(*each: tuple[float | None, bool], load_va: int | None = 500) -> Ratings:
    rows = [one.row for one in plain().bands]
    cases = tuple(
        Permitted(row, 200.0, va, "contact K.no", stated=stated)
        for row, (va, stated) in zip(rows, each, strict=False)
    )
    output = replace(plain().design.output, load_va=None if load_va is None else F(load_va))
    return replace(changed(plain(), output=output), permitted=cases)


def test_a_load_is_right_up_to_the_least_permitted() -> None:
    assert list(over_load(permitting((500.0, True), (600.0, True)))) == []
    assert list(over_load(permitting((499.9999995, True)))) == []
    assert list(over_load(permitting((None, True), (None, True)))) == []
    assert list(over_load(permitting((1.0, True), load_va=None))) == []


@pytest.mark.parametrize(("stated", "severity"), [(True, Severity.FAULT), (False, Severity.WARNING)])
def test_a_load_beyond_it_is_told_where_least_is_permitted(stated: bool, severity: Severity) -> None:
    """400 VA are permitted: 500 VA are a quarter more."""
    (one,) = over_load(permitting((450.0, not stated), (400.0, stated), (None, True)))
    assert (one.severity, one.where) == (severity, 'band "direct"')
    shown = one.witness
    assert (shown.bands, shown.input_v, shown.permitted_va, shown.load_va) == (("direct",), 200, 400, 500)
    assert (shown.worst_pct, shown.limited_by, shown.stated) == (25, "contact K.no", stated)


def test_where_no_load_at_all_is_permitted_there_is_no_share() -> None:
    (one,) = over_load(permitting((0.0, True)))
    assert (one.witness.permitted_va, one.witness.worst_pct) == (0, 0)
    (half,) = over_load(permitting((0.5, True)))
    assert half.witness.worst_pct == 99_900
