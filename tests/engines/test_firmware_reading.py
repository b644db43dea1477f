"""Samples to a reading in whole numbers, against exact rational arithmetic and against sines of known volts."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import pi, sin, sqrt
from pathlib import Path
from random import Random

import pytest

from tapplan.control.program import Program, program
from tapplan.control.table import control_table
from tapplan.design.file import parse
from tapplan.errors import UsageError
from tapplan.pages.firmware.averaging import averaging
from tapplan.pages.firmware.directory import firmware
from tests.engines.firmware import WATCHED, Loaded
from tests.engines.judging import per_volt
from tests.examples import ROOT

F = Fraction
SIGNAL_BOX = (ROOT / "designs/signal-box.toml").read_text()
PUMP = (ROOT / "designs/spring-pump.toml").read_text()


def box(*, detector: str = "rms", bits: int = 12, samples: int = 64, cycles: str = "1") -> Program:
    """The signal box with another converter, and a reference in which its volts fit."""
    text = SIGNAL_BOX.replace("bits           = 12", f"bits = {bits}").replace(
        "samples        = 64", f"samples = {samples}"
    )
    text = text.replace("window_cycles = 1", f'window_cycles = {cycles}\ndetector = "{detector}"')
    assert text.count(f'detector = "{detector}"') == text.count(f"bits = {bits}\n") == 1
    return program(control_table(parse(text)))


KINDS = [
    ("rms", 12, 64, "1"),
    ("rms", 10, 40, "1"),
    ("rms", 8, 32, "2"),
    ("rms", 12, 64, "0.5"),
    ("rms", 12, 100, "1.3"),
    ("rms", 16, 4000, "1"),
    ("rms", 24, 16384, "1"),
    ("rms", 24, 500, "1.5"),
    ("rms", 12, 1, "1"),
    ("average", 12, 64, "1"),
    ("average", 24, 16384, "1"),
    ("average", 10, 1, "1"),
    ("peak", 12, 64, "1"),
    ("peak", 24, 30, "1"),
]


def nearest(square: Fraction, reading: int) -> bool:
    """Whether a whole number is the nearest to a root, a half counted upward; with nothing but whole numbers."""
    least = (2 * reading - 1) ** 2 <= 4 * square if reading else True
    return least and 4 * square < (2 * reading + 1) ** 2


def variance(samples: Sequence[int], middle: int, *, centred: bool) -> Fraction:
    """The mean square of what lies beside the middle, or beside the mean."""
    mean = F(sum(samples), len(samples)) if centred else F(middle)
    return sum(((one - mean) ** 2 for one in samples), F(0)) / len(samples)


def windows(lowest: int, highest: int, usual: int, most: int, chance: Random) -> list[list[int]]:
    """Windows of chance, of ends, of one value, of sines, of one and two samples, and the longest."""
    span, found = highest - lowest, []
    for _ in range(60):
        count = chance.choice((usual, usual, 1, 2, min(3, most), chance.randint(1, min(most, 300))))
        top = chance.choice((1, 3, span // 50 + 1, span))
        begin = chance.randint(lowest, highest - top)
        found.append([begin + chance.randint(0, top) for _ in range(count)])
    for count in (usual, most):
        found += [[lowest] * count, [highest] * count, [(lowest, highest)[one % 2] for one in range(count)]]
        found.append([(lowest, highest)[one == 0] for one in range(count)])
    return found


@pytest.mark.parametrize(("detector", "bits", "samples", "cycles"), KINDS)
def test_a_reading_is_the_nearest_whole_number(
    detector: str, bits: int, samples: int, cycles: str, tmp_path: Path
) -> None:
    made = box(detector=detector, bits=bits, samples=samples, cycles=cycles)
    here, taken = Loaded(tmp_path, firmware(made), *WATCHED), averaging(made)
    assert (taken.lowest, taken.highest) == (0, 2**bits - 1)
    assert taken.samples == samples or (detector, samples) == ("rms", 1)
    centred = F(cycles).denominator == 1
    for window in windows(0, 2**bits - 1, taken.samples, taken.most, Random(bits)):
        reading = here.averaged(window)
        if detector == "rms" and centred and len(window) == 1:
            assert reading == -1  # the mean of one sample is that sample
        elif detector == "rms":
            assert nearest(variance(window, 2 ** (bits - 1), centred=centred), reading), window
        elif detector == "average":
            assert reading == (F(sum(window), len(window)) + F(1, 2)).__floor__()
        else:
            assert reading == max(window)


def test_millivolts_without_a_converter(tmp_path: Path) -> None:
    made = program(control_table(parse(PUMP)))
    here, taken = Loaded(tmp_path, firmware(made), *WATCHED), averaging(made)
    assert taken.lowest == -taken.highest
    for window in windows(taken.lowest, taken.highest, taken.samples, taken.most, Random(3)):
        reading = here.averaged(window)
        if len(window) > 1:
            assert nearest(variance(window, 0, centred=True), reading), window


def sine(volts: float, made: Program, count: int, offset: float, cycles: float) -> list[int]:
    """The converter's samples of a sine of so many volts RMS at the points sensed, about half its reference."""
    controller = made.table.design.controller
    assert controller is not None
    upper, lower = map(float, controller.divider_ohm)
    share, full = lower / (upper + lower), 2 ** int(controller.bits)
    found = []
    for number in range(count):
        wave = volts * sqrt(2) * sin(2 * pi * cycles * number / count + 0.3) * share
        at = {"rms": wave + float(controller.reference_v) / 2 + offset}
        at |= dict.fromkeys(("average", "peak"), abs(wave))
        found.append(int(at[made.table.design.sensing.detector] / float(controller.reference_v) * full))
    return found


