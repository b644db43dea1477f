"""Objections told in the order of the file, each place once."""

from __future__ import annotations

import pytest

from tapplan.design.objection import Objection
from tapplan.design.problems import key_text, problems_of

TEXT = "format = 1\n\n[mains]\nnominal_v = 1\nrange_v = 2\n\n[[winding]]\nturns = 3\n\n[[winding]]\nturns = 4\n"


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ((), ""),
        (("title",), "title"),
        (("mains", "range_v"), "mains.range_v"),
        (("winding", 0), "winding[1]"),
        (("winding", 3, "turns"), "winding[4].turns"),
        (("relay", 0, "poles", 1, "com"), "relay[1].poles[2].com"),
    ],
)
def test_entries_are_counted_from_one(path: tuple[int | str, ...], told: str) -> None:
    assert key_text(path) == told


def test_the_order_is_that_of_the_file_and_of_one_place_the_first_is_told() -> None:
    found = problems_of(
        TEXT,
        [
            Objection(("winding", 1, "turns"), "four", "more"),
            Objection(("mains", "range_v"), "two", "a pair"),
            Objection(("mains", "range_v"), "two again", "a pair"),
            Objection(("mains", "nominal_v"), "one", "more", "a hint"),
        ],
    )
    assert [(one.key, one.found, one.line) for one in found] == [
        ("mains.nominal_v", "one", 4),
        ("mains.range_v", "two", 5),
        ("winding[2].turns", "four", 11),
    ]
    assert (found[0].accepted, found[0].hint) == ("more", "a hint")
