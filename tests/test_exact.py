import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.exact import Opening, Span, rounded_down, rounded_up, uncovered, union

numbers = st.integers(-40, 40).map(lambda n: Fraction(n, 2))
spans = st.tuples(numbers, numbers).map(lambda ends: Span(min(ends), max(ends)))


def test_a_span_runs_upward() -> None:
    with pytest.raises(ValueError, match="upward"):
        Span(Fraction(2), Fraction(1))


def test_touching_spans_leave_nothing_between_them() -> None:
    assert (
        uncovered([Span(Fraction(0), Fraction(5)), Span(Fraction(5), Fraction(9))], Span(Fraction(1), Fraction(8)))
        == []
    )


def test_a_hole_is_open_where_spans_end_and_closed_at_the_edge() -> None:
    left = uncovered([Span(Fraction(2), Fraction(3)), Span(Fraction(5), Fraction(6))], Span(Fraction(0), Fraction(9)))
    assert left == [
        Opening(Fraction(0), Fraction(2), True, False),
        Opening(Fraction(3), Fraction(5), False, False),
        Opening(Fraction(6), Fraction(9), False, True),
    ]


def test_nothing_covers_all_when_there_is_nothing() -> None:
    assert uncovered([], Span(Fraction(1), Fraction(1))) == [Opening(Fraction(1), Fraction(1), True, True)]


@given(st.lists(spans, max_size=5), spans, st.integers(-80, 80).map(lambda n: Fraction(n, 4)))
def test_every_point_is_covered_or_in_an_opening_never_both(
    covering: list[Span], within: Span, point: Fraction
) -> None:
    def inside(opening: Opening) -> bool:
        if opening.low < point < opening.high:
            return True
        return (point == opening.low and opening.shut_low) or (point == opening.high and opening.shut_high)

    openings = uncovered(covering, within)
    if point in within:
        assert any(inside(opening) for opening in openings) != any(point in span for span in covering)
    else:
        assert not any(inside(opening) for opening in openings)


@given(st.lists(spans, max_size=5), spans)
def test_the_witness_of_an_opening_is_uncovered(covering: list[Span], within: Span) -> None:
    for opening in uncovered(covering, within):
        assert opening.witness() in within
        assert not any(opening.witness() in span for span in covering)


@given(st.lists(spans, max_size=6))
def test_union_keeps_the_points_and_leaves_spans_apart(given_spans: list[Span]) -> None:
    joined = union(given_spans)
    assert all(low.high < high.low for low, high in itertools.pairwise(joined))
    assert all(any(span.low in one and span.high in one for one in joined) for span in given_spans)


@given(numbers, st.sampled_from([Fraction(1), Fraction(1, 10), Fraction(3, 7)]))
def test_rounding_goes_to_the_side_it_says(value: Fraction, step: Fraction) -> None:
    down, up = rounded_down(value, step), rounded_up(value, step)
    assert down <= value <= up
    assert value - down < step
    assert up - value < step
    assert (down / step).denominator == (up / step).denominator == 1
