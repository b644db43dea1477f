"""Where findings stand on the curve of output against input."""

from __future__ import annotations

from dataclasses import fields
from fractions import Fraction

from tapplan.checks.marks import CurvePoint, mark_of
from tapplan.checks.witnesses.counted import BrokenInCounts
from tapplan.checks.witnesses.coverage import NoReturn
from tests.checks.seeds import found_in_all
from tests.checks.test_rules import band, by_code, sound

F = Fraction


def test_a_band_held_too_far_up_is_marked_at_its_corner() -> None:
    """Boost 2 held to 195 V really holds 195.5/0.99 V, which it raises by 1.29."""
    (found,) = by_code(sound(bands=band(0, high=195)), "out-of-window")
    assert mark_of(found.witness) == CurvePoint(F("195.5") / F("0.99"), F("1.29") * F("195.5") / F("0.99"))


def test_every_witness_with_an_input_and_an_output_is_marked_and_no_other() -> None:
    for _, one in found_in_all():
        case = one.witness.case if isinstance(one.witness, BrokenInCounts) else one.witness
        held = {field.name: getattr(case, field.name) for field in fields(case)}
        volts, output = held.get("input_v"), held.get("output_v")
        expected = None if volts is None or output is None else CurvePoint(volts, output)
        assert mark_of(one.witness) == expected, one


def test_a_load_that_does_not_come_back_stands_nowhere_on_it() -> None:
    assert mark_of(NoReturn(input_v=F(168), reading_v=F(165), limit_v=F(170), least_v=F(165))) is None
