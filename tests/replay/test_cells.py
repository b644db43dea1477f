"""Readings in stored numbers against the exact decimals that they print."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace
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
from tapplan.design.model import Backup, Design, Sensing
from tapplan.replay.cells import cells_of, first_stored
from tapplan.replay.clock import micros, number_of, wait_us
from tests.checks.test_rules import BANDS, SENSED, sound
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


def lines(made: Design) -> list[list[tuple[Fraction, int, int, bool]]]:
    """Of each standing where its cells begin, and answer, wait and whether outside there."""
    cells = cells_of(decisions(control_table(made)), Fraction(1), np.dtype(np.float64))
    return [
        [
            (Fraction(str(begin)), int(cells.answers[at, place]), int(cells.waits[at, place]),
             bool(cells.outside[at, place]))
            for place, begin in enumerate(line.tolist())
            if np.isfinite(begin)
        ]
        for at, line in enumerate(cells.begins)
    ]  # fmt: skip


def above(volts: str) -> Fraction:
    """The first number beyond a mark that a reading may just reach."""
    return Fraction(str(np.nextafter(float(volts), np.inf)))


def test_the_cells_of_a_row_by_hand() -> None:
    """Boost 1 of 1.135, kept from 187 to 216 V, inside the window from 207/1.135 to 253/1.135 V, both beyond that.

    It is left downward after 20 ms, for boost 2, and upward after 10 ms: for direct, and so at any volts above.
    """
    sensing = replace(SENSED, confirm_up_ms=Fraction(10), confirm_down_ms=Fraction(20))
    row = lines(sound(sensing=sensing, backup=Backup(leave_v=(Fraction(100), Fraction(300)),
                                                   return_v=(Fraction(120), Fraction(280)))))[1]  # fmt: skip
    assert [(answer, wait, out) for _, answer, wait, out in row] == [
        (0, 20_000, True),
        (0, 20_000, False),
        (1, 0, False),
        (2, 10_000, False),
        (2, 10_000, True),
        (3, 10_000, True),
    ]
    begins = [begin for begin, *_ in row]
    assert begins[0] == 100
    assert 0 < begins[1] - 207 / Fraction("1.135") < Fraction(1, 10**9)
    assert begins[2] == 187
    assert begins[3] == above("216")
    assert 0 < begins[4] - 253 / Fraction("1.135") < Fraction(1, 10**9)
    assert begins[5] == above("300")


def test_the_first_cell_is_of_nought_which_no_band_holds() -> None:
    """A stage for a volt, 215 V in small: what is read of next to nothing leads away, of a volt to a band.

    Boost 1 and direct both hold a volt; 244 V are nearer to 230 V than 215 V.
    """
    holds = [(name, driven, Fraction(low, 215), Fraction(high, 215)) for name, driven, low, high in BANDS]
    ends = [Fraction(volts, 215) for volts in (230, 168, 240, 230, 207, 253)]
    made = sound(mains=tuple(ends[:3]), window=tuple(ends[3:]), sensing=Sensing(), bands=holds)
    cells = cells_of(decisions(control_table(made)), Fraction(1), np.dtype(np.float64))
    assert cells.answers[:, 0].tolist() == [3, 3, 3, 3]
    assert cells.outside[:, 0].all()
    of_a_volt = [bisect_right(line.tolist(), 1.0) - 1 for line in cells.begins]
    assert [int(cells.answers[at, place]) for at, place in enumerate(of_a_volt)] == [1, 1, 2, 1]


def test_away_nothing_is_inside_and_coming_back_waits_as_stated() -> None:
    backup = Backup(leave_v=(Fraction(100), Fraction(300)), return_v=(Fraction(120), Fraction(280)),
                    return_after_ms=Fraction(3000))  # fmt: skip
    away = lines(sound(backup=backup))[3]
    assert away[0][0] == 120
    assert all(out for *_, out in away)
    assert {wait for _, answer, wait, _ in away if answer != 3} == {3_000_000}
    assert {wait for _, answer, wait, _ in away if answer == 3} == {0}
