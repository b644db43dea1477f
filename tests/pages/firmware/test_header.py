"""The compiled controller as a C header, read back number by number and searched as its own search does."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction
from functools import cache
from math import ceil
from typing import Any

import pytest

from tapplan.design.fingerprint import fingerprint
from tapplan.pages.firmware.header import c_header
from tests.pages.firmware.stages import program_of, stage
from tests.pages.firmware.test_packed import DESIGNS

F = Fraction
EACH = pytest.mark.parametrize("name", DESIGNS)


@cache
def header(name: str) -> str:
    return c_header(program_of(DESIGNS[name]))


def macros(text: str) -> dict[str, str]:
    """Each macro without the name of the design before it, and its value."""
    stem = re.search(r"#define (TAPPLAN_\w+)_BANDS ", text)
    assert stem is not None
    return dict(re.findall(rf"#define {stem[1]}_(\w+) (\S+)", text))


def array(text: str, name: str) -> Any:
    """An array of C as lists of numbers."""
    found = re.search(rf"static const \w+ \w+_{name}(?:\[[^\]]*\])+ = (.*?);", text, re.DOTALL)
    assert found is not None
    plain = re.sub(r"(0x[0-9A-F]+)UL", lambda one: str(int(one[1], 16)), found[1])
    return json.loads(plain.replace("{", "[").replace("}", "]"))


@EACH
def test_the_search_leads_where_the_program_leads(name: str) -> None:
    made, text = program_of(DESIGNS[name]), header(name)
    begin, cut, answer = (array(text, one) for one in ("begin", "cut", "answer"))
    assert begin[0] == 0
    assert len(begin) == len(made.nodes) + 1
    for band, standing in enumerate(made.standings):
        for reading in {one for mark in made.thresholds for one in (mark - 1, mark)}:
            passed = sum(reading >= one for one in cut[begin[band] : begin[band + 1]])
            assert answer[begin[band] + passed + band] == made.number(made.decided(standing, reading))


@EACH
def test_paths_waits_and_blind_times_are_those_of_every_move(name: str) -> None:
    made, text = program_of(DESIGNS[name]), header(name)
    path, wait, blind = (array(text, one) for one in ("path", "wait_ms", "blind_ms"))
    steps = int(macros(text)["STEPS"])
    assert steps == max(len(one.masks) for one in made.passings.values())
    assert array(text, "coils") == list(made.coils)
    for start, one in enumerate(made.standings):
        for end, two in enumerate(made.standings):
            move = made.step(one, two)
            whole = [ceil(ms) for ms in move.waits_ms]
            rest = steps - len(whole)
            assert path[start][end] == [*move.masks, *[move.masks[-1]] * rest]
            assert wait[start][end] == [*whole, *[0] * rest]
            assert blind[start][end] == sum(whole)


def test_the_header_of_the_plain_stage_by_hand() -> None:
    text = header("plain")
    told = macros(text)
    assert (told["BANDS"], told["AWAY"], told["STEPS"]) == ("2", "TAPPLAN_MILL_BANDS", "1")
    assert (told["BAND_BOOST"], told["BAND_STRAIGHT"], told["COIL_K"]) == ("0", "1", "0x1UL")
    assert [told[one] for one in ("CONFIRM_UP_US", "CONFIRM_DOWN_US", "RETURN_AFTER_US")] == ["0L"] * 3
    assert array(text, "begin") == [0, 3, 6, 9]
    assert array(text, "answer") == [2, 0, 1, 2] * 3
    assert array(text, "path") == [[[1], [0], [0]], [[1], [0], [0]], [[1], [0], [0]]]
    assert array(text, "blind_ms") == [[0, 25, 25], [30, 0, 0], [30, 0, 0]]
    mark = fingerprint(stage())
    assert f" * Control table of design {mark}, made by tapplan " in text
    assert text.count(f"TAPPLAN_MILL_{mark.upper()}_H") == 2
    assert '#error "two revisions of mill in one unit: leave one out, or give it a title of its own"' in text
    assert "(at the input): 1000 for one volt." in text
    assert "UPPER" not in text
    assert "LOWER" not in text
    assert "static inline int tapplan_mill_next(int band, int32_t reading)" in text


def test_times_are_in_microseconds_rounded_up() -> None:
    made = stage(backup=True, confirm_up_ms=F("12.5"), confirm_down_ms=F("0.0004"))
    assert made.backup is not None
    late = replace(made, backup=replace(made.backup, return_after_ms=F("99.9995")))
    told = macros(c_header(program_of(late)))
    assert [told[one] for one in ("CONFIRM_UP_US", "CONFIRM_DOWN_US", "RETURN_AFTER_US")] == [
        "12500L",
        "1L",
        "100000L",
    ]


def test_readings_are_in_counts_or_millivolts_of_where_they_are_taken() -> None:
    assert " * Readings are counts of the converter of the voltage sensed (at the input): 0.5 for" in header(
        "counted"
    )
    assert " * Readings are millivolts of the voltage sensed (between S2 and S1): 1000 for one" in header("elsewhere")
    assert macros(header("ordered"))["COIL_KO"] == "0x2UL"
    assert macros(header("ordered"))["STEPS"] == "2"
