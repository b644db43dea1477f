"""What a move can pass through, in words: shorts, ratios, and nothing only beyond the shorts."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.moves import Moves, _met, _row
from tapplan.exact import Span


@pytest.mark.parametrize(
    ("shorts", "without", "ratios", "told"),
    [
        (0, 0, (), "-"),
        (1, 1, (), "1 shorts"),
        (1, 2, (), "1 shorts, nothing"),
        (0, 1, (Fraction(5, 4),), "ratios 1.25, nothing"),
        (2, 2, (Fraction(5, 4), Fraction(1)), "2 shorts, ratios 1 1.25"),
    ],
)
def test_what_is_met(shorts: int, without: int, ratios: tuple[Fraction, ...], told: str) -> None:
    flight: Any = SimpleNamespace(shorts=shorts, without_ratio=without, met=ratios)
    assert _met(flight).replace(",", "").split() == told.replace(",", "").split()


F = Fraction


def flight(name: str = '"a" to "b"', **parts: Any) -> Any:
    given = SimpleNamespace(ordered=False, order=("L", "K"))
    made = {
        "move": SimpleNamespace(name=name, old=frozenset({"L", "K"}), new=frozenset({"M"}), movers=("K", "L", "M"),
                                inputs=Span(F(190), F(200))),
        "flown": SimpleNamespace(given=given), "best": None, "best_ms": None, "mixtures": 7, "shorts": 2,
        "without_ratio": 3, "met": [F(5, 4), F(1), F(5, 4)], "gap_ms": F(15), "takes_ms": F(40),
    }  # fmt: skip
    return SimpleNamespace(**{**made, **parts})


def best(*ratios: Any, shorts: bool = False) -> Any:
    return SimpleNamespace(relays=("M", "K"), shorts=shorts, ratios=tuple(map(F, ratios)))


@pytest.mark.parametrize(
    ("name", "told"),
    [('"a" to "b"', "a > b"), ('"a" to all at rest', "a > all at rest"), ('away to "b"', "away > b"), ("x", "x")],
)
def test_a_move_is_told_from_where_to_where(name: str, told: str) -> None:
    row = _row(flight(name))
    assert (row.name, row.between) == (name, told)


def test_relays_told_together_stand_in_the_order_of_the_file_and_ordered_ones_one_after_the_other() -> None:
    together = _row(flight())
    assert (together.relays, together.order, together.movers) == ("K, L, M", None, ("K", "L", "M"))
    ordered = _row(flight(flown=SimpleNamespace(given=SimpleNamespace(ordered=True, order=["M", "K"]))))
    assert (ordered.relays, ordered.order) == ("M, then K", ("M", "K"))


def test_a_move_counts_its_mixtures_with_both_ends_and_names_the_ratios_met() -> None:
    row = _row(flight())
    assert (row.old, row.new, row.inputs_v) == (("K", "L"), ("M",), Span(F(190), F(200)))
    assert (row.mixtures, row.shorted, row.without_ratio) == (9, 2, 3)
    assert (row.lowest.ratio, row.highest.ratio, row.met) == (1, F(5, 4), "2 shorts, ratios 1, 1.25, nothing")
    assert (row.gap_ms, row.takes_ms) == (15, 40)
    none = _row(flight(met=[]))
    assert (none.lowest.ratio, none.highest.ratio) == (None, None)


@pytest.mark.parametrize(
    ("found", "passes", "told"),
    [
        (best("5/4", "1", "5/4"), ("5/4", "1", "5/4"), "1, 1.25"),
        (best(shorts=True), (), "a short"),
        (best(), (), "none"),
    ],
)
def test_the_safest_order_is_told_with_what_it_passes(found: Any, passes: tuple[str, ...], told: str) -> None:
    row = _row(flight(best=found, best_ms=F(55)))
    assert (row.safest_order, row.order_shorts, row.passes, row.passes_told) == (
        ("M", "K"), found.shorts, passes, told,
    )  # fmt: skip
    assert row.safest_takes_ms == 55
    (choice,) = Moves(title="x", moves=(row, _row(flight()))).choices
    assert (choice.between, choice.order, choice.passes, choice.takes_ms) == ("a > b", ("M", "K"), told, 55)


def test_a_move_without_a_choice_has_none() -> None:
    row = _row(flight())
    assert (row.safest_order, row.order_shorts, row.passes, row.passes_told, row.safest_takes_ms) == (
        None, None, None, "-", None,
    )  # fmt: skip
    assert Moves(title="x", moves=(row,)).choices == ()
