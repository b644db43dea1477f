"""A stage of one relay and two bands, with and without a converter and a backup, and its program."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from tapplan.control.program import Program, program
from tapplan.control.table import control_table
from tapplan.design.model import Backup, Controller, Design, Sensing
from tests.examples import design

F = Fraction
SECTIONS = [("base", "N", "LINE", 200), ("more", "LINE", "A", 20)]
BACKUP = Backup(leave_v=(F(180), F(270)), return_v=(F(185), F(265)), energised=("K",))
# 10 bits, 2.048 V, and a thousandth of the volts: 0.5 counts a volt, its middle at 512.
CONVERTER = Controller(bits=F(10), reference_v=F("2.048"), divider_ohm=(F(999), F(1)), samples=F(20))


def stage(*, backup: bool = False, counted: bool = False, title: str = "Mill, 230 V", **sensing: Any) -> Design:
    """Boost, of ratio 11/10, kept from 180 to 230 V, straight from 220 to 270 V; boost drives K."""
    made = design(
        SECTIONS,
        {"K": ("OUT", "LINE", "A")},
        bands=[("boost", ("K",), 180, 230), ("straight", (), 220, 270)],
        sensing=Sensing(**sensing),
    )
    return replace(made, title=title, backup=BACKUP if backup else None, controller=CONVERTER if counted else None)


def program_of(made: Design) -> Program:
    return program(control_table(made))
