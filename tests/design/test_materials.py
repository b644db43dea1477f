"""Laminations and steels against what they are sold by, typed in a second time, and against what they must keep."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import log, pi

import pytest

from tapplan.design.materials import AWG, LAMINATIONS, STEELS, awg_mm, awg_name, lamination, steel

F = Fraction
MU_0 = 4e-7 * pi

# What an E with its I spans, width and height in mm, as dealers list them; and the leg.
SOLD = {
    "EI 30": ("30", "25", "10"),
    "EI 42": ("42", "35", "14"),
    "EI 48": ("48", "40", "16"),
    "EI 54": ("54", "45", "18"),
    "EI 60": ("60", "50", "20"),
    "EI 66": ("66", "55", "22"),
    "EI 78": ("78", "65", "26"),
    "EI 84": ("84", "70", "28"),
    "EI 96": ("96", "80", "32"),
    "EI 105": ("105", "87.5", "35"),
    "EI 108": ("108", "90", "36"),
    "EI 120": ("120", "100", "40"),
    "EI 150N": ("150", "125", "50"),
    "EI 106": ("106", "85", "29"),
    "EI 130": ("130", "105", "35"),
    "EI 150": ("150", "120", "40"),
    "EI 170": ("170", "140", "45"),
    "EI 195": ("195", "167.5", "55"),
    "EI 231": ("231", "203", "65"),
}
WASTELESS = tuple(SOLD)[:13]  # the I is what falls out of the windows


def test_every_lamination_and_every_steel_is_typed_in_a_second_time() -> None:
    assert {one.key for one in LAMINATIONS} == SOLD.keys()
    assert len(LAMINATIONS) == len(SOLD)
    assert {one.key for one in STEELS} == {key for keys in DENSITY.values() for key in keys}
    assert len(STEELS) == sum(map(len, DENSITY.values()))


@pytest.mark.parametrize("key", SOLD)
def test_a_lamination_spans_what_it_is_sold_by(key: str) -> None:
    """Across: half a leg, window, leg, window, half a leg; along: half a leg, window, half a leg."""
    plate = lamination(key)
    assert plate is not None
    across, along, leg = map(F, SOLD[key])
    wide, high = plate.window_mm
    assert (plate.leg_mm, 2 * plate.leg_mm + 2 * wide, plate.leg_mm + high) == (leg, across, along)


@pytest.mark.parametrize("key", WASTELESS)
def test_the_windows_of_two_e_make_two_i(key: str) -> None:
    """Laid mouth to mouth they give strips of half a leg by the width; the path is square-cornered amid the iron."""
    plate = lamination(key)
    assert plate is not None
    wide, high = plate.window_mm
    assert (wide, 2 * high) == (plate.leg_mm / 2, F(SOLD[key][0]))
    assert plate.path_mm == 2 * (wide + plate.leg_mm / 2) + 2 * (high + plate.leg_mm / 2)


# kg/dm3 by grade: the less silicon, the more loss and the heavier. Grain-oriented grades are all alike.
DENSITY = {
    "7.60": ("M230-50A", "M250-50A", "M270-50A", "M290-50A", "M235-35A", "M270-35A"),
    "7.65": ("M310-50A", "M330-50A", "M350-50A", "M330-35A", "M350-65A", "M140-30S", "M150-35S", "M105-30P"),
    "7.70": ("M400-50A", "M470-50A", "M530-50A", "M530-65A"),
    "7.75": ("M600-50A",),
    "7.80": ("M700-50A", "M800-50A", "M800-65A"),
    "7.85": ("M940-50A", "M1000-65A"),
}
GRADES = [(key, F(density)) for density, keys in DENSITY.items() for key in keys]


@pytest.mark.parametrize(("key", "density"), GRADES, ids=[key for key, _ in GRADES])
def test_a_grade_is_named_for_its_loss(key: str, density: Fraction) -> None:
    """The number is a hundred times the W/kg, at 1.5 T of an A, at 1.7 T of an S or a P, which are grain-oriented."""
    made = steel(key)
    assert made is not None
    hundredfold, ending = key[1:].split("-")
    assert made.loss_w_kg == F(f"{hundredfold}e-2")
    assert made.rated_t == F("1.5" if ending.endswith("A") else "1.7")
    assert made.density == density


@pytest.mark.parametrize("thickness", ["35A", "50A", "65A"])
def test_of_a_thickness_the_better_grade_is_never_the_heavier(thickness: str) -> None:
    grades = sorted((one for one in STEELS if one.key.endswith(thickness)), key=lambda one: one.loss_w_kg)
    assert len(grades) > 2
    assert all(better.density <= worse.density for better, worse in pairwise(grades))


# A/m at each tenth of a tesla from 0.5: M330-50A, M400-50A; the same 50 Hz data set, in its other order.
FIELDS = {
    "0.5": (53, 75), "0.6": (60, 84), "0.7": (69, 93), "0.8": (79, 104), "0.9": (93, 117),
    "1.0": (112, 134), "1.1": (141, 159), "1.2": (192, 199), "1.3": (313, 282), "1.4": (698, 505),
    "1.5": (1932, 1284), "1.6": (4284, 3343), "1.7": (7750, 6787), "1.8": (13318, 11712), "1.9": (19610, 19044),
}  # fmt: skip


@pytest.mark.parametrize(("column", "key"), [(0, "M330-50A"), (1, "M400-50A")])
def test_field_strengths_are_those_of_the_data_set(column: int, key: str) -> None:
    made = steel(key)
    assert made is not None
    assert made.field == tuple((F(tesla), F(row[column])) for tesla, row in FIELDS.items())


@pytest.mark.parametrize("key", ["M330-50A", "M400-50A"])
def test_a_steel_saturates(key: str) -> None:
    """B / H goes up to one peak and then down; each more of B takes more of H; air's slope is the least there is."""
    made = steel(key)
    assert made is not None
    permeable = [float(tesla / amperes) for tesla, amperes in made.field]
    peak = permeable.index(max(permeable))
    assert permeable[: peak + 1] == sorted(permeable[: peak + 1])
    assert permeable[peak:] == sorted(permeable[peak:], reverse=True)
    slopes = [float((b - a) / (h - g)) for (a, g), (b, h) in pairwise(made.field)]
    assert all(slope > MU_0 for slope in slopes)
    rises = [log(float(h / g)) for (_, g), (_, h) in pairwise(made.field)]
    assert max(rises) < log(3)


