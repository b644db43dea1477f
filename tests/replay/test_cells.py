"""Readings in stored numbers against the exact decimals that they print."""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.control.decisions import Cut, decisions
from tapplan.control.standing import InRow
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.replay.cells import cells_of, first_stored
from tapplan.replay.clock import micros, number_of, wait_us
from tests.examples import SHIPPED
from tests.replay.against import drawn

KINDS = (np.float32, np.float64)
decimals = st.integers(0, 10**6).map(lambda whole: Fraction(whole, 1000))
scales = st.sampled_from([Fraction(1), Fraction(1, 100), Fraction(1000), Fraction(7, 3)])


@given(decimals, st.booleans(), scales, st.sampled_from(KINDS))
def test_a_cut_begins_at_the_first_number_whose_decimal_reaches_it(mark, above, scale, kind) -> None:  # type: ignore[no-untyped-def]
    first = first_stored(Cut(mark, above), scale, np.dtype(kind))
    before = np.nextafter(first, kind(-np.inf))
    assert isinstance(first, kind)

    def beyond(number: np.floating) -> bool:  # type: ignore[type-arg]
        volts = Fraction(str(number)) * scale
        return volts > mark if above else volts >= mark

    assert beyond(first)
    assert not beyond(before)


@given(st.integers(0, 99_999), st.sampled_from(KINDS))
def test_a_decimal_in_a_file_stands_at_the_end_of_a_hold_that_is_written_alike(tenths: int, kind) -> None:  # type: ignore[no-untyped-def]
    """230.1 is not 230.1 in binary; it keeps a hold that ends at 230.1 all the same, and 230.2 does not."""
    mark = Fraction(tenths, 10)
    first = first_stored(Cut(mark, above=True), Fraction(1), np.dtype(kind))
    assert kind(tenths / 10) < first <= kind((tenths + 1) / 10)


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
@pytest.mark.parametrize("kind", KINDS)
def test_cells_decide_as_the_compiled_controller(file, kind) -> None:  # type: ignore[no-untyped-def]
    table = control_table(load(str(file)))
    made = decisions(table)
    cells = cells_of(made, Fraction(1), np.dtype(kind))
    low, high = table.design.output.window_v
    chance, met = Random(1), 0
    for place, node in enumerate(made.nodes):
        assert node.sensed
        begins = cells.begins[place].tolist()
        for _ in range(400):
            volts = Fraction(chance.randint(0, 3500), 10) * (
                1 if table.design.mains.nominal_v > 100 else Fraction(1, 8)
            )
            stored = kind(float(volts))
            volts = Fraction(str(stored))
            cell = bisect_right(begins, float(stored)) - 1
            answer = node.answer(volts * node.sensed)
            assert cells.answers[place, cell] == number_of(made, answer)
            inside = isinstance(node.standing, InRow) and low <= volts * table.rows[place].ratio <= high
            assert cells.outside[place, cell] != inside
            if answer != node.standing and isinstance(node.standing, InRow):
                hold = table.rows[place].kept
                upward = volts * node.sensed > hold.high
                assert cells.waits[place, cell] == wait_us(table, node, upward=upward)
                met += 1
    assert met > 100


def test_a_duration_is_rounded_up_to_a_whole_microsecond() -> None:
    assert [micros(Fraction(text)) for text in ("40", "0.5", "0.0001", "0", "1/3")] == [40_000, 500, 1, 0, 334]


def test_cells_of_random_designs_hold_every_reading() -> None:
    for seed in range(10):
        made = drawn(Random(seed)).machine.made
        cells = cells_of(made, Fraction(1), np.dtype(np.float64))
        for line in cells.begins:
            finite = line[np.isfinite(line)]
            assert line[0] == -np.inf
            assert line[-1] == np.inf
            assert (np.diff(finite) > 0).all()
