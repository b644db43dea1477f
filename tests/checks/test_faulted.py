"""What a row of the fault table says of itself: shorted, too high, harmless."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tapplan.checks.faulted import FaultRow, fault_table
from tapplan.checks.review import review
from tapplan.exact import Span
from tests.checks.test_rules import sound

F = Fraction


def rows() -> list[FaultRow]:
    return fault_table(review(sound()))


def one(part: str, fault: str, band: str) -> FaultRow:
    return next(row for row in rows() if (row.fault.part, str(row.fault.fault), row.row.name) == (part, fault, band))


def test_a_boost_that_stays_in_while_the_line_is_normal_is_too_high() -> None:
    """KL stuck at rest in direct leaves 258/200 of up to 240 V on the load."""
    row = one("KL", "stuck-rest", "direct")
    assert row.output is not None
    assert (row.output.high, row.too_high, row.shorts, row.harmless) == (F(129, 100) * 240, True, False, False)


def test_an_output_at_the_windows_very_end_is_not_too_high() -> None:
    row = one("KL", "stuck-rest", "direct")
    assert not replace(row, output=Span(F(230), row.window.high)).too_high
    assert replace(row, output=Span(F(230), row.window.high + F(1, 1000))).too_high


def test_an_output_too_low_or_none_at_all_is_not_too_high() -> None:
    row = one("KL", "stuck-rest", "direct")
    assert not replace(row, output=Span(F(100), F(120))).too_high
    assert not replace(row, output=None).too_high
    assert not replace(row, away=True).too_high


def test_a_short_is_told_as_a_short_and_not_as_too_high() -> None:
    row = one("KL", "bridged", "direct")
    assert (row.shorts, row.too_high, row.harm[0]) == (True, False, 0)


def test_rows_too_high_stand_after_the_shorts_and_before_all_others() -> None:
    order = [(not row.shorts, not row.too_high) for row in rows()]
    assert order == sorted(order)
    assert {row.too_high for row in rows()} == {True, False}
    assert {row.harm[0] for row in rows() if row.too_high} == {1}
