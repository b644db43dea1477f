"""The kinds of numbers: what each takes at its ends, as its words say, and that reader and schema mean the same."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any, get_args

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.design import numbers
from tapplan.design.marks import Taken

D = Decimal
TINY = D("1e-9")


def kind(name: str) -> Taken:
    return next(one for one in get_args(getattr(numbers, name))[1:] if isinstance(one, Taken))


def plain(value: Any) -> Any:
    """As JSON has it."""
    if isinstance(value, list):
        return [plain(one) for one in value]
    return float(value) if isinstance(value, Decimal) else value


def valid(name: str, value: Any) -> bool:
    return jsonschema.Draft202012Validator(dict(kind(name).schema)).is_valid(plain(value))


# Each kind with values that its words take, at their ends, and values just beyond that they do not.
ENDS = {
    "Positive": ([TINY, 1, 10**9], [0, -TINY, -1, 10**9 + 1]),
    "NotNegative": ([0, TINY, 10**9], [-TINY, -1, 10**9 + 1]),
    "Percent": ([0, 50, D("99.999")], [-TINY, 100, 101]),
    "UnitFraction": ([TINY, D("0.5"), 1], [0, -TINY, 1 + TINY, 2]),
    "Celsius": ([-273, 0, 1000], [D("-273.01"), D("1000.01")]),
    "CopperCelsius": ([-50, -49, 0, 300], [D("-50.01"), D("300.01")]),
    "Bits": ([4, 12, 24], [3, 25, D("4.5")]),
    "SampleCount": ([1, 2, 1_000_000], [0, 1_000_001, D("1.5")]),
    "Few": ([1, 12], [0, 13]),
}


@pytest.mark.parametrize("name", ENDS)
def test_a_kind_takes_its_ends_and_nothing_beyond_them(name: str) -> None:
    inside, beyond = ENDS[name]
    for value in inside:
        assert kind(name).read(value) == Fraction(value)
        assert valid(name, value)
    for value in beyond:
        assert kind(name).read(value) is None
        assert not valid(name, value)


@pytest.mark.parametrize("name", ENDS)
@given(value=st.one_of(st.integers(-300, 1100), st.decimals(-300, 1100, places=1)))
def test_reader_and_schema_mean_the_same_numbers(name: str, value: int | Decimal) -> None:
    assert (kind(name).read(value) is not None) == valid(name, value)


PAIRS = {
    "Range": ([[0, TINY], [180, 260], [0, 10**9]], [[5, 5], [6, 5], [-1, 5], [0, 10**9 + 1], [1], [1, 2, 3]]),
    "Resistors": ([[TINY, TINY], [1_000_000, 3900]], [[0, 1], [1, 0], [-1, 1], [1, -1], [1]]),
    "Sides": ([[TINY, 5], [5, TINY]], [[0, 1], [1, 0], [1, -1]]),
    "Temperatures": ([[-273, 1000], [20, 20], [-40, 85], [1000, 1000]], [[-274, 0], [0, 1001], [30, 20], [5]]),
    "Frequency": ([50, [45, 65], TINY], [0, -50, [65, 45], [0, 50]]),
    "Times": ([0, 15, 10**9, [0, 0], [3, 8], [8, 8]], [-1, [8, 3], [-1, 5], 10**9 + 1]),
    "TurnsSpan": ([2, 5000, [2, 5000], [100, 200]], [1, 5001, [1, 200], [200, 100], [2, 5001]]),
}


@pytest.mark.parametrize("name", PAIRS)
def test_a_pair_takes_its_ends_in_order_and_nothing_else(name: str) -> None:
    taken, refused = PAIRS[name]
    for value in taken:
        both = value if isinstance(value, list) else None
        found = kind(name).read(value)
        assert found is not None
        assert valid(name, value)
        if both is not None:
            assert found == (Fraction(both[0]), Fraction(both[1]))
    assert [value for value in refused if kind(name).read(value) is not None] == []
    alone = [value for value in refused if not isinstance(value, list) or len(value) != 2]
    assert [value for value in alone if valid(name, value)] == []  # an order of two, no schema can ask for


@pytest.mark.parametrize("name", ["Range", "Resistors", "Sides", "Frequency", "Times"])
def test_the_schema_of_a_pair_has_the_ends_of_each(name: str) -> None:
    """From 0 to 1e9, wherever in the pair."""
    assert valid(name, [0, 10**9])
    for beyond in ([-TINY, 5], [5, -TINY], [0, 10**9 + 1], [10**9 + 1, 0]):
        assert not valid(name, beyond)


def test_one_number_for_two_is_both_a_span_from_nothing_or_of_no_width() -> None:
    """A frequency of 50 is 50 to 50; a time of 15 is the most that it takes, so 0 to 15; 900 turns are 900 to 900."""
    assert kind("Frequency").read(50) == (50, 50)
    assert kind("Times").read(15) == (0, 15)
    assert kind("TurnsSpan").read(900) == (900, 900)


@pytest.mark.parametrize("name", [*ENDS, *PAIRS, "Turns"])
def test_what_stands_in_for_a_malformed_value_is_one_of_its_kind(name: str) -> None:
    """Else the rest of the file would be checked beside a second fault, which nobody wrote."""
    assert kind(name).read(kind(name).stand_in) is not None
    assert valid(name, kind(name).stand_in)


@pytest.mark.parametrize("value", [True, False, None, "5", D("NaN"), D("Infinity"), D("1e10"), D("1e-31"), 10**9 + 1])
def test_what_is_no_number_of_a_design(value: object) -> None:
    assert numbers.read_number(value) is None


def test_the_largest_and_the_longest_numbers_are_read_exactly() -> None:
    assert numbers.read_number(10**9) == numbers.read_number(D("1e9")) == 10**9
    assert numbers.read_number(-(10**9)) == -(10**9)
    assert numbers.read_number(D("1e-30")) == Fraction(1, 10**30)
    assert numbers.read_number(D("0.1")) == Fraction(1, 10)


@pytest.mark.parametrize(
    ("text", "turns"),
    [("25/2", Fraction(25, 2)), ("1000000000/1", Fraction(10**9)), ("1/1000000000", Fraction(1, 10**9))],
)
def test_a_fraction_of_turns_is_read(text: str, turns: Fraction) -> None:
    assert numbers.read_fraction(text) == turns


@pytest.mark.parametrize(
    "text", ["25", "25/0", "/2", "25/", "-1/2", "1/-2", "1000000001/1", "1/1000000001", "1.5/2", "²/2"]
)
def test_a_text_that_is_no_fraction(text: str) -> None:
    assert numbers.read_fraction(text) is None
