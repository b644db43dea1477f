"""What a window of samples takes: limits, middle, and how wide its sums are, by hand from the bits of a converter."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.errors import UsageError
from tapplan.pages.firmware.averaging import Averaging, averaging
from tests.pages.firmware.stages import CONVERTER, program_of, stage

F = Fraction


def taken(*, bits: int = 10, samples: int = 20, **sensing: Any) -> Averaging:
    made = stage(**sensing)
    return averaging(program_of(replace(made, controller=replace(CONVERTER, bits=F(bits), samples=F(samples)))))


def test_counts_of_a_wave_stand_about_the_middle_of_the_converter() -> None:
    found = taken()
    assert (found.detector, found.counted, found.lowest, found.highest, found.middle) == ("rms", True, 0, 1023, 512)
    assert (found.samples, found.stated, found.most, found.centred) == (20, True, 40, True)


@pytest.mark.parametrize("detector", ["average", "peak"])
def test_a_rectified_wave_stands_on_nought_and_is_not_centred(detector: str) -> None:
    found = taken(detector=detector)
    assert (found.detector, found.lowest, found.highest, found.middle, found.centred) == (detector, 0, 1023, 0, False)


@pytest.mark.parametrize(("detector", "lowest"), [("rms", -(2**26 - 1)), ("average", 0), ("peak", 0)])
def test_without_a_converter_samples_are_millivolts_of_which_64_are_an_example(detector: str, lowest: int) -> None:
    found = averaging(program_of(stage(detector=detector)))
    assert (found.counted, found.lowest, found.highest, found.middle) == (False, lowest, 2**26 - 1, 0)
    assert (found.samples, found.stated, found.most, found.bits) == (64, False, 128, 64)


def test_one_sample_is_a_window_only_of_what_is_direct() -> None:
    assert (taken(samples=1).samples, taken(samples=1).stated) == (64, False)
    assert (taken(samples=2).samples, taken(samples=2).stated) == (2, True)
    direct = taken(samples=1, detector="average")
    assert (direct.samples, direct.stated, direct.most) == (1, True, 2)


@pytest.mark.parametrize(("cycles", "centred"), [(1, True), (2, True), (F(1, 2), False), (F(13, 10), False)])
def test_only_a_window_of_whole_cycles_has_no_direct_part(cycles: Any, centred: bool) -> None:
    assert taken(window_cycles=F(cycles)).centred is centred


@pytest.mark.parametrize(
    ("bits", "samples", "detector", "wide"),
    [
        # Four times the most squares, 4 * 2 samples * 2^22 of 12 bits, and four for each sample, against 2^32.
        (12, 127, "rms", 32),
        (12, 128, "rms", 64),
        (13, 31, "rms", 32),
        (13, 32, "rms", 64),
        # Twice the sum and the count: 2 * 2 samples * 2^bits.
        (16, 16383, "average", 32),
        (16, 16384, "average", 64),
        (24, 63, "average", 32),
        (24, 64, "average", 64),
        (24, 64, "peak", 64),
    ],
)
def test_sums_are_as_wide_as_the_longest_window_of_the_largest_samples(
    bits: int, samples: int, detector: str, wide: int
) -> None:
    found = taken(bits=bits, samples=samples, detector=detector)
    assert (found.bits, found.most) == (wide, 2 * samples)


@pytest.mark.parametrize(("samples", "bits"), [(127, 8), (128, 16)])
def test_a_byte_counts_up_to_255_samples(samples: int, bits: int) -> None:
    assert taken(samples=samples).count_bits == bits


def test_more_samples_than_are_proven_for_are_refused() -> None:
    assert taken(samples=16384).samples == 16384
    with pytest.raises(UsageError, match="found 16385 samples in a reading; accepted: up to 16384 in firmware"):
        taken(samples=16385)
