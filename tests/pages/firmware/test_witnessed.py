"""The vectors in the program that comes with a firmware, read back line by line."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.pages.firmware.directory import parts_of
from tapplan.pages.firmware.rehearsed import rehearsed
from tapplan.pages.firmware.witnessed import host_program
from tests.pages.firmware.stages import program_of, stage
from tests.pages.firmware.test_packed import DESIGNS

F = Fraction


@pytest.mark.parametrize("name", DESIGNS)
def test_each_band_is_asked_at_every_threshold_and_beyond_what_can_be_read(name: str) -> None:
    made = program_of(DESIGNS[name])
    text = host_program(parts_of(made))
    lines = [tuple(map(int, one)) for one in re.findall(r"^  \{(\d+)U, (\d+)U, (-?\d+)L\}", text, re.MULTILINE)]
    wanted = {one for mark in made.thresholds for one in (mark - 1, mark)} | {-1}
    if made.most_reading is not None:
        wanted |= {made.most_reading, made.most_reading + 1}
    assert {(band, reading) for band, _, reading in lines} == {
        (band, reading) for band in range(len(made.nodes)) for reading in wanted
    }
    away = len(made.nodes) - 1
    for band, then, reading in lines:
        beyond = reading < 0 or (made.most_reading is not None and reading > made.most_reading)
        assert then == (away if beyond else made.number(made.decided(made.standings[band], reading)))


@pytest.mark.parametrize("name", DESIGNS)
def test_the_course_stands_call_by_call(name: str) -> None:
    parts = parts_of(program_of(DESIGNS[name]))
    found = re.findall(r"^  \{(\d+)UL, (-?\d+)L, (\d+)U, (0x[0-9A-F]+)UL?\}", host_program(parts), re.MULTILINE)
    assert [(int(count), int(reading), int(band), int(mask, 16)) for count, reading, band, mask in found] == [
        (one.count, one.reading, one.band, one.mask) for one in rehearsed(parts.made, parts.tick_ms)
    ]
    assert "LOWER" not in host_program(parts)


def test_without_a_reading_even_a_band_held_from_nothing_is_left() -> None:
    """Held from 0 V, a count of -1 would lie below every threshold, and so in that band."""
    made = stage()
    low = replace(made, bands=(replace(made.bands[0], hold_v=(F(0), F(230))), *made.bands[1:]))
    text = host_program(parts_of(program_of(low)))
    asked = re.findall(r"^  \{(\d)U, (\d)U, (-?\d+)L\}", text, re.MULTILINE)
    assert [one for one in asked if one[2] == "-1"] == [("0", "2", "-1"), ("1", "2", "-1"), ("2", "2", "-1")]
    assert ("0", "0", "219999") in asked
