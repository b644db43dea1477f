"""Figures in words: their digits, and a dash where there is none."""

from __future__ import annotations

from fractions import Fraction

from tapplan.answers import words
from tapplan.exact import Span

F = Fraction


def test_figures_have_the_digits_asked_for_and_no_trailing_zeros() -> None:
    assert [words.figure(1.23456), words.figure(1.5), words.figure(None), words.figure(float("nan"))] == [
        "1.23",
        "1.5",
        "-",
        "-",
    ]
    assert words.figure(1.23456, 0) == "1"
    assert words.span(None) == "-"
    assert words.span(Span(F(2001, 10), F(2345, 10))) == "200.1 - 234.5"
    assert words.span(Span(F(200), F(234)), 0) == "200 - 234"
    assert [words.percent(None), words.percent(0.1234)] == ["-", "12.3 %"]
    assert [words.ratio(None), words.ratio(F(2)), words.ratio(F(5, 4))] == ["-", "2", "5/4 = 1.2500"]
