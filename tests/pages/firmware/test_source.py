"""The firmware compiled by the C compiler at hand: what comes with it finds nothing wrong, and windows are read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import floor, isqrt
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tapplan.design.file import load
from tapplan.design.model import Design
from tapplan.pages.firmware.directory import firmware
from tapplan.pages.firmware.source import _ones
from tests.engines.firmware import Loaded, compiled, name_of, need, put, told
from tests.examples import ROOT
from tests.pages.firmware.stages import CONVERTER, program_of, stage
from tests.pages.firmware.test_packed import DESIGNS

F = Fraction


@pytest.mark.parametrize("name", [*DESIGNS, "signal-box"])
def test_the_program_that_comes_with_it_finds_nothing_wrong(name: str, tmp_path: Path) -> None:
    need("gcc", "gcc")
    made = program_of(DESIGNS.get(name) or load(ROOT / "designs" / f"{name}.toml"))
    texts = firmware(made)
    put(tmp_path, texts)
    compiled(tmp_path, ["vectors.c", f"{name_of(texts)}.c"])
    (last,) = told(tmp_path)
    decisions, lines = map(int, re.findall(r"\d+", last)[:2])
    marks = {one for mark in made.thresholds for one in (mark - 1, mark)} | {-1}
    beyond = 0 if made.most_reading is None else 2
    assert (decisions, last.endswith(" 0 wrong")) == (len(made.nodes) * (len(marks) + beyond), True)
    assert lines == texts["vectors.c"].count("UL, ")


@pytest.mark.parametrize("name", ["plain", "counted", "backup"])
def test_a_reading_that_cannot_be_leads_away_from_every_band(name: str, tmp_path: Path) -> None:
    made = program_of(DESIGNS[name])
    here = Loaded(tmp_path, firmware(made))
    most = 2**31 - 1 if made.most_reading is None else made.most_reading
    for band, standing in enumerate(made.standings):
        assert here.next(band, -1) == here.next(band, -(2**31)) == 2
        assert here.next(band, most) == made.number(made.decided(standing, most))
        if made.most_reading is not None:
            assert here.next(band, most + 1) == here.next(band, 2**31 - 1) == 2
        for mark in made.thresholds:
            for reading in (mark - 1, mark):
                assert here.next(band, reading) == made.number(made.decided(standing, reading))
    assert here.next(200, made.thresholds[0]) == here.next(2, made.thresholds[0])
    assert here.self_test() == 0


# --- windows ---


def windowed(bits: int, samples: int, **sensing: Any) -> Design:
    return replace(stage(**sensing), controller=replace(CONVERTER, bits=F(bits), samples=F(samples)))


def rounded(value: Fraction) -> int:
    """The nearest whole number, a half upward."""
    return floor(value + F(1, 2))


def rms(samples: Sequence[int], middle: Fraction) -> int:
    """The whole number nearest to the root of the mean square beside a middle: twice it, rooted and halved."""
    square = sum(((one - middle) ** 2 for one in samples), F(0)) / len(samples)
    return (isqrt(floor(4 * square)) + 1) // 2


@pytest.mark.parametrize(
    ("made", "kind"),
    [
        (windowed(10, 20), "centred"),
        (windowed(13, 64), "centred"),
        (windowed(10, 20, window_cycles=F(1, 2)), "rms"),
        (windowed(10, 20, detector="average"), "average"),
        (windowed(24, 64, detector="average"), "average"),
        (windowed(10, 20, detector="peak"), "peak"),
        (stage(), "centred"),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_a_window_is_read_to_the_nearest_whole_number(made: Design, kind: str, tmp_path: Path) -> None:
    """Against exact fractions; a window that is empty, too long, or has a sample that cannot be, gives none."""
    program = program_of(made)
    here, chance = Loaded(tmp_path, firmware(program)), Random(kind)
    counted = made.controller is not None
    highest = 2 ** int(made.controller.bits) - 1 if made.controller is not None else 2**26 - 1
    lowest = 0 if counted or kind in ("average", "peak") else -highest
    most = 2 * int(made.controller.samples) if made.controller is not None else 128
    middle = F((highest + 1) // 2 if counted and kind in ("rms", "centred") else 0)
    windows = [[chance.randint(lowest, highest) for _ in range(chance.randint(2, most))] for _ in range(60)]
    windows += [[lowest] * most, [highest] * most, [lowest, highest] * (most // 2), [highest, highest - 1]]
    for window in windows:
        wanted = {
            "centred": lambda found: rms(found, F(sum(found), len(found))),
            "rms": lambda found: rms(found, middle),
            "average": lambda found: rounded(F(sum(found), len(found))),
            "peak": max,
        }[kind](window)
        assert here.averaged(window) == wanted
    single = here.averaged([highest])
    assert single == {"centred": -1, "rms": rms([highest], middle)}.get(kind, highest)
    assert here.averaged([]) == -1
    assert here.averaged([highest] * (most + 1)) == -1
    assert here.averaged([highest, highest + 1]) == here.averaged([lowest, lowest - 1]) == -1
    assert here.averaged([lowest, lowest]) == (int(middle) if kind == "rms" else 0)


# --- the text ---


@pytest.mark.parametrize(("bits", "told_as"), [(8, "0xFFU"), (16, "0xFFFFU"), (32, "0xFFFFFFFFUL")])
def test_the_greatest_number_of_some_bits_is_wide_enough_on_every_machine(bits: int, told_as: str) -> None:
    assert _ones(bits) == told_as


def array(text: str, name: str) -> tuple[int, list[str]]:
    (bits, values), = re.findall(rf"static const uint(\d+)_t \w+_table_{name}\[\d+\] TAPPLAN_TABLE = {{\n(.*?)\n}};",
                                 text, re.DOTALL)  # fmt: skip
    return int(bits), values.replace(",", " ").split()


def test_tables_are_written_in_the_kinds_that_hold_them_masks_as_bits() -> None:
    """Three cuts of each standing, of 32 bits in millivolts and of 8 in counts of half a volt."""
    text = firmware(program_of(stage()))["tapplan_mill.c"]
    assert array(text, "begin") == (8, ["0U", "3U", "6U", "9U"])
    assert array(text, "coils") == (8, ["0x1U", "0x0U", "0x0U"])
    assert array(text, "cut")[0] == 32
    assert array(text, "cut")[1][:3] == ["180000UL", "230001UL", "270001UL"]
    assert sorted(array(text, "mask")[1]) == ["0x0U"] * 4 + ["0x1U"]
    assert "#define TAPPLAN_MILL_STEPS 5U" in text
    counted = firmware(program_of(stage(counted=True)))["tapplan_mill.c"]
    assert array(counted, "cut") == (8, ["90U", "116U", "136U", "90U", "110U", "136U", "90U", "110U", "136U"])
    assert all(len(line) <= 100 for line in text.splitlines() if line.startswith("  ") and line.endswith("U,"))


def test_times_stand_in_the_source_in_whole_milliseconds() -> None:
    text = firmware(program_of(DESIGNS["confirmed"]))["tapplan_mill.c"]
    assert "#define TAPPLAN_MILL_CONFIRM_UP_MS 13UL " in text
    assert "#define TAPPLAN_MILL_CONFIRM_DOWN_MS 70UL " in text
    assert "#define TAPPLAN_MILL_RETURN_AFTER_MS 0UL " in text
    assert "LOWER" not in text.replace("LOWEST", "")
    assert "UPPER" not in text


@pytest.mark.parametrize(
    ("name", "narrow"),
    [("plain", "const uint32_t read = (uint32_t)reading;"),
     ("counted", "const uint8_t read = (reading > 255L) ? (uint8_t)255L : (uint8_t)reading;")],
)  # fmt: skip
def test_a_reading_above_all_cuts_is_narrowed_to_the_greatest_of_their_kind(name: str, narrow: str) -> None:
    """Readings in millivolts go to 2^31 - 1, which 32 bits hold; counts to 362, and cuts are of 8 bits."""
    text = firmware(program_of(DESIGNS[name]))["tapplan_mill.c"]
    assert narrow in text
    assert ("(reading > TAPPLAN_MILL_READING_MOST)" in text) is (name == "counted")


def test_the_self_test_sums_every_byte_of_a_table_the_low_one_first_and_a_byte_as_it_is() -> None:
    """Cuts of 32 bits in four shifts of eight; places of 8 bits without one."""
    text = firmware(program_of(stage()))["tapplan_mill.c"]
    told = re.findall(r"sum = tapplan_mill_summed\(sum, (.*)\);", text)
    cut = "(uint8_t)((TAPPLAN_MILL_CUT(place) >> {}) & 0xFFU)"
    assert told == [
        "TAPPLAN_MILL_BEGIN(place)",
        *(cut.format(shift) for shift in (0, 8, 16, 24)),
        *(f"TAPPLAN_MILL_{name}(place)" for name in ("ENTRY", "RETREAT", "COILS", "STAY", "MASK", "WAIT", "END")),
    ]
    loops = re.findall(r"for \(place = 0U; place < (\d+)U; place\+\+\)", text)
    assert [int(one) for one in loops] == [4, 9, 12, 3, 5]
