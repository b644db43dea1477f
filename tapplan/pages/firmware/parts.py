"""What every file of a design's firmware is written from: names, arrays, averaging, tick and limits."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from tapplan.checks.finding import Finding
from tapplan.control.program import MOST_READING, Program
from tapplan.pages.cnames import comment, wrapped
from tapplan.pages.firmware.averaging import Averaging
from tapplan.pages.firmware.packed import Packed


@dataclass(frozen=True, slots=True)
class Parts:
    """A program made ready; `lower` is what every name begins with, `tick_ms` the longest time between two calls.

    `worse`: what is found with times as they are at that tick, None where it was not asked.
    """

    made: Program
    lower: str
    packed: Packed
    averaging: Averaging
    tick_ms: int
    worse: tuple[Finding, ...] | None = None

    @property
    def upper(self) -> str:
        """What every macro begins with."""
        return self.lower.upper()

    def filled(self, text: str, places: Mapping[str, str]) -> str:
        """A text of ours with these in their places, and the design's names and title in LOWER, UPPER and TITLE.

        All at once, so that no word of a design is taken for a place.
        """
        title = comment(self.made.table.design.title)
        every = {**places, "LOWER": self.lower, "UPPER": self.upper, "TITLE": title}
        return re.sub("|".join(every), lambda found: every[found[0]], text)

    @property
    def unit(self) -> str:
        """What a reading is counted in."""
        return "counts of the converter" if self.made.counted else "millivolts"

    @property
    def most_reading(self) -> int:
        """The highest reading that can be."""
        return MOST_READING if self.made.most_reading is None else self.made.most_reading

    @property
    def state_bytes(self) -> int:
        """Bytes of a state where nothing is padded."""
        packed = self.packed
        return (2 * packed.time_bits + 2 * packed.step_bits) // 8 + 2

    @property
    def window_bytes(self) -> int:
        """Bytes of a window where nothing is padded."""
        taken = self.averaging
        sums = {"rms": 2 * taken.bits, "average": taken.bits, "peak": 32}
        return (sums[taken.detector] + taken.count_bits) // 8 + 1

    @property
    def told(self) -> list[str]:
        """What a reading is, in lines of a comment."""
        at = self.made.table.design.sensing.at
        where = f"at the {at}" if isinstance(at, str) else f"between {at[0]} and {at[1]}"
        per = f"{float(self.made.per_volt):.9g} for one volt"
        return wrapped(comment(f"Readings are {self.unit} of the voltage sensed ({where}): {per}."))


def number(value: int) -> str:
    """A whole number from nought on as C writes it, wide enough on every machine."""
    return f"0x{value:X}UL" if value > 0xFFFF else f"0x{value:X}U"
