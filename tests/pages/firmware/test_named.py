"""What the names of a firmware begin with, and how C writes them."""

from __future__ import annotations

import pytest

from tapplan.design.fingerprint import fingerprint
from tapplan.errors import UsageError
from tapplan.pages.cnames import comment, identifiers, wrapped
from tapplan.pages.firmware.named import firmware_name, given_name
from tapplan.pages.firmware.parts import number
from tests.pages.firmware.stages import stage


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Mill, 230 V", "tapplan_mill"),
        ("Two  mills: A-1", "tapplan_two_mills_a_1"),
        ("(Mill)", "tapplan_mill"),
        ("x" * 40 + ", more", "tapplan_" + "x" * 40),
        ("!" + "x" * 40 + "!", "tapplan_" + "x" * 40),
    ],
)
def test_a_name_is_the_title_before_its_first_comma(title: str, name: str) -> None:
    assert firmware_name(stage(title=title)) == name


@pytest.mark.parametrize(
    ("title", "plain"),
    [
        ("M\u00fchle", "m_hle"),
        ("\u6c34", "x"),
        ("!?", "x"),
        (", Mill", "x"),
        ("x" * 41, "x" * 40),
        ("\u00bd mill", "mill"),
    ],
)
def test_a_title_that_c_cannot_spell_whole_is_followed_by_the_fingerprint(title: str, plain: str) -> None:
    made = stage(title=title)
    assert firmware_name(made) == f"tapplan_{plain}_{fingerprint(made)}"


@pytest.mark.parametrize("name", ["a", "mill_2", "a" * 40, "a_"])
def test_a_name_of_ones_own_is_taken_as_it_is(name: str) -> None:
    assert given_name(name) == f"tapplan_{name}"


@pytest.mark.parametrize("name", ["", "A", "2a", "_a", "a-b", "a b", "a" * 41, "a\n", "\u00e4"])
def test_a_name_that_c_would_not_take_is_refused(name: str) -> None:
    with pytest.raises(
        UsageError, match="accepted: a small letter, then small letters, digits and underscores, 40 at"
    ):
        given_name(name)


@pytest.mark.parametrize(
    ("names", "plain"),
    [
        (("boost 1", "boost-1", "boost_1"), ["BOOST_1", "BOOST_1_2", "BOOST_1_3"]),
        (("a", "A", "a 2", "A"), ["A", "A_2", "A_2_2", "A_3"]),
        (("", "-"), ["X", "X_2"]),
        (("_k_",), ["K"]),
        (("y" * 41, "y" * 42), ["Y" * 40, "Y" * 40 + "_2"]),
        ((), []),
    ],
)
def test_names_are_letters_digits_and_underscores_each_once(names: tuple[str, ...], plain: list[str]) -> None:
    assert identifiers(names) == plain


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("a */ b", "a * / b"),
        ("a /* b", "a / * b"),
        ("a\\b", "a/b"),
        ("\u00e4", "/xe4"),
        ("??/", "?? /"),
        ("plain", "plain"),
    ],
)
def test_no_text_can_end_a_comment(text: str, plain: str) -> None:
    assert comment(text) == plain


def test_lines_of_a_comment_keep_within_ninety_letters() -> None:
    lines = wrapped("word " * 40)
    assert [len(line) for line in lines] == [89, 89, 19]
    assert " ".join(lines) == ("word " * 40).strip()
    assert len(wrapped("x" * 90)) == 1


@pytest.mark.parametrize(
    ("value", "told"),
    [(0, "0x0U"), (255, "0xFFU"), (65535, "0xFFFFU"), (65536, "0x10000UL"), (2**32 - 1, "0xFFFFFFFFUL")],
)
def test_a_mask_is_wide_enough_on_a_machine_of_sixteen_bits(value: int, told: str) -> None:
    assert number(value) == told
