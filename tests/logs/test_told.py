"""What was found, as a message tells it."""

from __future__ import annotations

import pytest

from tapplan.logs.samples import BadRow, BadRows, RowFault
from tapplan.logs.told import found, listed, refusal


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("x" * 40, "x" * 40),
        ("x" * 41, "x" * 37 + "..."),
        ("x" * 10**6, "x" * 37 + "..."),
        ("\x1b" * 10, "\\x1b" * 10),
        ("\x1b" * 11, ("\\x1b" * 10)[:37] + "..."),
        ("a\nb\u202e", "a\\nb\\u202e"),
        ("", ""),
    ],
)
def test_a_cell(cell: str, told: str) -> None:
    assert found(cell) == told
    assert len(found(cell)) <= 40


def test_the_first_bad_rows() -> None:
    rows = tuple(BadRow("f", place, RowFault.NO_NUMBER, "x") for place in range(1, 6))
    assert listed(BadRows({RowFault.NO_NUMBER: 5}, rows[:1])) == 'f:1 has "x", no number'
    assert listed(BadRows({RowFault.NO_NUMBER: 5}, rows)).count("has") == 3


def test_a_refusal_is_one_line() -> None:
    assert str(refusal("a\nb", "it is empty", "rows")) == "a\\nb: it is empty; accepted: rows"
