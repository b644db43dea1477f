"""What a section's wire makes of its resistance, and what is left open, by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import pi

import pytest

from tapplan.design.model import Copper, Core, Design, Winding
from tapplan.design.wound import open_wires, section_ohms, turn_lengths, warm_ohm
from tests.examples import design

F = Fraction
TURN = Core(mean_turn_mm=F(200))
COLD = Copper(temperature_c=F(20))


def wound(*sections: Winding, core: Core | None = TURN, load_va: int | None = None) -> Design:
    made = design([("a", "N", "T1", 1)], {"K": ("OUT", "T2", "T1")}, terminals=("T1", "N", "OUT"), load_va=load_va)
    return replace(made, windings=sections, core=core, copper=COLD)


def section(name: str, **keys: object) -> Winding:
    return Winding(name=name, ends=("N", name), turns=F(290), **keys)  # type: ignore[arg-type]


ROUND = section("round", wire_mm=F(1))
STRIP = section("strip", strip_mm=(F(2), F(5)), strands=F(2))
BARE = section("bare")
STATED = section("stated", resistance_ohm=F(3))


def test_each_section_has_the_ohms_that_are_stated_or_those_of_its_wire() -> None:
    """290 turns of 200 mm are 58 m: 1 ohm of 1 mm2 at 20 C (1/58 ohm mm2/m); a wire of 1 mm has pi/4 mm2.

    Two strips of 2 x 5 mm have 20 mm2, or a little less for rounded corners. A section left open has none.
    """
    round_ohm, strip_ohm, bare, stated = section_ohms(wound(ROUND, STRIP, BARE, STATED))
    assert float(round_ohm or 0) == pytest.approx(4 / pi, abs=2e-6)
    assert 1 / 20 <= float(strip_ohm or 0) <= 1 / 20 * 1.15
    assert (bare, stated) == (None, 3)
    for one in (ROUND, STRIP):
        assert section_ohms(wound(one)) != [None]
    assert section_ohms(wound(BARE, STATED)) == [None, 3]
    assert section_ohms(wound(ROUND, STATED, core=None)) == [None, 3]
    assert section_ohms(wound(ROUND, core=Core(area_mm2=F(900)))) == [None]


def test_ohms_are_rounded_up_to_a_microohm() -> None:
    """So that a drop is never reckoned smaller than it is."""
    (ohm,) = section_ohms(wound(ROUND))
    assert ohm is not None
    assert (ohm * 10**6).denominator == 1
    assert 0 <= float(ohm) - 4 / pi < 1e-6


def test_a_section_on_another_core_has_no_turn_of_this_one() -> None:
    other = section("apart", wire_mm=F(1), core="second")
    made = wound(ROUND, other)
    assert turn_lengths(made) == {"round": 200}
    assert section_ohms(made)[1] is None


@pytest.mark.parametrize(("celsius", "more"), [(20, 1), (75, 1.21615), (-30, 0.8035)])
def test_copper_resists_more_when_warm(celsius: int, more: float) -> None:
    assert warm_ohm(58, 1000, 1, celsius) == pytest.approx(more)
    assert warm_ohm(116, 1000, 1, celsius) == warm_ohm(58, 2000, 1, celsius) == pytest.approx(2 * more)
    assert warm_ohm(58, 1000, 4, celsius) == pytest.approx(more / 4)


def test_a_wire_left_open_is_one_of_which_neither_wire_nor_ohms_are_stated() -> None:
    """It matters where a load is stated and the turns' length is known."""
    other = section("apart", core="second")
    sections = (ROUND, STRIP, BARE, STATED, other)
    assert open_wires(wound(*sections, load_va=400)) == ("bare",)
    assert open_wires(wound(*sections)) == ()
    assert open_wires(wound(*sections, core=None, load_va=400)) == ()
    assert open_wires(wound(*sections, core=Core(area_mm2=F(900)), load_va=400)) == ()
