"""Wire and strip: how thick over the enamel, how much copper, how much room a turn takes."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import pi
from typing import Any

import pytest

from tapplan.design.conductor import Strip, Turn, Wire, bare_wire, conductor_of, edge_mm, turn_of
from tapplan.design.enamel import enamelled, overall_mm, thickest_enamelled
from tapplan.design.materials import METRIC_MM
from tapplan.design.model import Copper, Winding

F = Fraction


def winding(**keys: Any) -> Winding:
    return Winding(name="a", ends=("N", "T"), turns=F(10), **keys)


@pytest.mark.parametrize(
    ("conductor", "printed"),
    [("0.5", ("0.544", "0.566", "0.587")), ("1", ("1.062", "1.094", "1.124")), ("2.8", ("2.88", "2.922", "2.961"))],
)
def test_overall_diameters_as_printed(conductor: str, printed: tuple[str, ...]) -> None:
    """As held for IEC 60317 in the wire data base of PyOpenMagnetics 1.7.35."""
    assert tuple(overall_mm(F(conductor), grade) for grade in (1, 2, 3)) == tuple(map(F, printed))  # type: ignore[arg-type]


def test_the_table_is_whole_and_rises() -> None:
    sizes = enamelled()
    assert len(sizes) == 65
    assert (sizes[0].conductor_mm, thickest_enamelled()) == (F("0.05"), 5)
    assert all(a.conductor_mm < b.conductor_mm for a, b in pairwise(sizes))
    for grade in range(3):
        overall = [one.overall_mm[grade] for one in sizes]
        assert overall == sorted(overall)
    for one in sizes:
        assert one.conductor_mm < one.overall_mm[0] < one.overall_mm[1] < one.overall_mm[2]


def test_between_two_sizes_the_enamel_is_that_of_the_thicker() -> None:
    assert overall_mm(F("0.95"), 2) == F("0.95") + F("0.094")  # 1.094 over 1
    assert overall_mm(F("0.55"), 1) == F("0.55") + F("0.046")  # 0.606 over 0.56
    assert overall_mm(F("5.6"), 2) is None


def test_every_metric_size_up_to_the_end_of_the_table_has_its_own_row() -> None:
    known = {one.conductor_mm for one in enamelled()}
    assert {mm for mm in METRIC_MM if mm <= thickest_enamelled()} <= known


def test_the_copper_of_a_strip() -> None:
    """1.4 x 10.6 mm has 14.63 mm2 (the data base's figure): edges of 0.5 mm; a thin one is round all over."""
    assert Strip(1.4, 10.6).mm2 == pytest.approx(14.63, abs=5e-3)
    assert Strip(3.55, 10.6).mm2 == pytest.approx(37.08, abs=5e-3)
    assert Strip(1.4, 10.6, 2).mm2 == pytest.approx(2 * Strip(1.4, 10.6).mm2)
    assert [edge_mm(mm) for mm in (0.8, 1.0, 1.06, 1.6, 1.7, 2.24, 2.36, 3.55, 3.75, 5.6)] == [
        0.4, 0.5, 0.5, 0.5, 0.65, 0.65, 0.8, 0.8, 1, 1,
    ]  # fmt: skip


def test_a_strip_thicker_than_wide_is_rounded_by_its_width() -> None:
    """0.05 x 10 mm has as much copper whichever way it lies; never less than a round end leaves."""
    assert Strip(10, 0.05).mm2 == pytest.approx(Strip(0.05, 10).mm2)
    assert Strip(10, 0.05).mm2 == pytest.approx(0.5 - (4 - pi) * 0.025**2)


def test_what_a_file_states() -> None:
    assert conductor_of(winding()) is None
    assert conductor_of(winding(wire_mm=F("1.6"))) == Wire("1.6 mm", 1.6, 1)
    assert conductor_of(winding(wire_mm=F("1.6"), strands=F(3))) == Wire("1.6 mm", 1.6, 3)
    assert conductor_of(winding(strip_mm=(F(2), F(5)), strands=F(2))) == Strip(2.0, 5.0, 2)
    assert bare_wire(1.6, 3).mm2 == pytest.approx(3 * pi * 0.64)
    assert (Wire("1.6 mm", 1.6).strands, Strip(2, 5).strands) == (1, 1)
    assert [bare_wire(1.6).told, bare_wire(1.6, 3).told] == ["1.6 mm", "3 x 1.6 mm"]
    assert [Strip(2, 5).told, Strip(2, 5, 2).told] == ["2 x 5 mm", "2 x 2 x 5 mm"]


def test_the_room_of_a_turn() -> None:
    copper = Copper()
    assert turn_of(winding(wire_mm=F(1)), copper) == Turn(F("1.094"), F("1.094"))
    assert turn_of(winding(wire_mm=F(1)), Copper(enamel_grade=1)) == Turn(F("1.062"), F("1.062"))
    assert turn_of(winding(wire_mm=F(1), strands=F(3)), copper) == Turn(F("1.094"), F("3.282"))
    assert turn_of(winding(wire_mm=F(6), covering_mm=F("0.3")), copper) == Turn(F("6.3"), F("6.3"))
    assert turn_of(winding(wire_mm=F(6)), copper) is None
    assert turn_of(winding(), copper) is None
    strip = winding(strip_mm=(F(2), F(5)), strands=F(2))
    assert turn_of(strip, copper) == Turn(F("2.17"), F("10.34"))
    assert turn_of(strip, Copper(enamel_grade=1)) == Turn(F("2.11"), F("10.22"))
    assert turn_of(strip, Copper(enamel_grade=3)) is None
