"""How likely a reading is: cells as wide as the meter's error, what is open counted once, and a little beyond it."""

from __future__ import annotations

from fractions import Fraction
from math import log

import pytest

from tapplan.bench.measures import Condition, Measure
from tapplan.bench.meter import BEYOND, KNOWN, MISREAD, SHARP, Meter
from tapplan.bench.values import ANY, EITHER, NO, YES
from tapplan.exact import Span

F = Fraction
METER = Meter()
VOLTS = Measure(Condition("line", None, None, F(230), "rising"), "volts", ("OUT", "N"))
OHMS = Measure(Condition("off", frozenset()), "ohms", ("A", "B"))


def likely(value: int, *spans: Span) -> object:
    return METER.likely(VOLTS, METER.widened(VOLTS, spans), F(value))


def test_what_is_foretold_is_no_likelier_the_narrower_it_is() -> None:
    for width in (0, 2, 10):
        found = likely(230, Span(F(230), F(230 + width)))
        assert (found.first, found.later, found.open, found.fits) == (1 / SHARP, 1 / SHARP, False, True)


def test_what_is_left_open_counts_once() -> None:
    found = METER.likely(VOLTS, ANY, F(230))
    assert found.open
    assert found.first == pytest.approx(1 / METER.cells(VOLTS, ANY[0]))
    assert found.later == KNOWN > found.first


def test_cells_are_as_wide_as_the_error_to_either_side() -> None:
    """From 0 to 600 V with 2 % and 1 V: the integral of 1/(2 (1 + 0.02 v)), worked by hand: 25 ln 13 = 64.1."""
    assert METER.cells(VOLTS, Span(F(0), F(600))) == pytest.approx(25 * log(13))
    assert METER.cells(VOLTS, Span(F(0), F(10**12))) == METER.cells(VOLTS, Span(F(0), F(600)))
    assert METER.cells(OHMS, Span(F(10**6), F(10**12))) == 1  # open is open
    assert METER.cells(VOLTS, Span(F(5), F(5))) == 1


def test_just_beyond_the_error_is_less_likely_and_farther_a_slip() -> None:
    """230 V reads 224.4 to 235.6 within 2 % and 1 V; 238 is within that much again, 245 is not."""
    inside, beyond, away = (likely(value, Span(F(230), F(230))) for value in (235, 238, 245))
    assert inside.fits
    assert not beyond.fits
    assert beyond.first == pytest.approx(BEYOND * inside.first)
    assert away.first == 0


def test_yes_and_no_have_no_cells_between_them() -> None:
    drive = Measure(VOLTS.condition, "drive", ("K",))
    assert METER.likely(drive, YES, F(1)).first == 1
    assert METER.likely(drive, NO, F(1)).first == 0
    assert METER.likely(drive, EITHER, F(1)).first == 1 / 2
    assert METER.misread(drive) == MISREAD / 2


def test_of_several_spans_each_is_as_likely() -> None:
    found = likely(230, Span(F(230), F(230)), Span(F(100), F(100)))
    assert found.first == pytest.approx(1 / SHARP / 2)
