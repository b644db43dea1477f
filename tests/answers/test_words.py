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


def test_a_number_keeps_the_noughts_before_its_point() -> None:
    assert [words.number(F(value)) for value in (100, "100.5", "0.0004", "-0.25")] == ["100", "100.5", "0", "-0.25"]
    assert [words.number(F("120.04"), digits) for digits in (0, 1, 2)] == ["120", "120", "120.04"]
    assert words.number(F("1.23456")) == "1.235"
    assert words.span(Span(F("200.15"), F(300)), 3) == "200.15 - 300"
    assert words.percent(1) == "100.0 %"


def test_what_a_relay_does_in_words() -> None:
    assert (words.relays(()), words.relays(("K", "L"))) == ("none (all at rest)", "K, L")
    assert [words.position(one, ("K",)) for one in ("K", "L")] == ["energised", "rest"]
    assert [words.throw(one, ("K",)) for one in ("K", "L")] == ["NO", "NC"]


def test_a_made_up_log_is_told_by_the_first_words_of_how_it_was_made() -> None:
    assert words.made_up("trace day: seed 3: more") == "The log is made up (trace day): nothing here was measured."
