"""Many cells at once: a bad one is found, and spoils no other."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapplan.logs.conversion import converted
from tapplan.logs.stamps import Stamped, micros
from tapplan.logs.volts import Numerals, floats
from tests.logs.reading import us

VOLTS = ["230.1", "0.5", "230.1 V", "bad", "bad", "", "1_0", "231 kV", "é", "232,5", "7", "nil"]
STAMPS = [
    "2024-06-05T00:00:00",
    "2024-06-05T00:00:00.25",
    "2024-06-31T00:00:00",
    "5/6/2024 1:00:00",
    "15/6/2024 1:00:00 PM",
]
STAMPS += ["", "off", "2024-06-05T00:00:00Z", "2024-06-05 00:00:00", "12/6/2024 11:00:00 AM"]


def volts(cells: Sequence[str]) -> NDArray[np.float64]:
    return floats(cells, Numerals(".", "V"))


def stamps(cells: Sequence[str]) -> NDArray[np.int64]:
    return micros(cells, Stamped("day-first", zoned=False))


def check(cells: list[str], convert: Callable[[Sequence[str]], NDArray[np.float64] | NDArray[np.int64]]) -> None:
    """Holds many cells against each of them alone."""
    values, bad = [], []
    for place, cell in enumerate(cells):
        try:
            values.append(convert([cell])[0].item())
        except ValueError:
            values.append(0)
            bad.append(place)
    found = converted(cells, convert)
    assert (found.values.tolist(), found.bad) == (values, tuple(bad))


@given(st.lists(st.sampled_from(VOLTS), max_size=60))
def test_volts_among_bad_cells(cells: list[str]) -> None:
    check(cells, volts)


@given(st.lists(st.sampled_from(STAMPS), max_size=60))
def test_stamps_of_many_shapes_among_bad_cells(cells: list[str]) -> None:
    check(cells, stamps)


def test_few_cells_are_looked_at_alone() -> None:
    calls = []

    def counted(cells: Sequence[str]) -> NDArray[np.float64]:
        calls.append(len(cells))
        return volts(cells)

    cells = [f"{place / 10}" if place % 100 else "off" for place in range(100_000)]
    assert len(converted(cells, counted).bad) == 1000
    assert len(calls) < 20
    late = [f"2024-06-05T00:{place // 60 % 60:02}:{place % 60:02}" for place in range(3600)]
    late[1000] = "2024-06-35T00:00:00"
    calls.clear()
    assert converted(late, lambda cells: calls.append(len(cells)) or stamps(cells)).bad == (1000,)  # type: ignore[func-returns-value]
    assert len(calls) < 40
    assert converted(late, stamps).values[1001] == us(late[1001])
