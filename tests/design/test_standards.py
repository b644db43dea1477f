"""The published ranges, recomputed from the percentages their sources state."""

from fractions import Fraction

import pytest

from tapplan.design.standards import CURVES, SUPPLIES, PublishedSupply, curve, supply

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

# What sources state in volts, not in percent: nominal, least and most, typed in a second time.
VOLTS = {
    "ansi-c84.1-120-b": (120, 110, 127),  # several public copies wrongly say +/-10 or +/-20 %
    "ansi-c84.1-240-b": (240, 220, 254),
    "csa-c235-120-normal": (120, 110, 125),
    "csa-c235-120-extreme": (120, 106, 127),
    "japan-100": (100, 101 - 6, 101 + 6),
    "japan-200": (200, 202 - 20, 202 + 20),
    "brazil-127": (127, 117, 133),
    "brazil-220": (220, 202, 231),
    "brazil-230": (230, 212, 242),
}
# Where the mains has 60 Hz; everywhere else here it has 50. Japan has both, 50 in its east.
SIXTY_HZ = ("iec-60038-120", "iec-60038-240-60hz", "ansi-", "csa-", "brazil-")
# The corners of each curve, as its source prints them: "upper" and "lower", seconds and percent.
CORNERS = {
    "iti-2000": (
        [(1 / 6000, 500), (0.001, 200), (0.003, 140), (0.003, 120), (0.5, 110)],
        [(0, 0), (0.02, 70), (0.5, 80), (10, 90)],
    ),
    "semi-f47": ([], [(0, 0), (1 / 60, 50), (0.2, 70), (0.5, 80), (1, 90)]),
}


def test_every_supply_and_every_curve_is_typed_in_a_second_time() -> None:
    assert [one.key for one in SUPPLIES if one.key not in PERCENT.keys() | VOLTS.keys()] == [], "PERCENT or VOLTS"
    assert [one.key for one in CURVES if one.key not in CORNERS] == [], "CORNERS needs what the source prints"


@pytest.mark.parametrize("key", VOLTS)
def test_limits_are_the_stated_volts(key: str) -> None:
    entry = supply(key)
    assert entry is not None
    assert (entry.nominal_v, *entry.range_v) == VOLTS[key]


@pytest.mark.parametrize("entry", SUPPLIES, ids=lambda entry: entry.key)
def test_the_frequency_is_the_one_of_the_country(entry: PublishedSupply) -> None:
    assert entry.frequency_hz == (60 if entry.key.startswith(SIXTY_HZ) else 50)


@pytest.mark.parametrize("key", CORNERS)
def test_the_corners_of_a_curve_are_those_of_its_source(key: str) -> None:
    entry = curve(key)
    assert entry is not None
    upper, lower = ([(float(at), level) for at, level in corners] for corners in (entry.upper, entry.lower))
    assert (upper, lower) == CORNERS[key]
    assert [at for at, _ in lower] == sorted({at for at, _ in lower})
    assert [level for _, level in lower] == sorted(level for _, level in lower)
    assert [level for _, level in upper] == sorted((level for _, level in upper), reverse=True)


@pytest.mark.parametrize("key", PERCENT)
def test_limits_are_the_stated_percentages_of_nominal(key: str) -> None:
    entry = supply(key)
    assert entry is not None
    low, high = PERCENT[key]
    assert entry.range_v == (entry.nominal_v * (100 + low) / 100, entry.nominal_v * (100 + high) / 100)


def test_keys_are_unique_and_every_entry_names_its_source_and_certainty() -> None:
    keys = [entry.key for entry in (*SUPPLIES, *CURVES)]
    assert len(set(keys)) == len(keys)
    for entry in (*SUPPLIES, *CURVES):
        assert entry.source
        assert entry.seen in ("memory, high", "memory, medium", "quoted")


def test_the_iti_curve_has_half_a_second_where_public_copies_have_five() -> None:
    found = curve("iti-2000")
    assert found is not None
    assert (Fraction(1, 2), 80) in found.lower
    assert (Fraction(1, 2), 110) in found.upper
    assert not any(seconds == 5 for seconds, _ in (*found.lower, *found.upper))
