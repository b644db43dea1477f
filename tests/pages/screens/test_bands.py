"""The screen of `bands` words room and what is wanted in the volts in which they were compared."""

from __future__ import annotations

from typing import Any

import pytest
from rich.console import Console

from tapplan.answers.bands import bands_of
from tapplan.checks.review import review_of
from tapplan.pages.screens.bands import screen
from tests.control.test_shortfalls import SHARES, noises, table


@pytest.mark.parametrize("at", SHARES)
def test_the_screen_of_the_bands_tells_room_and_wanted_in_input_volts(at: Any) -> None:
    console = Console(width=200, no_color=True)
    with console.capture() as captured:
        console.print(screen(bands_of(review_of(table(at, hysteresis=12, noise=1))), 200))
    first, second = (f"{float(12 + noise):.2f}".rstrip("0").rstrip(".") for noise in noises(at, 1))
    told = captured.get()
    assert f'"boost 2" and "boost 1" have 9.96 V of room; {first} V is wanted for hysteresis and noise' in told
    assert f'"boost 1" and "direct" have 11.61 V of room; {second} V is wanted for hysteresis and noise' in told
