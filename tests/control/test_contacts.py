"""Kinds of contact, worked by hand: what makes before it breaks, and what changes over in no time."""

from __future__ import annotations

import pytest

from tapplan.answers.moves import moves
from tapplan.answers.steps import steps
from tapplan.checks.finding import Severity
from tapplan.checks.review import Review, review
from tapplan.checks.rules import findings_in
from tapplan.checks.witnesses.moving import ShortPassed
from tapplan.design.file import parse
from tapplan.errors import DesignError
from tapplan.network.circuit import Position
from tapplan.pages.live import live
from tapplan.pictures.schematic import schematic

# 50 turns above a line on 500: driven 1.1, at rest 1. Read over one cycle of 20 ms, confirmed for 40 ms.
STAGE = """
format = 1
title = "One relay, two taps"
[mains]
nominal_v = 230
range_v = [190, 250]
frequency_hz = 50
[output]
nominal_v = 230
window_v = [205, 255]
[terminals]
line = "L"
neutral = "N"
output = "OUT"
[[winding]]
name = "main"
ends = ["N", "L"]
turns = 500
[[winding]]
name = "step"
ends = ["L", "B"]
turns = 50
[[relay]]
name = "K"
com = "OUT"
nc = "L"
no = "B"
operate_ms = 10
release_ms = 10
transfer_ms = [1, 3]
bounce_ms = 2
[sensing]
confirm_ms = 40
noise_v = 1
[[band]]
name = "up"
energised = ["K"]
hold_v = [185, 222]
[[band]]
name = "straight"
energised = []
hold_v = [216, 252]
"""
MAKING = STAGE.replace("bounce_ms = 2", 'bounce_ms = 2\ncontact = "make-before-break"')
AT_ONCE = STAGE.replace("transfer_ms = [1, 3]", "transfer_ms = 0").replace("bounce_ms = 2", "bounce_ms = 0")


def reviewed(text: str) -> Review:
    return review(parse(text, "x.toml"))


def gaps(text: str) -> set[float]:
    return {float(one.gap_ms) for one in moves(reviewed(text)).moves}


def test_a_relay_left_as_it_is_breaks_first() -> None:
    assert not parse(STAGE).relays[0].makes_first
    assert parse(MAKING).relays[0].makes_first
    assert gaps(STAGE) == {3 + 2}


def test_between_taps_it_shorts_the_turns_that_it_joins_whatever_the_order() -> None:
    """From the first touch, through the bounce of up to 2 ms and the 3 ms that both are closed: 5 ms."""
    made = reviewed(MAKING)
    found = findings_in(made, ["race-short"])
    assert {one.severity for one in found} == {Severity.FAULT}
    assert [one.where for one in found] == ['"up" to "straight"', '"straight" to "up"', 'start into "up"']
    for one in found:
        assert isinstance(one.witness, ShortPassed)
        assert (one.witness.positions, one.witness.lasts_ms) == ((Position.BRIDGED,), 5)
        assert one.message.startswith("with K bridged, turns are shorted")
    assert findings_in(reviewed(STAGE), ["race-short"]) == []


def test_the_load_is_never_on_an_open_contact_and_keeps_the_old_tap_until_the_new_one_is_still() -> None:
    """Up to 20 ms of window, 40 to confirm, 10 to pull in and 2 of bounce: the line at 250 V stands at 275 V."""
    made = reviewed(MAKING)
    assert findings_in(made, ["move-gap"]) == []
    worst = next(one for one in steps(made).steps if one.output_v == 275)
    assert worst.lasts_ms == 20 + 40 + 10 + 2
    breaking = next(one for one in steps(reviewed(STAGE)).steps if one.output_v == 275)
    assert breaking.lasts_ms == 20 + 40 + 10


def test_between_points_of_one_potential_it_shorts_nothing_and_leaves_no_gap() -> None:
    """A second winding of as many turns beside the step: with both throws closed the two stand in parallel."""
    twin = '\n[[winding]]\nname = "twin"\nends = ["L", "C"]\nturns = 50\n[[relay]]'
    text = STAGE.replace("\n[[relay]]", twin).replace('nc = "L"', 'nc = "C"')
    assert gaps(text) == {5}
    making = text.replace("bounce_ms = 2", 'bounce_ms = 2\ncontact = "make-before-break"')
    assert gaps(making) == {0}
    (back, *_) = moves(reviewed(making)).moves
    assert (back.shorted, back.without_ratio, back.met) == (0, 0, "ratios 1.1")


def test_it_needs_both_throws() -> None:
    with pytest.raises(DesignError) as caught:
        parse(MAKING.replace('no = "B"\n', ""), "x.toml")
    assert 'relay[1].contact: found "make-before-break" on a pole with nc alone; accepted: nc and no' in str(
        caught.value
    )
    with pytest.raises(DesignError, match='found "make"; accepted: "break-before-make" or "make-before-break"'):
        parse(MAKING.replace("make-before-break", "make"))


def test_the_page_draws_it_on_both_throws_while_it_flies_and_says_so_beside_the_symbol() -> None:
    told = "K, makes before it breaks"
    for text, first in ((STAGE, False), (MAKING, True)):
        made = reviewed(text)
        assert {one["makes_first"] for one in live(made)["contacts"]} == {first}
        assert (told in schematic(made.circuit, made.circuit.state(())).as_svg()) == first


def test_a_throw_of_semiconductors_is_never_on_nothing_and_passes_nothing() -> None:
    """No transfer and no bounce: the old tap until 20 + 40 + 10 ms after a step, and then the new one."""
    made = reviewed(AT_ONCE)
    assert {(one.met, one.gap_ms, one.takes_ms) for one in moves(made).moves} == {("-", 0, 10)}
    assert findings_in(made, ["move-gap", "race-short", "race-dip", "race-overvoltage", "flight-inrush"]) == []
    found = steps(made).steps
    assert {(one.output_v, one.lasts_ms) for one in found} == {(275, 70), (190, 70), (190, 30)}
    for one in found:
        assert all(phase.output_v.low >= 190 for phase in one.phases), "no phase of it is on nothing"
