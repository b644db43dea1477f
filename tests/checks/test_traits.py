"""Figures from rows put in by hand: which row is the worst, what it is worth, and when a stated limit is broken."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review
from tapplan.checks.traits import Trait, past_limits, traits_of
from tapplan.checks.witnesses.file import PastLimit
from tapplan.checks.witnesses.moving import OpenLine, OpenOutput, RatioPassed, ShortPassed, SuddenStep
from tapplan.checks.witnesses.states import RestOutput, ShortedRest, StuckShort
from tapplan.design.model import Limits
from tests.checks.test_rules import sound

F = Fraction
MOVE: dict[str, Any] = {"energised": (), "states": ((), ("K",))}
MIXED: dict[str, Any] = {**MOVE, "movers": ("K",), "positions": ()}


@cache
def reviewed() -> Review:
    """230 V nominal, a window of 207 to 253 V."""
    limits = Limits(
        move_gap_ms=F(20), surge_v=F(300), dip_v=F(100), flux_factor=F(2), stuck_shorts=F(1), rest_v=F(276)
    )
    return review(replace(sound(), limits=limits))


def row(code: str, place: str, witness: Any) -> Finding:
    return Finding(code, Severity.WARNING, place, witness)


def gap(place: str, lasts: int) -> Finding:
    return row("move-gap", place, OpenOutput(**MOVE, movers=("K",), lasts_ms=F(lasts), assumed=()))


def passed(code: str, place: str, output: int, lasts: int = 10) -> Finding:
    return row(
        code,
        place,
        RatioPassed(
            **MIXED,
            ratio=F(1),
            input_v=F(output),
            output_v=F(output),
            limit_v=F(230),
            factor=F(output, 230),
            lasts_ms=F(lasts),
        ),
    )


def step(place: str, side: Any, output: int, lasts: int) -> Finding:
    shown = SuddenStep(
        bands=("a", "b"),
        side=side,
        curve="itic",
        input_v=F(output),
        output_v=F(output),
        factor=F(output, 230),
        lasts_ms=F(lasts),
        limit_ms=F(1),
        allowed_pct=F(100),
        count=1,
    )
    return row("slow-recovery", place, shown)


def rest(place: str, factor: str) -> Finding:
    return row(
        "unsafe-rest", place, RestOutput(ratio=F(1), input_v=F(230), output_v=230 * F(factor), factor=F(factor))
    )


def only(*rows: Finding) -> Trait:
    (found,) = traits_of(reviewed(), list(rows))
    return found


def test_the_longest_gap_is_the_figure_and_stands_where_it_is_longest() -> None:
    found = only(gap("x", 12), gap("y", 31), gap("z", 30))
    assert (found.value, found.unit, found.where, found.verb) == (31, "ms", "y", "moves")
    assert (found.rows, found.lasts_ms, found.limit, found.side, found.harm) == (3, 31, 20, "", 0)
    assert found.broken


def test_a_dip_is_the_lowest_and_a_surge_the_highest_and_harm_is_counted_from_the_window() -> None:
    """107 V are 100 V under 207 V, for 20 ms; 263 V are 10 V over 253 V, for 30 ms."""
    dip = only(passed("race-dip", "x", 150), passed("race-dip", "y", 107, 20), passed("race-dip", "z", 140))
    assert (dip.value, dip.where, dip.limit, dip.lasts_ms, dip.harm) == (107, "y", 100, 20, 2000)
    assert not dip.broken
    surges = (passed("race-overvoltage", "x", 255), passed("race-overvoltage", "y", 263, 30))
    surge = only(*surges, passed("race-overvoltage", "z", 260))
    assert (surge.value, surge.where, surge.limit, surge.harm, surge.verb) == (263, "y", 300, 300, "moves")
    assert only(passed("race-overvoltage", "x", 250)).harm == 0  # inside the window
    assert only(passed("race-dip", "x", 250)).harm == 0
    assert only(passed("race-dip", "x", 107, 0)).harm == 0  # over at once


def test_sudden_steps_are_figures_of_their_side() -> None:
    found = traits_of(
        reviewed(), [step("x", "over", 260, 5), step("y", "under", 200, 40), step("z", "over", 273, 7), gap("m", 1)]
    )
    assert [(one.code, one.side, one.value, one.where, one.rows) for one in found] == [
        ("slow-recovery", "over", 273, "z", 2),
        ("slow-recovery", "under", 200, "y", 1),
        ("move-gap", "", 1, "m", 1),
    ]
    assert [one.harm for one in found] == [20 * 7, 7 * 40, 0]
    assert {one.verb for one in found[:2]} == {"steps"}
    assert [one.limit for one in found] == [None, None, 20]


def test_counted_figures_are_as_many_as_their_rows() -> None:
    short = ShortPassed(**MIXED, count=4, lasts_ms=F(3))
    moves = only(row("race-short", "x", short), row("race-short", "y", replace(short, lasts_ms=F(9))))
    assert (moves.value, moves.unit, moves.rows, moves.where, moves.limit) == (2, "moves", 2, "x", None)
    assert moves.lasts_ms == 3
    stuck = StuckShort(bands=("a",), energised=())
    faults = only(*(row("stuck-short", place, stuck) for place in "xyz"))
    assert (faults.value, faults.unit, faults.limit, faults.lasts_ms, faults.broken) == (3, "faults", 1, None, True)


def test_the_flux_after_an_open_line_is_a_factor() -> None:
    line = OpenLine(**MOVE, lasts_ms=F(8), factor=F("1.9"), assumed=())
    found = only(row("flight-inrush", "x", line), row("flight-inrush", "y", replace(line, factor=F("1.7"))))
    assert (found.value, found.unit, found.where, found.limit, found.broken) == (F("1.9"), "x flux", "x", 2, False)
    assert found.lasts_ms == 8


def test_a_rest_state_is_worst_where_it_is_farthest_from_nominal() -> None:
    """276 V stated are 1.2 times 230 V. An output of nought is farther off than 1.25, one reversed still more."""
    assert (only(rest("x", "1.25")).value, only(rest("x", "1.25")).limit) == (F("1.25"), F("1.2"))
    found = only(rest("x", "1.25"), rest("y", "0"), rest("z", "0.9"))
    assert (found.value, found.where, found.rows) == (0, "y", 3)
    assert only(rest("x", "0"), rest("y", "-0.5"), rest("z", "1.9")).where == "y"
    assert only(rest("x", "0.9"), rest("y", "1.25"), rest("z", "1.1")).where == "y"


def test_without_a_value_there_is_no_figure() -> None:
    assert traits_of(reviewed(), [row("unsafe-rest", "x", ShortedRest())]) == []
    assert [one.code for one in traits_of(reviewed(), [row("unsafe-rest", "x", ShortedRest()), gap("y", 1)])] == [
        "move-gap"
    ]
    mixed = only(row("unsafe-rest", "x", ShortedRest()), rest("y", "1.1"))
    assert (mixed.value, mixed.where, mixed.rows) == (F("1.1"), "y", 2)


def test_without_limits_in_the_file_no_figure_has_one() -> None:
    plain = review(sound())
    rows = [gap("x", 99), passed("race-dip", "y", 1), passed("race-overvoltage", "z", 999), rest("r", "9")]
    found = traits_of(plain, rows)
    assert [one.limit for one in found] == [None] * 4
    assert past_limits(found) == []


@pytest.mark.parametrize(
    ("code", "value", "side"),
    [
        ("race-dip", 99, "under"),
        ("race-dip", 100, None),
        ("race-dip", 101, None),
        ("move-gap", 101, "over"),
        ("move-gap", 100, None),
        ("move-gap", 99, None),
    ],
)
def test_a_dip_breaks_its_limit_from_below_and_all_else_from_above(code: str, value: int, side: str | None) -> None:
    trait = Trait(code, F(value), "V", "here", "moves", 1, F(7), F(100))
    assert trait.broken is (side is not None)
    assert not replace(trait, limit=None).broken
    found = past_limits([trait, replace(trait, limit=None)])
    assert [(one.code, one.severity, one.where) for one in found] == (
        [] if side is None else [(code, Severity.FAULT, "here")]
    )
    if side is not None:
        assert found[0].witness == PastLimit(value=F(value), unit="V", limit=F(100), side=side, lasts_ms=F(7))
