"""Designs whose firmware is tried on boards: shipped ones, one of the size that is promised, random ones."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from random import Random

from tapplan.control.program import Program, program
from tapplan.control.table import control_table
from tapplan.design.file import parse
from tapplan.design.model import Design
from tests.examples import SHIPPED
from tests.outside.designs import random_design


@dataclass(frozen=True)
class Sample:
    """A design by its text."""

    name: str
    text: str

    @cached_property
    def design(self) -> Design:
        return parse(self.text)

    @cached_property
    def program(self) -> Program:
        return program(control_table(self.design))


CRANE = next(path for path in SHIPPED if path.stem == "harbour-crane").read_text()
COUNTS = """
[controller]
bits        = 12
reference_v = 3.3
divider_ohm = [1000000, 3900]
samples     = 64
"""
TIMES = "hysteresis_v = 1.5\nconfirm_up_ms = 20\nconfirm_down_ms = 60"
ORDER = '\n[sequence]\norder = "safest"\nblank_ms = 35\n'
BACKUP = (
    '\n[backup]\nleave_v = [185, 271]\nreturn_v = [186.5, 269.5]\nreturn_after_ms = {after}\nenergised = ["A1"]\n'
)
EIGHT = CRANE.replace("[195, 268]", "[188, 268]")
FOUR_RELAYS_EIGHT_BANDS = Sample("four relays, eight bands", EIGHT + COUNTS)
TIMED = EIGHT.replace("hysteresis_v = 1.5", TIMES) + COUNTS + ORDER


def drawn() -> list[Sample]:
    """Random designs that read at the input, at the output and on a winding of a few volts."""
    chance, wanted, found = Random(17), {"input": 1, "output": 2, "winding": 3}, []
    while any(wanted.values()):
        made = random_design(chance)
        if wanted[made.sensed]:
            wanted[made.sensed] -= 1
            found.append(Sample(f"{made.sensed} {wanted[made.sensed]}", made.text))
    return found


SAMPLES = [
    *(Sample(path.stem, path.read_text()) for path in SHIPPED),
    FOUR_RELAYS_EIGHT_BANDS,
    Sample("in order and confirmed", TIMED + BACKUP.format(after=500)),
    Sample("five minutes away", TIMED + BACKUP.format(after=300_000)),
    Sample("rectified average", EIGHT.replace("[sensing]", '[sensing]\ndetector = "average"') + COUNTS),
    Sample("peak", EIGHT.replace("[sensing]", '[sensing]\ndetector = "peak"') + COUNTS),
    Sample("window fixed in time", EIGHT.replace("[sensing]", "[sensing]\nwindow_cycles = 1.3") + COUNTS),
    *drawn(),
]
