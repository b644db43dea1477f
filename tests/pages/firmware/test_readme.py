"""The README of a firmware: readings, times, proofs, sizes and moves, sentence by sentence."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.design.fingerprint import fingerprint
from tapplan.pages.firmware.directory import parts_of
from tapplan.pages.firmware.parts import Parts
from tapplan.pages.firmware.readme import readme
from tests.pages.firmware.stages import program_of, stage
from tests.pages.firmware.test_packed import DESIGNS

F = Fraction


def of(name: str = "plain", **sensing: Any) -> Parts:
    return parts_of(program_of(stage(**sensing) if sensing else DESIGNS[name]))


def chapter(made: Parts, name: str) -> str:
    """A chapter in one line."""
    text = readme(made).partition(f"\n{name}\n\n")[2]
    ends = [text.find(f"\n{one}\n\n") for one in ("Times", "Sizes", "Moves") if f"\n{one}\n\n" in text]
    return " ".join(text[: min(ends) if ends else None].split())


def test_the_head_names_the_design_and_its_files() -> None:
    text = readme(of())
    assert text.startswith(f"Mill, 230 V\ndesign {fingerprint(stage())}, tapplan ")
    assert "cc -std=c99 -o vectors vectors.c tapplan_mill.c && ./vectors" in text
    for word in ("MARK", "VERSION", "CAUTION", "READINGS", "TIMES", "PROVEN", "SIZES", "MOVES", "LOWER", "UPPER"):
        assert word not in text


def test_what_a_reading_is_and_which_is_none() -> None:
    plain, counted = chapter(of(), "Readings"), chapter(of("counted"), "Readings")
    assert plain.startswith(
        "Readings are millivolts of the voltage sensed (at the input): 1000 for one volt. Below 0 a"
    )
    assert "Below 0 or above 362, where the converter cuts off, a reading is none:" in counted
    assert "hand TAPPLAN_MILL_NO_READING to tapplan_mill_step." in plain


@pytest.mark.parametrize(
    ("name", "sensing", "told"),
    [
        (
            "counted", {},
            "Samples are from 0 to 1023, 512 where the wave crosses nought: alternating, the RMS value of a window, "
            "rounded to the nearest whole number. 20 in one window; up to 40 fit. The mean of a window is taken off "
            "first, so an offset of the converter does no harm.",
        ),
        (
            "", {"window_cycles": F(1, 2)},
            "Samples are from -67108863 to 67108863, 0 where the wave crosses nought: alternating, the RMS value of "
            "a window, rounded to the nearest whole number. 64 in one window are an example, the design states none; "
            "up to 128 fit.",
        ),
        (
            "", {"detector": "average"},
            "Samples are from 0 to 67108863, millivolts as set to read a sine right: of the rectified wave, averaged "
            "over a window, rounded to the nearest whole number. 64 in one window are an example, the design states "
            "none; up to 128 fit.",
        ),
    ],
)  # fmt: skip
def test_what_a_sample_is(name: str, sensing: dict[str, Any], told: str) -> None:
    assert chapter(of(name, **sensing), "Readings").endswith(told)


def test_a_direct_reading_of_a_converter_is_in_its_counts() -> None:
    made = of("counted")
    direct = replace(made, averaging=replace(made.averaging, detector="peak", middle=0, centred=False))
    told = chapter(direct, "Readings")
    assert "Samples are from 0 to 1023: of the rectified or held wave, the highest of a window, rounded" in told


def test_times_are_told_as_they_act_where_calls_make_them_later() -> None:
    made = parts_of(program_of(stage(confirm_up_ms=F("12.5"), confirm_down_ms=F(20))), tick_ms=10)
    assert chapter(made, "Times").startswith(
        "longest time between two calls (--tick-ms): 10 ms confirm_up_ms: 12.5 ms; with a call each 10 ms: 20 ms "
        "confirm_down_ms: 20 ms settling: 25 ms; with a call each 10 ms: 30 ms settling: 30 ms A wait ends at"
    )


def test_what_was_proven_at_the_tick_is_told_only_where_it_was_asked() -> None:
    made = of()
    assert "Proven again" not in readme(made)
    held = " ".join(readme(replace(made, worse=())).split())
    asked = (
        "Proven again with a call each 10 ms, so that readings, confirmations, pauses and settling are as late as "
        "they can be"
    )
    assert f"{asked}: nothing is found that the times alone do not bring." in held
    one: Any = SimpleNamespace(severity="warning", code="race-dip", where='band "a"', message="so */ it is")
    found = " ".join(readme(replace(made, worse=(one, one))).split())
    line = '- warning, race-dip, band "a": so * / it is'
    assert f"{asked}, there is found besides: {line} {line} Sizes" in found


def test_sizes_are_those_of_tables_state_and_window() -> None:
    assert chapter(of(), "Sizes").startswith(
        "tables: 76 bytes of constant data (flash) state: 8 bytes of RAM; a window: 18; more where they are padded"
    )


def test_bands_that_only_a_reading_that_is_none_takes_away_are_named() -> None:
    assert chapter(of(), "Moves") == "Every band is left for away by some reading of the table, too."
    assert chapter(of("elsewhere"), "Moves").startswith(
        'Only a reading that is none leads straight to away from "boost 1", "buck 1".'
    )


SHORTING = """
format = 1
title = "Shorting"
mains = { nominal_v = 200, range_v = [180, 220] }
output = { nominal_v = 200, window_v = [170, 230] }
terminals = { line = "T1", neutral = "N", output = "O" }
winding = [{ name = "a", ends = ["N", "T1"], turns = 200 }, { name = "b", ends = ["T1", "T2"], turns = 20 }]
relay = [{ name = "K1", com = "O", no = "T1" }, { name = "K2", com = "O", no = "T2" }]
band = [
  { name = "boost", energised = ["K2"], hold_v = [170, 200] },
  { name = "direct", energised = ["K1"], hold_v = [190, 230] },
]
backup = { leave_v = [170, 230], return_v = [175, 225], energised = ["K2"] }
"""


def test_a_way_to_away_on_which_turns_may_be_shorted_is_told() -> None:
    """From direct to K2 alone: K1 may still be closed when K2 closes."""
    from tapplan.design.file import parse

    told = chapter(parts_of(program_of(parse(SHORTING))), "Moves")
    assert told.endswith('On the way to away turns may be shorted while relays fly, from "direct".')
