"""How often firmware must be called: as asked, else ten milliseconds or what the shortest time allows."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.errors import UsageError
from tapplan.pages.firmware.ticks import tick_of
from tests.pages.firmware.stages import program_of, stage

F = Fraction


@pytest.mark.parametrize(
    ("sensing", "asked", "tick"),
    [
        ({}, None, 10),
        ({}, 500, 500),
        ({"confirm_ms": F(40)}, None, 10),
        ({"confirm_ms": F(40)}, 40, 40),
        ({"confirm_ms": F(10)}, None, 10),
        ({"confirm_ms": F("9.9")}, None, 9),
        ({"confirm_up_ms": F(50), "confirm_down_ms": F(3)}, None, 3),
        ({"confirm_ms": F(1)}, None, 1),
        ({"confirm_ms": F("2.5")}, 2, 2),
    ],
)
def test_a_tick_is_no_longer_than_the_shortest_time(sensing: dict[str, Any], asked: int | None, tick: int) -> None:
    assert tick_of(program_of(stage(**sensing)), asked) == tick


def test_a_tick_longer_than_a_time_of_the_design_is_refused() -> None:
    made = program_of(stage(confirm_ms=F("2.5")))
    with pytest.raises(
        UsageError, match=r"found --tick-ms 3 with confirm_ms = 2\.5; accepted: 1 to 2, for a shorter"
    ):
        tick_of(made, 3)


@pytest.mark.parametrize("asked", [None, 1])
def test_a_time_below_a_millisecond_is_refused_whatever_is_asked(asked: int | None) -> None:
    made = program_of(stage(confirm_ms=F("0.5")))
    with pytest.raises(
        UsageError, match=r"found confirm_ms = 0\.5; accepted in firmware, which counts whole ms: 0, or 1"
    ):
        tick_of(made, asked)


def test_the_return_from_the_backup_is_a_time_too() -> None:
    made = stage(backup=True)
    assert made.backup is not None
    short = replace(made, backup=replace(made.backup, return_after_ms=F(7)))
    assert tick_of(program_of(short), None) == 7
