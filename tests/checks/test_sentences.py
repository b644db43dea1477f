"""Sentences are made of data alone: each code has its types of witness, and each number told is held by one."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from fractions import Fraction
from typing import Any, get_type_hints

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.mends import (
    Blanking,
    Cure,
    HoldEnd,
    HoldOn,
    Mend,
    MilderOrder,
    NoSafeOrder,
    ReturnInside,
    SafeOrder,
)
from tapplan.checks.rules import CODES
from tapplan.checks.sentences import SENTENCES
from tapplan.checks.sentences.mends import advice, cured
from tapplan.checks.witnesses.states import LoosePoint, Undriven
from tests.checks.seeds import found_in_all

F = Fraction


def test_every_code_has_its_sentences() -> None:
    assert SENTENCES.keys() == CODES.keys()


def test_every_sentence_takes_the_witness_it_stands_beside() -> None:
    for code, tellings in SENTENCES.items():
        for telling in tellings:
            hints = get_type_hints(telling.words)
            taken = next(kind for name, kind in hints.items() if name != "return")
            assert telling.witness in (taken, *getattr(taken, "__args__", ())), code


def test_every_finding_is_shown_by_a_witness_of_the_type_written_for_its_code() -> None:
    for _, one in found_in_all():
        assert type(one.witness) in {telling.witness for telling in SENTENCES[one.code]}, one.code


def test_every_type_written_for_a_code_is_met_by_some_seeded_defect() -> None:
    met = {(one.code, type(one.witness)) for _, one in found_in_all()}
    written = {(code, telling.witness) for code, tellings in SENTENCES.items() for telling in tellings}
    assert written - met == set(), "a design in tests/checks/seeds.py, or a Defect in test_rules.py, must show each"


def test_a_finding_with_a_witness_of_another_code_is_refused() -> None:
    with pytest.raises(TypeError, match="idle-relay is not shown by LoosePoint"):
        Finding("idle-relay", Severity.NOTE, 'relay "K"', LoosePoint(points=("X",)))
    assert (
        Finding("idle-relay", Severity.NOTE, 'relay "K"', Undriven(energised=("K",))).message == "no band drives it"
    )


# --- numbers ---


def values(value: Any, name: str = "") -> Iterator[tuple[str, Fraction]]:
    """Every number of a witness with the name of its field, parts of it included."""
    if isinstance(value, (Fraction, int)) and not isinstance(value, bool):
        yield name, Fraction(value)
    elif isinstance(value, tuple):
        for one in value:
            yield from values(one, name)
    elif is_dataclass(value):
        for field in fields(value):
            yield from values(getattr(value, field.name), field.name)


def names(value: Any) -> Iterator[str]:
    """Every name of a witness."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for one in value:
            yield from names(one)
    elif is_dataclass(value):
        for field in fields(value):
            yield from names(getattr(value, field.name))


def derived(known: list[tuple[str, Fraction]]) -> Iterator[Fraction]:
    """What a sentence may work out: the width of a stretch, a factor in percent, and how far it is from 1."""
    found = dict(known)
    if "from_v" in found and "to_v" in found:
        yield found["to_v"] - found["from_v"]
    for name, value in known:
        if name.endswith("factor"):
            yield from (100 * value, 100 * (value - 1))


NUMBER = re.compile(r"(?<![\w.])[+-]?\d+(?:\.(\d+))?(?:e([+-]\d+))?(?![\d/])")


def told(sentence: str, one: Finding) -> Iterator[tuple[Fraction, Fraction]]:
    """Every number of a sentence with half a unit of its last place; ratios and names are taken out before."""
    for name in sorted({*names(one.witness)}, key=len, reverse=True):
        sentence = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", "", sentence)
    for ratio in re.findall(r"\d+/\d+", sentence):
        yield Fraction(ratio), F(0)
    for number in NUMBER.finditer(re.sub(r"\d+/\d+", "", sentence)):
        decimals, power = len(number[1] or ""), int(number[2] or 0)
        yield Fraction(number[0]), Fraction(10) ** (power - decimals) / 2 + F(1, 10**9)


def test_every_number_that_a_sentence_tells_stands_in_its_witness() -> None:
    count = 0
    for _, one in found_in_all():
        known = list(values(one.witness))
        held = [value for _, value in known] + list(derived(known))
        for number, half in told(one.message, one):
            count += 1
            assert any(abs(value - number) <= half for value in held), (one.code, one.message, float(number))
    assert count > 1000


def test_a_number_that_the_witness_does_not_hold_would_be_noticed() -> None:
    loose = Finding("loose-end", Severity.WARNING, "K.nc", LoosePoint(points=("X",)))
    assert list(told("for 12.5 ms and 3/4 at X", loose)) == [(F(3, 4), F(0)), (F("12.5"), F(1, 20) + F(1, 10**9))]


# --- mends ---


@pytest.mark.parametrize(
    ("mend", "sentence"),
    [
        (HoldEnd("up", "low", F(185)), "hold_v from 185 V on mends it"),
        (HoldEnd("up", "high", F(193)), "hold_v up to 193 V mends it"),
        (HoldOn("up", F("250.84")), 'hold "up" up to 250.84 V to stop it'),
        (ReturnInside(F("165.82"), F(243)), "return_v = [165.82, 243] mends it"),
        (Cure(F(470)), "a confirm_ms of at most 470 would keep all of them"),
        (Cure(F(0), F(3, 2)), "without confirmation, window_cycles of at most 1.5 would keep all of them"),
        (Blanking(F(31)), "a blank_ms of 31 stops it, after every move"),
        (SafeOrder(("KB", "KA")), "a safe order: KB, then KA"),
        (NoSafeOrder(), "every order of its relays does so"),
        (MilderOrder(("K1", "K2"), (F(129, 160),)), "the safest order is K1, then K2, which passes 129/160 = 0.8063"),
        (MilderOrder(("K1", "K2"), ()), "the safest order is K1, then K2, which passes no ratio but the two ends'"),
    ],
    ids=lambda value: type(value).__name__ if not isinstance(value, str) else "",
)
def test_a_mend_in_words(mend: Mend, sentence: str) -> None:
    assert advice(mend) == sentence


def test_what_nothing_mends_is_said_to_need_other_parts() -> None:
    assert cured(None).startswith("no confirmation or averaging is short enough")
    assert cured(Cure(F(470))) == advice(Cure(F(470)))


def test_a_mend_follows_the_sentence_and_where_there_is_none_nothing_does() -> None:
    case = LoosePoint(points=("X",))
    plain = Finding("loose-end", Severity.WARNING, "K.nc", case)
    assert (plain.advice, plain.told) == ("", plain.message)
    mended = Finding("loose-end", Severity.WARNING, "K.nc", case, Blanking(F(3)))
    assert mended.told == f"{plain.message}; a blank_ms of 3 stops it, after every move"