@pytest.mark.parametrize(
    ("detector", "cycles"), [("rms", "1"), ("rms", "2"), ("rms", "0.5"), ("average", "1"), ("peak", "1")]
)
def test_a_sine_is_read_in_the_counts_of_the_thresholds(detector: str, cycles: str, tmp_path: Path) -> None:
    """To within two counts: the samples are cut to whole counts, and the peak may lie between two of them.

    An offset of the converter, 0.1 V of its 3.3, changes nothing where whole cycles are taken.
    """
    made = box(detector=detector, samples=1000, cycles=cycles)
    here = Loaded(tmp_path, firmware(made))
    for volts in (10, 120, 180.5, 230, 268):
        for offset in (0.0, 0.1) if detector == "rms" and F(cycles).denominator == 1 else (0.0,):
            reading = here.averaged(sine(volts, made, 1000, offset, float(F(cycles))))
            assert reading == pytest.approx(volts * float(per_volt(made.table)), abs=2), (volts, offset)


def test_a_converter_that_hangs_reads_nothing_so_that_the_load_leaves(tmp_path: Path) -> None:
    """All samples alike, at either end or in the middle: no alternating voltage, and no band."""
    here = Loaded(tmp_path, firmware(box()))
    for stuck in (0, 2048, 4095, 1300):
        reading = here.averaged([stuck] * 64)
        assert reading == 0
        assert here.next(1, reading) == 3


@pytest.mark.parametrize("detector", ["average", "peak"])
def test_a_direct_reading_at_the_last_count_is_none(detector: str, tmp_path: Path) -> None:
    here = Loaded(tmp_path, firmware(box(detector=detector)))
    assert here.averaged([4095] * 64) == 4095
    assert {here.next(band, 4095) for band in range(4)} == {3}


@pytest.mark.parametrize("detector", ["rms", "average", "peak"])
def test_samples_that_cannot_be_spoil_their_window_and_no_other(detector: str, tmp_path: Path) -> None:
    here = Loaded(tmp_path, firmware(box(detector=detector)))
    good = [2048 + 40 * (number % 3) for number in range(64)]
    first = here.averaged(good)
    assert first >= 0
    for bad in (-1, 4096, -(2**31), 2**31 - 1):
        assert here.averaged([*good[:5], bad, *good[5:]]) == -1
        assert here.averaged(good) == first
    assert here.averaged([]) == -1
    assert here.averaged(good[:1] * 129) == -1
    assert here.averaged(good + good) == first


def test_more_samples_than_are_proven_are_refused() -> None:
    with pytest.raises(UsageError, match=r"found 16385 samples in a reading; accepted: up to 16384 in firmware"):
        firmware(box(samples=16385))


def test_a_threshold_beyond_the_converter_is_refused() -> None:
    text = SIGNAL_BOX.replace("leave_v   = [180, 268]", "leave_v = [180, 305]")
    assert text != SIGNAL_BOX
    with pytest.raises(UsageError, match=r"found a threshold at 1472 counts; accepted: up to 1448, above which"):
        firmware(program(control_table(parse(text))))


def test_sums_are_as_narrow_as_they_can_be() -> None:
    assert averaging(box()).bits == 32
    assert averaging(box(samples=127)).bits == 32
    assert averaging(box(samples=128)).bits == 64  # twice as many fit, and four times their squares are 2^32
    assert averaging(box(bits=16, samples=4000)).bits == 64
    assert averaging(box(detector="average", bits=16, samples=4000)).bits == 32
