"""The picture of a step as text: columns in log time, rows in percent, by hand for a step of three phases."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from tapplan.answers.steps import Drawing
from tapplan.control.response import Phase
from tapplan.design.standards import Curve
from tapplan.exact import Span
from tapplan.pages.screens.envelope import DECADES, HEIGHT, envelope

F = Fraction
FLAT = Curve("flat", "x", upper=((F(0), F(150)),), lower=((F(0), F(50)),), source="", seen="", note="")
BARE = Curve("bare", "x", upper=(), lower=(), source="", seen="", note="")


def phase(begin: int, until: int, low: int, high: int) -> Phase:
    return Phase("unnoticed", F(begin), F(until), Span(F(low), F(high)))


def picture(*phases: Phase, settled: Span | None = None, curve: Curve = BARE, width: int = 48) -> list[str]:
    """At 100 V nominal percent are volts."""

    class Response:
        def __init__(self) -> None:
            self.phases = phases

    response: Any = Response()
    return envelope(Drawing(response, settled, curve, F(100), ""), width)


def rows(lines: list[str]) -> list[str]:
    return [line[7:].ljust(40) for line in lines[:HEIGHT]]


def test_rows_are_a_sixteenth_of_the_top_and_every_fourth_is_labelled() -> None:
    """At the least 200 %; each row 12.5 %."""
    lines = picture()
    assert [line[:7] for line in lines[:HEIGHT]] == [
        f"{label:>5} |" for place in range(17) for label in [f"{200 - 12.5 * place:.0f} %" if place % 4 == 0 else ""]
    ]  # fmt: skip
    assert lines[HEIGHT] == "      +" + "-" * 40
    assert len(lines) == HEIGHT + 2
    tall = picture(phase(0, 10, 0, 400))
    assert tall[0].startswith("400 % |#")
    assert tall[4].startswith("300 % |")


def test_ticks_stand_at_their_decade_and_the_last_ends_with_the_picture() -> None:
    ticks = picture(width=88)[-1]
    assert {name: ticks.index(name) for name in ("1 ms", "10 ms", "100 ms", "1 s")} == {
        "1 ms": 7, "10 ms": 27, "100 ms": 47, "1 s": 67,
    }  # fmt: skip
    assert ticks.endswith("10 s")
    assert len(ticks) == 7 + 80


@pytest.mark.parametrize("width", [10, 47, 48])
def test_a_picture_has_forty_columns_at_the_least(width: int) -> None:
    assert picture(width=width)[HEIGHT] == "      +" + "-" * 40
    assert picture(width=60)[HEIGHT] == "      +" + "-" * 52


def test_phases_stand_until_they_end_and_then_what_settled() -> None:
    """Ten columns a decade from 1 ms: to 10 ms at 100 %, to 1 s at 50 to 75 %, then 100 to 125 %."""
    lines = rows(picture(phase(0, 10, 100, 100), phase(10, 1000, 50, 75), settled=Span(F(100), F(125))))
    assert lines[8] == "#" * 10 + " " * 20 + "#" * 10
    assert lines[6] == lines[7] == " " * 30 + "#" * 10
    assert lines[10] == lines[11] == lines[12] == " " * 10 + "#" * 20 + " " * 10
    assert lines[9] == lines[13] == " " * 40
    assert DECADES == 4
    gone = rows(picture(phase(0, 10, 100, 100)))
    assert gone[8] == "#" * 10 + " " * 30


def test_a_column_stands_for_the_middle_of_its_stretch() -> None:
    """The first of ten columns of a decade stands for 10^0.05 ms, 1.122; the second for 10^0.15, 1.413."""
    brief = Phase("unnoticed", F(0), F("1.122"), Span(F(100), F(100)))
    shorter = Phase("unnoticed", F(0), F("1.121"), Span(F(100), F(100)))
    assert rows(picture(brief))[8].count("#") == 1
    assert rows(picture(shorter))[8].count("#") == 0
    longer = Phase("unnoticed", F(0), F("1.413"), Span(F(100), F(100)))
    assert rows(picture(longer))[8].count("#") == 2


def test_limits_are_dashed_and_crossed_where_the_output_meets_them() -> None:
    lines = rows(picture(phase(0, 10, 50, 100), settled=Span(F(150), F(150)), curve=FLAT))
    assert lines[4] == "-" * 10 + "X" * 30
    assert lines[12] == "X" * 10 + "-" * 30
    assert lines[8] == "#" * 10 + " " * 30
    assert not any(mark in line for line in rows(picture()) for mark in "#-X")


@pytest.mark.parametrize(("percent", "drawn"), [(200, True), (201, False)])
def test_a_limit_above_the_picture_is_left_out(percent: int, drawn: bool) -> None:
    high = Curve("high", "x", upper=((F(0), F(percent)),), lower=(), source="", seen="", note="")
    assert any("-" in line for line in rows(picture(curve=high))) is drawn


def test_an_output_below_nought_stands_at_the_bottom() -> None:
    lines = rows(picture(phase(0, 10, -50, -20)))
    assert lines[16] == "#" * 10 + " " * 30


def test_an_end_stands_in_the_row_whose_middle_is_nearest() -> None:
    """Rows stand for 100 and 87.5 %; half way is 93.75 %, and 106.25 % to the one above."""
    for low, high, wanted in (("93.8", 100, [8]), ("93.7", 100, [8, 9]), (100, "106.2", [8]), (100, "106.3", [7, 8])):
        span = Span(F(low), F(high))
        lines = rows(picture(Phase("unnoticed", F(0), F(10), span)))
        assert [place for place, line in enumerate(lines) if "#" in line] == wanted
