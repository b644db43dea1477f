"""The controller's own counts by hand: an error beyond the one stated, a full converter, few counts between bands."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.budget import budget
from tapplan.checks.counted import converter_range, counts, error_budget, few_counts, lost_in_counts
from tapplan.checks.finding import Severity
from tapplan.checks.review import Review, review
from tapplan.control.counts import Converter, converter
from tapplan.control.table import control_table
from tapplan.design.model import Design, Sensing
from tests.checks.test_rules import SENSED, band, counting, sound

F = Fraction


def chained(made: Design, **parts: Any) -> tuple[Review, Converter]:
    one = counting(made, **parts)
    assert one.controller is not None
    return review(one), converter(one, one.controller)


def test_an_error_is_told_beyond_the_one_stated_and_a_fault_where_it_is_likely() -> None:
    """Stated is just the worst, then a little less, then less than the root of squares too."""
    made = counting(sound(), divider_pct=1)
    assert made.controller is not None
    found = budget(control_table(made), made.controller)
    likely = F(found.likely)
    assert found.worst > likely > 0
    for stated, severity in (
        (found.worst, None),
        (found.worst - F(1, 10**9), Severity.WARNING),
        (likely + F(1, 10**6), Severity.WARNING),
        (likely - F(1, 10**6), Severity.FAULT),
    ):
        one = replace(made, sensing=replace(SENSED, error_pct=100 * stated))
        told = list(error_budget(review(one), made.controller))
        assert [each.severity for each in told] == ([] if severity is None else [severity])
        for each in told:
            shown = each.witness
            assert (each.where, shown.worst_pct, shown.limit_pct) == ("controller", 100 * found.worst, 100 * stated)
            assert float(shown.likely_pct) == pytest.approx(100 * found.likely)
            assert shown.largest == "divider"
            assert shown.largest_pct == 100 * found.lines[0].worst > 100 * max(one.worst for one in found.lines[1:])


def reading(full: str = "400", per_volt: str = "1") -> Converter:
    """A converter that is full at some volts, with so many counts for one."""
    return Converter(F(per_volt), F(full))


@pytest.mark.parametrize(
    ("top", "full", "told"),
    [
        (244, "244", []),
        (244, "243.99", [244]),
        (242, "242.9", []),  # 240 V can be read as 242.9 V
        (242, "242.89", [F("242.9")]),
    ],
)
def test_a_converter_must_show_the_highest_end_and_the_highest_reading(top: int, full: str, told: list[Any]) -> None:
    reviewed = review(sound(bands=band(2, high=top)))
    found = list(converter_range(reviewed, reading(full)))
    assert [(one.severity, one.witness.reading_v, one.witness.limit_v) for one in found] == [
        (Severity.FAULT, one, F(full)) for one in told
    ]


def test_the_highest_end_is_that_of_any_band() -> None:
    """Boost 1 reaches farther than direct, which begins and ends higher on the average."""
    rows = [("boost 1", [], 100, 300), ("direct", ["KL", "KO"], 212, 250)]
    (one,) = converter_range(review(sound(bands=rows)), reading("299"))
    assert one.witness.reading_v == 300


def test_without_a_band_that_reads_the_range_itself_is_what_must_be_shown() -> None:
    made = sound(sections=(("a", "N", "T", 100), ("b", "N", "T", 90)), links={"K": ("OUT", "T", "N")}, bands=[])
    none = review(replace(made, terminals=replace(made.terminals, line="T")))
    assert list(converter_range(none, reading("240"))) == []
    (one,) = converter_range(none, reading("239"))
    assert one.witness.reading_v == 240


@pytest.mark.parametrize(
    ("low", "per_volt", "left"),
    [
        (189, "1", None),
        (190, "1", 1),
        ("189.1", "1", 1),  # rounded up to 190
        (191, "1", 0),
        (192, "1", -1),
        (189, "0.5", 0),  # 95 from 191 V, 95 from 189 V
        (187, "0.5", 1),
        (190, "2", None),
        ("190.1", "2", 1),
    ],
)
def test_fewer_than_two_counts_between_neighbours_are_told(low: object, per_volt: str, left: int | None) -> None:
    """Boost 2 up to 191 V, rounded down, and boost 1 from there on, rounded up; the pair above has 4 V."""
    reviewed = review(sound(bands=band(1, low=low), sensing=Sensing()))
    found = [one for one in few_counts(reviewed, reading(per_volt=per_volt)) if "boost 2" in one.where]
    assert [one.witness.left_counts for one in found] == ([] if left is None else [left])
    for one in found:
        shown = one.witness
        assert (one.severity, one.where, shown.bands) == (
            Severity.WARNING,
            'bands "boost 2" and "boost 1"',
            ("boost 2", "boost 1"),
        )
        assert (shown.step_v, shown.count, shown.overlap_v) == (1 / F(per_volt), left, F(left or 0) / F(per_volt))


def test_what_breaks_only_in_whole_counts_is_lost_in_them() -> None:
    """Of 8 bits nothing is left of the overlap; what is broken in volts already is told there and not again."""
    found = list(lost_in_counts(*chained(sound(), bits=7)))
    assert found
    assert {one.code for one in found} == {"lost-in-counts"}
    assert all(one.severity is Severity.FAULT for one in found)
    assert {one.witness.broken for one in found} <= {"dead-zone", "chatter", "out-of-window", "hunting"}
    broken = sound(bands=band(1, low=192))
    places = {one.where for one in lost_in_counts(*chained(broken, bits=12))}
    assert 'bands "boost 2" and "boost 1"' not in places


def test_without_a_controller_nothing_is_counted_and_with_one_all_is() -> None:
    assert list(counts(review(sound()))) == []
    one = counting(sound(), bits=8, divider_pct=1)
    assert {each.code for each in counts(review(one))} >= {"error-budget", "lost-in-counts", "few-counts"}
    low = counting(sound(), divider_ohm=(F(1_000_000), F(6000)))
    assert "converter-range" in {each.code for each in counts(review(low))}
