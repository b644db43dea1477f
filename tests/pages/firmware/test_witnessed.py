"""The vectors in the program that comes with a firmware, read back line by line."""

from __future__ import annotations

import re

import pytest

from tapplan.pages.firmware.directory import parts_of
from tapplan.pages.firmware.rehearsed import rehearsed
from tapplan.pages.firmware.witnessed import host_program
from tests.pages.firmware.stages import program_of
from tests.pages.firmware.test_packed import DESIGNS


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
