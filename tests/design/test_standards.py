"""The published ranges, recomputed from the percentages their sources state."""

from fractions import Fraction

import pytest

from tapplan.design.standards import CURVES, SUPPLIES, supply

PERCENT = {
    "iec-60038-230": (-10, 10),
    "iec-60038-120": (-10, 10),
    "iec-60038-240-60hz": (-10, 10),
    "iec-60038-400": (-10, 10),
    "en-50160-230-95pct": (-10, 10),
    "en-50160-230-all": (-15, 10),
    "ansi-c84.1-120-a": (-5, 5),
    "ansi-c84.1-240-a": (-5, 5),
    "uk-230": (-6, 10),
    "australia-230": (-6, 10),
    "india-240": (-6, 6),
    "china-220": (-10, 7),
    "gost-230": (-10, 10),
    "nigeria-230": (-6, 6),
    "south-africa-230": (-10, 10),
}


@pytest.mark.parametrize("key", PERCENT)
def test_limits_are_the_stated_percentages_of_nominal(key: str) -> None:
    entry = supply(key)
    assert entry is not None
    low, high = PERCENT[key]
    assert entry.range_v == (entry.nominal_v * (100 + low) / 100, entry.nominal_v * (100 + high) / 100)


def test_ansi_range_b_is_110_to_127() -> None:
    """ANSI C84.1 range B, service: 110 to 127 V; several public copies wrongly say +/-10 or +/-20 %."""
    entry = supply("ansi-c84.1-120-b")
    assert entry is not None
    assert entry.range_v == (110, 127)


def test_japan_is_101_and_202_volts_with_its_own_tolerance() -> None:
    assert [supply(key).range_v for key in ("japan-100", "japan-200")] == [  # type: ignore[union-attr]
        (101 - 6, 101 + 6),
        (202 - 20, 202 + 20),
    ]


def test_keys_are_unique_and_every_entry_names_its_source_and_certainty() -> None:
    keys = [entry.key for entry in (*SUPPLIES, *CURVES)]
    assert len(set(keys)) == len(keys)
    for entry in (*SUPPLIES, *CURVES):
        assert entry.source
        assert entry.seen in ("memory, high", "memory, medium", "quoted")


def test_the_iti_curve_has_half_a_second_where_public_copies_have_five() -> None:
    curve = next(curve for curve in CURVES if curve.key == "iti-2000")
    assert (Fraction(1, 2), 80) in curve.lower
    assert (Fraction(1, 2), 110) in curve.upper
    assert not any(seconds == 5 for seconds, _ in (*curve.lower, *curve.upper))
