"""What the files of a firmware share: bytes of a window and of a state, numbers as C writes them, units."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.control.program import MOST_READING
from tapplan.pages.firmware.directory import parts_of
from tapplan.pages.firmware.parts import Parts, number
from tests.pages.firmware.stages import CONVERTER, program_of, stage

F = Fraction


def parts(*, counted: bool = False, samples: int | None = None, **sensing: object) -> Parts:
    made = stage(counted=counted, **sensing)
    if samples is not None:
        made = replace(made, controller=replace(CONVERTER, samples=F(samples)))
    return parts_of(program_of(made))


@pytest.mark.parametrize(
    ("detector", "samples", "bytes_"),
    [
        # 10 bits; squares and their sum, or one sum, of 32 bits; a count of a byte, of two from 256; a mark.
        ("rms", 20, 4 + 4 + 1 + 1),
        ("rms", 128, 4 + 4 + 2 + 1),
        ("average", 127, 4 + 1 + 1),
        ("average", 128, 4 + 2 + 1),
        ("peak", 127, 4 + 1 + 1),
        ("peak", 128, 4 + 2 + 1),
    ],
)
def test_a_window_is_its_sums_its_count_and_a_mark(detector: str, samples: int, bytes_: int) -> None:
    assert parts(counted=True, samples=samples, detector=detector).window_bytes == bytes_


def test_millivolts_take_sums_of_eight_bytes_and_a_peak_four_all_the_same() -> None:
    assert [parts(detector=one).window_bytes for one in ("rms", "average", "peak")] == [8 + 8 + 2, 8 + 2, 4 + 2]


@pytest.mark.parametrize(
    ("value", "told"),
    [(0, "0x0U"), (255, "0xFFU"), (65535, "0xFFFFU"), (65536, "0x10000UL"), (2**32 - 1, "0xFFFFFFFFUL")],
)  # fmt: skip
def test_numbers_beyond_sixteen_bits_are_long(value: int, told: str) -> None:
    assert number(value) == told


def test_readings_are_millivolts_or_counts_and_end_where_the_converter_does() -> None:
    """2.048 V across the converter are a wave of 1.024 V in peak, 724.08 V RMS over a thousandth: 362.04 counts."""
    plain, counted = parts(), parts(counted=True)
    assert (plain.unit, counted.unit) == ("millivolts", "counts of the converter")
    assert (plain.most_reading, counted.most_reading) == (MOST_READING, 362)
    assert parts(at=("LINE", "N")).told == [
        "Readings are millivolts of the voltage sensed (between LINE and N): 1000 for one volt."
    ]
