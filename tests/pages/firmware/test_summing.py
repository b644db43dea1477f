"""The averaging in C by its text: what is out of range, how few samples are a reading, how wide the sums are."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from tapplan.pages.firmware.averaging import averaging
from tapplan.pages.firmware.summing import summing
from tests.pages.firmware.stages import program_of, stage

F = Fraction


def text(*, counted: bool = False, detector: str = "rms", cycles: int | str = 1) -> str:
    return summing(averaging(program_of(stage(counted=counted, detector=detector, window_cycles=F(cycles)))))


@pytest.mark.parametrize(
    ("counted", "detector", "both"),
    [(False, "rms", True), (True, "rms", False), (False, "average", False), (False, "peak", False),
     (True, "average", False), (True, "peak", False)],
)  # fmt: skip
def test_a_sample_is_held_against_both_limits_only_where_it_may_be_negative(
    counted: bool, detector: str, both: bool
) -> None:
    """Only the millivolts of a wave are; else a negative one, taken without a sign, lies above every limit."""
    made = text(counted=counted, detector=detector)
    two = (
        "if ((sample < UPPER_SAMPLE_LEAST) || (sample > UPPER_SAMPLE_MOST) || (window->count >= UPPER_SAMPLES_MOST))"
    )
    one = "if (((uint32_t)sample > (uint32_t)UPPER_SAMPLE_MOST) || (window->count >= UPPER_SAMPLES_MOST))"
    assert (two in made, one in made) == (both, not both)


@pytest.mark.parametrize(
    ("detector", "cycles", "least"), [("rms", 1, 2), ("rms", "1/2", 1), ("average", 1, 1), ("peak", 1, 1)]
)
def test_a_mean_can_be_taken_off_only_of_two_samples_or_more(detector: str, cycles: int | str, least: int) -> None:
    """Of one sample nothing would be left."""
    made = text(detector=detector, cycles=cycles)
    assert re.findall(r"\(window->count >= (\d+)U\)", made) == [str(least)]
    assert ("const WIDE mean".replace("WIDE", "uint64_t") in made) is (least == 2)


@pytest.mark.parametrize(("detector", "roots"), [("rms", 1), ("average", 0), ("peak", 0)])
def test_a_root_is_drawn_only_of_squares(detector: str, roots: int) -> None:
    made = text(detector=detector)
    assert made.count("static uint64_t LOWER_root(") == roots
    assert made.count("(LOWER_root(fourfold) + 1U) / 2U") == roots


def test_of_counts_the_middle_of_the_converter_is_taken_off_in_sums_of_its_width() -> None:
    """10 bits: the middle is 512; 40 samples of 512 squared go into 32 bits."""
    made = text(counted=True)
    assert "const int32_t off = (int32_t)sample - (int32_t)512L;" in made
    assert "int64_t" not in made
    assert "const int64_t off = (int64_t)sample - (int64_t)0L;" in text()


@pytest.mark.parametrize("detector", ["rms", "average", "peak"])
def test_no_place_is_left_to_fill_but_the_names(detector: str) -> None:
    made = text(detector=detector)
    assert not re.search(r"CLEARED|ADDED|VALUE|FOUR|OUTSIDE|LEAST_COUNT|SIGNED|WIDE|MIDDLE|ROOT", made)
    assert made.endswith("  return reading;\n}")
