"""Which promises a design makes, part by part, and their margins by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.promises import APPLIES, MEASURES, Promise, promises
from tapplan.checks.review import review
from tapplan.checks.rules import CODES
from tapplan.design.model import (
    Backup,
    Battery,
    CoilSupply,
    Copper,
    Core,
    Design,
    Feed,
    Limits,
    Protection,
    Sensing,
)
from tests.checks.test_rules import BANDS, FORMER, LOADED, SENSED, band, counting, rated_by, sound
from tests.examples import PAIR, TAPPED

F = Fraction
ALWAYS = {
    *("uncovered-range", "dead-zone", "out-of-window", "shorted-state", "floating-state", "unfed-state"),
    *("dead-state", "reversed-state", "unsafe-rest"),
}
SEVERAL = {"chatter", "wrong-way", "hunting"}
RACE = {"race-short"}  # of two relays
BACKUP = Backup(leave_v=(F(161), F(248)), return_v=(F(165), F(244)))
FEED = Feed(name="inverter", winding="base", volts_v=(F(8), F(10)))


def applying(made: Design) -> set[str]:
    return {code for code, applies in APPLIES.items() if applies(made)}


PARTS: list[tuple[Design, set[str]]] = [
    (sound(), set()),
    (replace(sound(), backup=BACKUP), {"stranded", "backup-cycling"}),
    (sound(sensing=Sensing(at="output")), {"blind-reading"}),
    (sound(sections=(*TAPPED, ("aux", "S1", "S2", (9, "another core")))), {"undetermined-state"}),
    (counting(sound()), {"lost-in-counts", "error-budget", "converter-range"}),
    (replace(sound(), feeds=(FEED,)), {"backfeed", "feed-out-of-window"}),
    (replace(sound(), output=LOADED), {"load-collapse"}),
    (
        replace(sound(), output=LOADED, copper=Copper(density_a_mm2=F(3))),
        {"load-collapse", "over-load", "over-current"},
    ),
    (rated_by(sound(), output=LOADED, contact_a=F(5)), {"load-collapse", "over-load", "contact-overload"}),
    (rated_by(sound(), output=LOADED, contact_v=F(5)), {"load-collapse", "contact-overload"}),
    (rated_by(sound(), contact_a=F(5)), {"contact-overload"}),
    (rated_by(sound(), contact_make_a=F(5)), {"make-overload"}),
    (replace(sound(), copper=Copper(density_a_mm2=F(3))), {"over-current"}),
    (replace(sound(), core=Core()), set()),
    (replace(sound(), core=Core(flux_limit_t=F(1))), {"over-flux"}),
    (replace(sound(), core=Core(fill_limit=F(1))), {"window-full"}),
    (replace(sound(), core=Core(), former=FORMER), {"window-full"}),
    (replace(sound(), former=FORMER), set()),
    (replace(sound(), coil_supply=CoilSupply(winding="base")), {"coil-starved"}),
    (replace(sound(), protection=Protection(fuse_a=F(2))), {"fuse-overload"}),
    (replace(sound(), protection=Protection(cutout_c=F(90))), set()),
    (replace(sound(), output=replace(sound().output, tolerance_curve="iti-2000")), {"slow-recovery"}),
    (replace(sound(), battery=Battery(winding="base", float_v=(F(1), F(2)), charger="step-down")), {"charger-reach"}),
    (replace(sound(), battery=Battery(winding="base", float_v=(F(1), F(2)), charger="boost")), set()),
]


@pytest.mark.parametrize(("made", "more"), PARTS, ids=range(len(PARTS)))
def test_each_part_of_a_design_brings_its_promises(made: Design, more: set[str]) -> None:
    assert applying(made) == ALWAYS | SEVERAL | RACE | more


def test_one_band_has_no_neighbour_and_one_relay_no_race() -> None:
    assert applying(sound(bands=BANDS[1:2])) == ALWAYS | RACE
    assert applying(sound(bands=[])) == ALWAYS | SEVERAL | RACE  # the bands are still to be chosen
    assert applying(sound(links={"KO": PAIR["KO"]}, bands=[BANDS[1], ("up", ["KO"], 165, 191)])) == ALWAYS | SEVERAL


def test_a_rating_of_one_relay_or_of_several_is_a_promise() -> None:
    first, second = sound().relays
    assert "contact-overload" in applying(replace(sound(), relays=(first, replace(second, contact_a=F(1)))))
    assert "over-load" in applying(replace(sound(), output=LOADED, relays=(first, replace(second, contact_a=F(1)))))


def test_promises_stand_in_the_order_of_the_codes_and_a_fault_brings_its_own() -> None:
    limited = review(replace(sound(), limits=Limits(move_gap_ms=F(1))))
    plain, broken = list(promises(limited, ())), list(promises(limited, {"move-gap", "chatter"}))
    order = list(CODES)
    assert [one.code for one in broken] == sorted((one.code for one in broken), key=order.index)
    assert {one.code for one in broken} - {one.code for one in plain} == {"move-gap"}
    assert {one.code for one in broken if not one.held} == {"move-gap", "chatter"}
    assert all(one.held for one in plain)
    assert Promise("move-gap", held=False) in broken
    assert {one.code for one in plain if one.margin is not None} == {"out-of-window", "chatter", "dead-zone"}


# --- margins ---


def margin(made: Design, code: str) -> tuple[Fraction, str] | None:
    found = MEASURES[code](review(made))
    return None if found is None else (found.margin, found.where)


def lasting(*holds: tuple[object, object], **changes: Any) -> Design:
    rows = [(name, driven, *hold) for (name, driven, *_), hold in zip(BANDS, holds, strict=True)]
    return sound(bands=rows, **changes)


@pytest.mark.parametrize(
    ("low", "told"),
    [(187, (3, "boost 2", "boost 1")), (188, (2, "boost 2", "boost 1")), (190, (0, "boost 2", "boost 1")),
     ("190.5", (F(-1, 2), "boost 2", "boost 1")), (191, (-1, "boost 2", "boost 1")),
     ("191.5", (3, "boost 1", "direct"))],
)  # fmt: skip
def test_the_least_overlap_beside_the_noise_of_those_that_overlap(low: object, told: tuple[Any, str, str]) -> None:
    """1 V of noise; from 191 V on the first pair touches, and beyond it parts, which is a dead zone and only that."""
    assert margin(sound(bands=band(1, low=low)), "chatter") == (told[0], f'bands "{told[1]}" and "{told[2]}"')
    assert margin(sound(bands=BANDS[1:2]), "chatter") is None


@pytest.mark.parametrize(
    ("holds", "told"),
    [
        (((165, 191), (187, 216), (212, 244)), (F("0.82"), 'below band "boost 2"')),
        (((160, 191), (187, 216), (212, 244)), (F("1.1"), 'above band "direct"')),
        (((160, 191), (187, 216), (212, 242)), (F("-0.9"), 'above band "direct"')),
        (((167, 191), (187, 216), (212, 244)), (F("-1.18"), 'below band "boost 2"')),
        (((160, 191), (194, 216), (212, 250)), (-3, 'bands "boost 2" and "boost 1"')),
        (((160, 191), (194, 207), (212, 250)), (-5, 'bands "boost 1" and "direct"')),
        (((100, 150), (152, 216), (212, 244)), (F("1.1"), 'above band "direct"')),
        (((100, 110), (125, 216), (212, 243)), (F("0.1"), 'above band "direct"')),
    ],
)
def test_what_is_held_beyond_the_readings_of_promised_inputs(holds: Any, told: tuple[Fraction, str]) -> None:
    """168 V can be read as 165.82 V, 240 V as 242.9 V; where the bands part among these, the margin is below nought.

    A part without bands at 150 to 152 V, or 110 to 125 V, is none that a promised input is read in.
    """
    assert margin(lasting(*holds), "dead-zone") == told


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [(165, 244, (F("0.82"), "low")), (160, 244, (F("1.1"), "high")), (170, 250, (F("-4.18"), "low")),
     (160, 240, (F("-2.9"), "high"))],
)  # fmt: skip
def test_a_return_beside_the_readings_of_promised_inputs(low: int, high: int, told: tuple[Fraction, str]) -> None:
    backup = Backup(leave_v=(F(50), F(600)), return_v=(F(low), F(high)))
    assert margin(sound(backup=backup), "stranded") == (told[0], f"return_v, {told[1]} side")
    assert margin(sound(), "stranded") is None


def test_the_least_margin_of_the_window() -> None:
    """Direct at its low end: 211.5 V read 1 % high are 209.41 V. Without bands there is none."""
    assert margin(sound(), "out-of-window") == (F("211.5") / F("1.01") - 207, 'band "direct" at 209.41 V')
    exact = sound(sensing=replace(SENSED, error_pct=F(0), noise_v=F(0)), bands=band(2, low=207))
    assert margin(exact, "out-of-window") == (0, 'band "direct" at 207 V')
