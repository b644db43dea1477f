"""What a row of the fault table says of itself: shorted, too high, harmless."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tapplan.checks.faulted import FaultRow, fault_table, stuck_parts
from tapplan.checks.review import review
from tapplan.checks.witnesses.states import StuckHigh
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


def test_an_output_that_fills_the_window_is_harmless_and_a_hair_more_is_not() -> None:
    row = one("KL", "stuck-rest", "direct")
    window, hair = row.window, F(1, 1000)
    assert replace(row, output=window).harmless
    assert not replace(row, output=Span(window.low - hair, window.high)).harmless
    assert not replace(row, output=Span(window.low, window.high + hair)).harmless
    assert not replace(row, output=None).harmless
    assert replace(row, output=None, away=True).harmless


def test_the_worst_stand_first() -> None:
    """Shorts, then too high by how much, then nothing at all, then too low by how much, then what does no harm."""
    row, shorted = one("KL", "stuck-rest", "direct"), one("KL", "bridged", "direct")
    outputs = [Span(F(230), F(300)), Span(F(230), F(260)), None, Span(F(90), F(100)), Span(F(150), F(160))]
    harmful = [shorted, *(replace(row, output=output) for output in outputs)]
    unharmed = [replace(row, output=row.window), replace(row, away=True)]
    assert [row.harm for row in harmful] == sorted({row.harm for row in harmful})
    assert len({row.harm for row in unharmed}) == 1
    assert max(row.harm for row in harmful) < unharmed[0].harm


def test_the_finding_of_a_part_that_surges_names_its_worst_band_by_hand() -> None:
    """KL stuck at rest: of all bands direct, 129/100 of 240 V, which is 309.6/230 of nominal."""
    found = {one.where: one.witness for one in stuck_parts(review(sound())) if one.code == "stuck-overvoltage"}
    assert found["KL stuck-rest"] == StuckHigh(
        bands=("direct",),
        energised=("KL", "KO"),
        ratio=F(129, 100),
        input_v=F(240),
        output_v=F("309.6"),
        limit_v=F(253),
        factor=F("309.6") / 230,
    )


def test_the_finding_of_a_part_that_shorts_names_every_band_in_which_it_does() -> None:
    found = {one.where: one.witness for one in stuck_parts(review(sound())) if one.code == "stuck-short"}
    shorting = [row.row.name for row in rows() if (row.fault.part, str(row.fault.fault)) == ("KL", "bridged")]
    assert sorted(shorting) == ["boost 1", "boost 2", "direct"]
    assert sorted(found["KL bridged"].bands) == sorted(shorting)