def test_a_name_that_none_has() -> None:
    assert lamination("EI 38") is None
    assert steel("M400") is None
    assert [one.key for one in STEELS if one.field] == ["M330-50A", "M400-50A"]


@pytest.mark.parametrize(
    ("gauge", "name"),
    [(-3, "AWG 4/0"), (-2, "AWG 3/0"), (-1, "AWG 2/0"), (0, "AWG 1/0"), (1, "AWG 1"), (40, "AWG 40")],
)
def test_gauges_above_0_are_written_by_their_noughts(gauge: int, name: str) -> None:
    assert awg_name(gauge) == name
    assert gauge in AWG


def test_the_two_diameters_that_define_the_gauge() -> None:
    """ASTM B258 (from memory): 4/0 is 0.46 in, 36 is 0.005 in, and 39 equal steps of ratio lie between them."""
    assert awg_mm(-3) == pytest.approx(0.46 * 25.4)
    assert awg_mm(36) == pytest.approx(0.005 * 25.4)
    assert awg_mm(10) / awg_mm(11) == pytest.approx(92 ** (1 / 39))


@pytest.mark.parametrize(
    ("key", "path"), [("EI 150", 230 + 20 * pi), ("EI 170", 270 + 22.5 * pi), ("EI 231", 377 + 32.5 * pi)]
)
def test_the_path_goes_round_both_windows_and_turns_four_corners_of_half_a_leg(key: str, path: float) -> None:
    """Round one window: twice its width and height, and four quarters of a circle whose radius is a quarter leg."""
    found = lamination(key)
    assert found is not None
    assert float(found.path_mm) == pytest.approx(path, rel=1e-4)
