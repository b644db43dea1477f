"""Wire against a general magnetics library, whose data base holds what IEC 60317 has."""

from __future__ import annotations

import os
from fractions import Fraction
from typing import Any

import pytest

from tapplan.design.conductor import Strip, edge_mm
from tapplan.design.enamel import STRIP_ENAMEL_MM, enamelled

MM = 1000


@pytest.fixture(scope="module")
def library() -> Any:
    if os.environ.get("CI") == "true":
        import PyOpenMagnetics  # CI must not go without it

        return PyOpenMagnetics
    return pytest.importorskip("PyOpenMagnetics", reason="not installed: pip install -e '.[engines]'")


def overall_of(one: dict[str, Any]) -> float:
    outer = one["outerDiameter"]
    return float(outer["maximum"] or outer["nominal"])


def test_every_overall_diameter_is_the_library_s(library: Any) -> None:
    """The largest one where its data base has a span; its own function gives the middle of that."""
    most = {
        (round(one["conductingDiameter"]["nominal"] * MM, 4), one["coating"]["grade"]): overall_of(one)
        for one in library.get_wires()
        if one["type"] == "round" and one["standard"] == "IEC 60317" and "Grade" in one["name"]
    }
    compared = 0
    for size in enamelled():
        for grade, overall in enumerate(size.overall_mm, 1):
            bare = float(size.conductor_mm)
            assert most[bare, grade] * MM == pytest.approx(float(overall), abs=1e-6)
            middle = library.get_wire_outer_diameter_enamelled_round(bare / MM, grade, "IEC 60317") * MM
            assert bare < middle <= float(overall) + 1e-9
            compared += 1
    assert compared == 3 * 65


def strips(library: Any) -> list[dict[str, Any]]:
    return [one for one in library.get_wires() if one["type"] == "rectangular" and one["standard"] == "IEC 60317"]


def test_every_strip_has_the_library_s_edge_copper_and_covering(library: Any) -> None:
    found = strips(library)
    assert len(found) > 1000
    for one in found:
        thick, wide = (round(one[side]["nominal"] * MM, 3) for side in ("conductingHeight", "conductingWidth"))
        assert edge_mm(thick) == pytest.approx(one["edgeRadius"]["nominal"] * MM, abs=6e-3)
        assert Strip(thick, wide).mm2 == pytest.approx(one["conductingArea"]["nominal"] * MM**2, rel=5e-3)
        grade, taller = one["coating"]["grade"], one["outerHeight"]["maximum"] * MM - thick
        assert float(STRIP_ENAMEL_MM[grade]) == pytest.approx(taller, abs=1e-6)
    assert set(STRIP_ENAMEL_MM) == {one["coating"]["grade"] for one in found}
    assert STRIP_ENAMEL_MM[2] == Fraction("0.17")
