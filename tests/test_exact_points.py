"""Spans and openings point by point, on small whole numbers, where ends meet and spans lie in one another."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tapplan.exact import Opening, Span, uncovered, union

F = Fraction
POINTS = [F(half, 2) for half in range(-1, 14)]
ends = st.integers(0, 6).map(F)
spans = st.tuples(ends, ends).map(lambda both: Span(min(both), max(both)))


@st.composite
def openings(draw: st.DrawFn) -> Opening:
    span = draw(spans)
    shut_low, shut_high = draw(st.booleans()), draw(st.booleans())
    return Opening(span.low, span.high, shut_low, shut_high)


def holds(opening: Opening | None, point: Fraction) -> bool:
    if opening is None:
        return False
    after = point > opening.low or (point == opening.low and opening.shut_low)
    before = point < opening.high or (point == opening.high and opening.shut_high)
    return after and before


def span(low: int, high: int) -> Span:
    return Span(F(low), F(high))


@given(openings(), spans)
def test_the_part_of_an_opening_in_a_span_holds_the_points_of_both(one: Opening, within: Span) -> None:
    part = one.meet(within)
    assert [holds(part, point) for point in POINTS] == [holds(one, point) and point in within for point in POINTS]
    assert (part is None) == (not any(holds(one, point) and point in within for point in POINTS))


def test_an_opening_cut_by_a_span_is_closed_where_the_span_cuts_it() -> None:
    assert Opening(F(0), F(9)).meet(span(2, 5)) == Opening(F(2), F(5), True, True)
    assert Opening(F(2), F(5)).meet(span(0, 9)) == Opening(F(2), F(5))
    assert Opening(F(0), F(2)).meet(span(2, 5)) is None
    assert Opening(F(0), F(2), True, True).meet(span(3, 5)) is None
    assert Opening(F(6), F(9), True, True).meet(span(3, 5)) is None
    assert Opening(F(0), F(2), shut_high=True).meet(span(2, 5)) == Opening(F(2), F(2), True, True)


@given(openings())
def test_the_witness_of_an_opening_is_in_it(one: Opening) -> None:
    if any(holds(one, point) for point in POINTS):
        assert holds(one, one.witness())


@given(st.lists(spans, max_size=5))
@example([span(0, 1), span(3, 6), span(4, 5)])  # one inside another, after one apart
@example([span(0, 6), span(1, 2), span(3, 4)])
@example([span(0, 2), span(2, 4), span(5, 6)])  # two that touch
def test_a_union_has_the_points_of_all_and_no_other_and_no_two_that_touch(given_spans: list[Span]) -> None:
    joined = union(given_spans)
    assert [any(p in one for one in joined) for p in POINTS] == [any(p in one for one in given_spans) for p in POINTS]
    assert all(below.high < above.low for below, above in pairwise(joined))


@given(st.lists(spans, max_size=5), spans)
@example([span(4, 6)], span(0, 2))
@example([span(0, 2)], span(2, 2))
def test_what_is_not_covered_is_the_rest_of_the_span(covering: list[Span], within: Span) -> None:
    left = uncovered(covering, within)
    rest = [p in within and not any(p in one for one in covering) for p in POINTS]
    assert [sum(holds(one, p) for one in left) for p in POINTS] == [int(there) for there in rest]
    assert all(below.high <= above.low for below, above in pairwise(left))


@pytest.mark.parametrize(("low", "high", "met"), [(0, 3, (2, 3)), (3, 4, (3, 4)), (5, 9, (5, 5)), (6, 9, None)])
def test_two_spans_meet_in_what_both_hold(low: int, high: int, met: tuple[int, int] | None) -> None:
    assert span(2, 5).meet(span(low, high)) == (None if met is None else span(*met))


def test_an_opening_has_no_ends_of_its_own_unless_it_is_said() -> None:
    assert not any(holds(Opening(F(1), F(2)), end) for end in (F(1), F(2)))
    assert holds(Opening(F(1), F(2)), F(3, 2))
