"""What a message repeats of a file: values as the file writes them, cut where nobody would read on."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tapplan.design.objection import nearest, quoted, shown


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (True, "true"),
        (False, "false"),
        (230, "230"),
        (Decimal("1.50"), "1.50"),
        ("OUT", '"OUT"'),
        ([180, 300], "[180, 300]"),
        ([[1], "a"], '[[1], "a"]'),
        ({"name": 1, "turns": 2}, "a table with name, turns"),
        ({}, "a table with no keys"),
    ],
)
def test_a_value_is_shown_as_the_file_writes_it(value: object, told: str) -> None:
    assert shown(value) == told


def test_a_whole_number_that_no_design_has_is_told_by_its_length() -> None:
    """2^199 - 1 has 60 digits and is shown; a bit more has 60 digits too, and 10^1000 has 1001, told to 1 in 100."""
    assert shown(2**199 - 1) == str(2**199 - 1)
    assert shown(2**199) == "a whole number of about 60 digits"
    digits = int(shown(10**1000).removeprefix("a whole number of about ").removesuffix(" digits"))
    assert abs(digits - 1001) <= 10


def test_lists_and_tables_are_shown_as_far_as_they_are_read() -> None:
    assert shown(list(range(30)), most=1000) == f"[{', '.join(map(str, range(20)))}]"
    keys = [f"k{number}" for number in range(12)]
    assert shown(dict.fromkeys(keys), most=1000) == f"a table with {', '.join(keys[:10])}"


def test_what_is_longer_than_a_line_s_share_ends_in_dots() -> None:
    assert shown("x" * 58) == f'"{"x" * 58}"'
    assert shown("x" * 59) == f'"{"x" * 56}...'
    assert shown("abcdefgh", most=6) == '"ab...'


def test_names_are_listed_up_to_a_dozen() -> None:
    assert quoted(["A"]) == '"A"'
    twelve = [f"T{number}" for number in range(12)]
    assert quoted(twelve) == ", ".join(f'"{name}"' for name in twelve)
    assert quoted([*twelve, "T12"]) == quoted(twelve) + ", ... (13 in all)"
    assert quoted(["A", "B", "C"], most=2) == '"A", "B", ... (3 in all)'


def test_the_nearest_name_is_told_as_it_is_known_and_a_far_one_not_at_all() -> None:
    assert nearest("kl", ["KO", "KL"]) == 'nearest known: "KL"'
    assert nearest("turnz", ["turns", "title"]) == 'nearest known: "turns"'
    assert nearest("zzz", ["turns", "title"]) == ""
    assert nearest("K", []) == ""
