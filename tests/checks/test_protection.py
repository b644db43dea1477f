"""The line fuse and the cut-out by hand: what overloads a fuse, what it sees too late, when a cut-out opens."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.protection import cutout_trips, fuses
from tapplan.design.model import Core, Protection
from tapplan.rating.contacts import Bridge
from tapplan.rating.iron import iron_of
from tapplan.rating.rated import Ratings
from tests.checks.handmade import changed, heated, plain

F = Fraction


def lined(*amperes: float | None) -> Ratings:
    """The inlet carries so much in boost, direct and buck."""
    bands = tuple(replace(band, line_a=one) for band, one in zip(plain().bands, amperes, strict=True))
    return replace(plain(), bands=bands, bridges=())


def fused(found: Ratings, **protection: Any) -> list[Finding]:
    return list(fuses(changed(found, protection=Protection(**protection))))


@pytest.mark.parametrize(("rated", "told"), [("4", False), ("3.9", True), ("4.1", False)])
def test_normal_current_against_the_fuse(rated: str, told: bool) -> None:
    found = fused(lined(2.0, 4.0, 3.0), fuse_a=F(rated))
    assert [(one.severity, one.where) for one in found] == ([(Severity.FAULT, 'band "direct"')] if told else [])
    if told:
        shown = found[0].witness
        assert (shown.bands, shown.current_a, shown.limit_a) == (("direct",), 4, F(rated))


def test_currents_that_are_not_known_are_left_out_and_without_a_fuse_nothing_is_told() -> None:
    assert [one.where for one in fused(lined(None, None, 3.0), fuse_a=F(1))] == ['band "buck"']
    assert fused(lined(None, None, None), fuse_a=F(1)) == []
    assert fused(lined(9.0, 9.0, 9.0), fuse_a2s=F(1)) == []
    assert list(fuses(lined(9.0, 9.0, 9.0))) == []
    bridged = replace(lined(1.0, 1.0, 1.0), bridges=(bridge("K", 1.0),))
    assert fused(bridged, cutout_c=F(90)) == []


@pytest.mark.parametrize(("melts", "told"), [("10.5", True), ("10.6", False)])
def test_the_inrush_of_the_load_through_the_fuse(melts: str, told: bool) -> None:
    """In boost the inlet carries 460/400 of 40 A, a peak of 46 A: 46^2/2 over 10 ms of 50 Hz are 10.58 A2s."""
    made = plain().design
    rush = changed(lined(1.0, 1.0, 1.0), output=replace(made.output, inrush_a=F(40)))
    found = fused(rush, fuse_a2s=F(melts))
    assert [(one.severity, one.where) for one in found] == ([(Severity.FAULT, "protection")] if told else [])
    if told:
        shown = found[0].witness
        assert float(shown.current_a) == pytest.approx(46, rel=1e-4)
        assert float(shown.lets_a2s) == pytest.approx(10.58, rel=1e-3)
        assert shown.melts_a2s == F(melts)
    assert fused(rush, fuse_a=F(9)) == []
    assert fused(lined(1.0, 1.0, 1.0), fuse_a2s=F(1, 1000)) == []


def test_the_slowest_cycle_of_the_mains_lets_most_through() -> None:
    """At 45 Hz half a cycle is 11.1 ms: 11.76 A2s."""
    made = plain().design
    slow = replace(made.mains, frequency_hz=(F(45), F(55)))
    rush = changed(lined(1.0, 1.0, 1.0), output=replace(made.output, inrush_a=F(40)), mains=slow)
    (one,) = fused(rush, fuse_a2s=F(11))
    assert float(one.witness.lets_a2s) == pytest.approx(46**2 / 2 / 90, rel=1e-3)


def bridge(label: str, line: float | None, section: float | None = 100.0, place: int = 0) -> Bridge:
    return Bridge(label, plain().bands[place].row, 200.0, section, line)


def seen(*bridges: Bridge, **protection: Any) -> list[Finding]:
    return fused(replace(lined(1.0, 1.0, 1.0), bridges=bridges), **protection)


@pytest.mark.parametrize(("line", "told"), [(20.0, False), (19.9, True), (20.1, False)])
def test_a_bridge_of_which_the_inlet_carries_less_than_twice_the_rating_is_hardly_seen(
    line: float, told: bool
) -> None:
    found = seen(bridge("K", line), fuse_a=F(10))
    assert [(one.severity, one.where) for one in found] == ([(Severity.WARNING, "K bridged")] if told else [])
    if told:
        shown = found[0].witness
        assert (shown.bands, shown.input_v, shown.section_a) == (("boost",), 200, 100)
        assert (shown.current_a, shown.limit_a, shown.melts_s) == (F("19.9"), 10, None)


@pytest.mark.parametrize(("line", "told"), [(20.0, False), (19.9, True), (20.1, False)])
def test_where_the_melting_is_stated_it_decides_and_not_the_rating(line: float, told: bool) -> None:
    """40 A2s melt in a tenth of a second at 20 A. The rating alone would have told the contrary, both ways."""
    for rated in (F(1), F(15)):
        found = seen(bridge("K", line), fuse_a=rated, fuse_a2s=F(40))
        assert bool(found) is told
        if told:
            assert float(found[0].witness.melts_s) == pytest.approx(40 / 19.9**2)
            assert found[0].witness.limit_a == rated


def test_a_bridge_of_which_the_inlet_sees_nothing_never_melts_the_fuse() -> None:
    (one,) = seen(bridge("K", 0.0), fuse_a2s=F(40))
    assert one.witness.melts_s > 10**9
    assert one.witness.limit_a is None


def test_of_each_pole_the_bridge_seen_least_is_told_and_unknown_ones_are_passed_over() -> None:
    bridges = (
        bridge("K", None),
        bridge("K", 9.0, place=0),
        bridge("L", 7.0, place=1),
        bridge("K", 8.0, place=2),
        bridge("K", 8.5, place=1),
        bridge("K", None),
        bridge("M", None),
        bridge("N", 1.0, section=None),
        bridge("L", 7.0, place=2),
    )
    found = seen(*bridges, fuse_a=F(5))
    assert [(one.where, one.witness.bands, one.witness.current_a) for one in found] == [
        ("K bridged", ("buck",), 8),
        ("L bridged", ("direct",), 7),
    ]


@pytest.mark.parametrize(("cutout", "told"), [(90, True), (91, False), (89, True), (None, False)])
def test_a_cut_out_opens_at_the_temperature_stated(cutout: int | None, told: bool) -> None:
    """30 degrees around and 60 K."""
    found = heated(plain(), {"rise_k": 20.0}, {"rise_k": 60.0}, {})
    found = changed(found, core=Core(ambient_c=F(30)))
    found = replace(found, iron=iron_of(found.design))
    guarded = changed(found, protection=Protection(cutout_c=None if cutout is None else F(cutout), fuse_a=F(99)))
    shown = list(cutout_trips(guarded))
    assert [(one.severity, one.where) for one in shown] == ([(Severity.WARNING, 'band "direct"')] if told else [])
    assert list(cutout_trips(found)) == []  # no protection at all
