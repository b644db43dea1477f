"""Cells to volts: correctly rounded, with their unit or without, many at once and one by one."""

from __future__ import annotations

import struct
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.logs.conversion import converted
from tapplan.logs.samples import RowFault
from tapplan.logs.volts import Numerals, fault_of, floats, with_unit

V, MV, KV = (Numerals(".", unit) for unit in ("V", "mV", "kV"))
COMMA = Numerals(",", "V")


def is_nearest(value: float, exact: Fraction) -> bool:
    """Whether no other float64 is nearer."""
    beside = (np.nextafter(value, -np.inf).item(), np.nextafter(value, np.inf).item())
    return all(abs(Fraction(value) - exact) <= abs(Fraction(other) - exact) for other in beside)


@given(st.lists(st.decimals(0, 10**6, allow_nan=False, places=12), min_size=1, max_size=20))
def test_numbers_are_the_nearest_floats(numbers: list[Fraction]) -> None:
    values = floats([f"{number:f}" for number in numbers], V)
    assert all(is_nearest(float(value), Fraction(number)) for value, number in zip(values, numbers, strict=True))


@given(st.floats(0, 1e9))
def test_what_a_program_printed_comes_back_bit_by_bit(value: float) -> None:
    assert struct.pack("d", floats([repr(value)], V)[0]) == struct.pack("d", value)


@pytest.mark.parametrize(
    ("cells", "numerals", "volts"),
    [
        (["230.1", " 230.1 ", "+230.1", "2.301e2", "230"], V, [230.1, 230.1, 230.1, 230.1, 230]),
        (["230.1 V", "230.1V", "230.1 volts", "230.1 Vrms", "230.1 v"], V, [230.1] * 5),
        (["230.1\u00a0V", "230.1\u202fV"], V, [230.1] * 2),
        (["0.2301 kV", "0.2301KV", "0.2301"], KV, [0.2301] * 3),
        (["230100 mV", "230100"], MV, [230100] * 2),
        (["230,1", "230", "230,1 V", "1,5e2"], COMMA, [230.1, 230, 230.1, 150]),
        ([], V, []),
    ],
)
def test_cells_as_loggers_write_them(cells: list[str], numerals: Numerals, volts: list[float]) -> None:
    assert floats(cells, numerals).tolist() == volts


@pytest.mark.parametrize(
    ("cell", "numerals", "fault"),
    [
        ("", V, RowFault.NO_NUMBER),
        ("  ", V, RowFault.NO_NUMBER),
        ("null", V, RowFault.NO_NUMBER),
        ("off", V, RowFault.NO_NUMBER),
        ("V", V, RowFault.NO_NUMBER),
        ("1_000", V, RowFault.NO_NUMBER),
        ("٢٣٠", V, RowFault.NO_NUMBER),
        ("230,1", V, RowFault.NO_NUMBER),
        ("230.1", COMMA, RowFault.NO_NUMBER),
        ("1.230,1", COMMA, RowFault.NO_NUMBER),
        ("1,230,1", COMMA, RowFault.NO_NUMBER),
        ("0x1F", V, RowFault.NO_NUMBER),
        ("--230 V", V, RowFault.NO_NUMBER),
        ("0.23 kV", V, RowFault.OTHER_UNIT),
        ("230 V", KV, RowFault.OTHER_UNIT),
        ("230 MV", MV, RowFault.OTHER_UNIT),
        ("230 mV", V, RowFault.OTHER_UNIT),
        ("230 µV", V, RowFault.OTHER_UNIT),
        ("5 A", V, RowFault.OTHER_UNIT),
        ("50 Hz", V, RowFault.OTHER_UNIT),
        ("21 °C", V, RowFault.OTHER_UNIT),
        ("99%", V, RowFault.OTHER_UNIT),
    ],
)
def test_a_cell_that_is_no_number_in_the_unit_is_told_why(cell: str, numerals: Numerals, fault: RowFault) -> None:
    assert converted([cell], lambda cells: floats(cells, numerals)).bad == (0,)
    assert fault_of(cell) is fault


def test_nan_and_infinity_are_numbers_here_and_left_out_later() -> None:
    assert np.isnan(floats(["nan", "NaN"], V)).all()
    assert np.isinf(floats(["inf", "-Infinity", "1e999"], V)).all()


def test_a_number_without_its_unit() -> None:
    assert [with_unit(cell) for cell in ("230.1 V", "5A", "230", "V", " 1. kV ")] == ["230.1", "5", "230", "V", "1."]
