"""The fewest products, against a printed case and against trying every sum of products."""

from __future__ import annotations

from itertools import combinations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.control.equations import BitWanted, CaseBits, Equation, Product, Variable, equations, minimal
from tapplan.control.program import program
from tapplan.control.table import control_table
from tapplan.errors import UsageError
from tests.examples import PAIR, TAPPED, add_in, design

BANDS = [("b2", ["KO"], 160, 192), ("b1", [], 188, 217), ("d", ["KL", "KO"], 213, 246), ("k", ["KL"], 241, 280)]


def bits(number: int, width: int) -> CaseBits:
    """A case as the digits of a number, the first variable the highest."""
    return tuple(number >> place & 1 for place in reversed(range(width)))


def literals(terms: tuple[Product, ...]) -> int:
    return sum(map(len, terms))


def holds(term: Product, case: CaseBits) -> bool:
    return all(case[variable] == value for variable, value in term)


def every_product(width: int) -> list[Product]:
    """All 3^n products: each variable wanted 0, wanted 1, or left free."""
    wanted = product((None, 0, 1), repeat=width)
    return [tuple(BitWanted(n, one) for n, one in enumerate(each) if one is not None) for each in wanted]


def best_by_trying(ones: list[CaseBits], zeros: list[CaseBits], width: int) -> tuple[int, int]:
    """The fewest products that do, and of these the fewest literals, by trying all sums of so many."""
    sound = [term for term in every_product(width) if not any(holds(term, zero) for zero in zeros)]
    for count in range(len(ones) + 1):
        sums = combinations(sound, count)
        sizes = [literals(chosen) for chosen in sums if all(any(holds(t, one) for t in chosen) for one in ones)]
        if sizes:
            return count, min(sizes)
    raise AssertionError


def test_the_printed_case_of_quine_and_mccluskey() -> None:
    """Ones 4, 8, 10, 11, 12, 15, free 9, 14: BC'D' + AC + AB' or AD' (Wikipedia, "Quine-McCluskey algorithm")."""
    ones = [bits(number, 4) for number in (4, 8, 10, 11, 12, 15)]
    zeros = [bits(number, 4) for number in (0, 1, 2, 3, 5, 6, 7, 13)]
    found = set(minimal(ones, zeros))
    b_not_c_not_d = (BitWanted(1, 1), BitWanted(2, 0), BitWanted(3, 0))
    a_c = (BitWanted(0, 1), BitWanted(2, 1))
    a_not_b, a_not_d = (BitWanted(0, 1), BitWanted(1, 0)), (BitWanted(0, 1), BitWanted(3, 0))
    assert {b_not_c_not_d, a_c} < found
    assert len(found) == 3
    assert found & {a_not_b, a_not_d}


@given(st.lists(st.sampled_from([0, 1, None]), min_size=8, max_size=8))
def test_no_sum_has_fewer_products_or_with_as_many_fewer_literals(values: list[int | None]) -> None:
    """Functions of three variables, with free cases: 1 where it must be, 0 where it must be, and no shorter one."""
    ones = [bits(number, 3) for number, value in enumerate(values) if value == 1]
    zeros = [bits(number, 3) for number, value in enumerate(values) if value == 0]
    found = minimal(ones, zeros)
    assert all(any(holds(term, one) for term in found) for one in ones)
    assert not any(holds(term, zero) for term in found for zero in zeros)
    assert (len(found), literals(found)) == best_by_trying(ones, zeros, 3)


@given(st.lists(st.sampled_from([0, 1, None]), min_size=32, max_size=32))
def test_five_variables_are_right_and_take_no_product_that_could_be_left_out(values: list[int | None]) -> None:
    ones = [bits(number, 5) for number, value in enumerate(values) if value == 1]
    zeros = [bits(number, 5) for number, value in enumerate(values) if value == 0]
    equation = Equation(Variable("away", ""), minimal(ones, zeros))
    assert [equation.value(one) for one in ones] == [1] * len(ones)
    assert [equation.value(zero) for zero in zeros] == [0] * len(zeros)
    for term in equation.terms:
        others = [one for one in equation.terms if one != term]
        assert any(not any(holds(one, case) for one in others) for case in ones)


def test_a_bit_that_is_never_set_has_no_product_and_one_that_is_always_set_no_literal() -> None:
    cases = [bits(number, 2) for number in range(4)]
    assert minimal([], cases) == ()
    assert minimal(cases, []) == ((),)


def test_a_cycle_of_six_takes_three_products() -> None:
    """Ones 0, 1, 2, 5, 6, 7: no product is essential (E. J. McCluskey, Bell Syst. Tech. J. 35 (1956) 1417)."""
    ones = [bits(number, 3) for number in (0, 1, 2, 5, 6, 7)]
    found = minimal(ones, [bits(3, 3), bits(4, 3)])
    assert (len(found), literals(found)) == (3, 6)


def test_the_equations_follow_the_table_case_by_case() -> None:
    """Every standing under every reading: comparators rise in order, coils are those of a band that holds it."""
    table = control_table(design(TAPPED, PAIR, bands=BANDS))
    made = program(table)
    found = equations(made)
    assert [(one.kind, one.name) for one in found.variables] == [
        *(("comparator", str(number + 1)) for number in range(len(made.thresholds))),
        *(("coil", "KL"), ("coil", "KO"), ("away", "")),
    ]
    assert len(found.rows) == (len(BANDS) + 1) * (len(found.thresholds) + 1)
    coils = {name: tuple(int(relay in driven) for relay in ("KL", "KO")) for name, driven, _, _ in BANDS}
    for case, after in found.rows:
        compared = case[: len(found.thresholds)]
        assert list(compared) == sorted(compared, reverse=True)
        assert tuple(one.value(case) for one in found.each) == after
        reading_v = found.thresholds[sum(compared) - 1] / 1000 if sum(compared) else 0
        allowed = {coils[name] for name, _, low, high in BANDS if low <= reading_v <= high}
        if allowed:
            assert after[:2] in allowed
            assert after[2] == 0


def test_two_bands_with_the_same_relays_have_no_equations() -> None:
    twice = [("low", ["KO"], 160, 192), ("mid", [], 188, 217), ("high", ["KO"], 213, 246)]
    with pytest.raises(UsageError, match="two bands with the same relays"):
        equations(program(control_table(design(TAPPED, PAIR, bands=twice))))


@pytest.mark.parametrize(("bands", "refused"), [(15, False), (17, True)])
def test_tables_of_too_many_cases_are_refused_before_an_equation_is_looked_for(
    bands: int, refused: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A state for each band and for being away; two ends a band tell 2 n + 1 readings apart: 18 * 35 > 600."""
    looked: list[object] = []

    def none_found(*given: object) -> tuple[Product, ...]:
        looked.append(given)
        return ()

    monkeypatch.setattr("tapplan.control.equations.minimal", none_found)
    holds_v = [
        (str(k), [f"K{n}" for n in range(7) if 127 - k >> n & 1], 150 + k, 190 + k + 0.5) for k in range(bands)
    ]
    made = add_in(7)
    table = control_table(
        design(
            [(one.name, *one.ends, one.turns) for one in made.windings],
            {one.name: (one.all_poles[0].com, one.all_poles[0].nc, one.all_poles[0].no) for one in made.relays},
            bands=holds_v,
        )
    )
    if not refused:
        equations(program(table))
        assert looked
        return
    with pytest.raises(UsageError, match=r"found \d+ cases.*accepted: up to 600"):
        equations(program(table))
    assert not looked
