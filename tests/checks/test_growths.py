"""When a quantity has grown too far already: a lower end stands too low, everything else too high."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.growths import LOWER_END, Growth, growths
from tapplan.checks.review import review
from tapplan.design.model import Backup, Design, Sensing
from tests.checks.test_hunting import pump
from tests.checks.test_margins import stage, weak
from tests.checks.test_rules import BANDS, band, poles, sound
from tests.examples import PAIR, TAPPED

F = Fraction


@pytest.mark.parametrize(
    ("quantity", "now", "most", "broken"),
    [
        (LOWER_END, 168, 170, True),
        (LOWER_END, 170, 170, False),
        (LOWER_END, 172, 170, False),
        ("mains.range_v, upper end", 242, 240, True),
        ("mains.range_v, upper end", 240, 240, False),
        ("mains.range_v, upper end", 238, 240, False),
        ("sensing.error_pct", 2, 1, True),
        ("sensing.error_pct", 1, 1, False),
        ("sensing.noise_v", 1, -3, True),
        ("output.load_va", 300, None, False),
    ],
)
def test_a_promise_is_broken_where_a_quantity_stands_beyond_its_limit(
    quantity: str, now: int, most: int | None, broken: bool
) -> None:
    grown = Growth(quantity, F(now), None if most is None else F(most), "dead-zone", "bands", hopeless=False)
    assert grown.broken is broken


def test_of_a_sound_stage_nothing_is_broken_already() -> None:
    assert [one.quantity for one in growths(review(sound())) if one.broken] == []


@pytest.mark.parametrize(
    ("low", "high", "end"), [(160, 240, LOWER_END), (168, 250, "mains.range_v, upper end")], ids=["down", "up"]
)
def test_a_range_promised_too_far_is_broken_at_that_end(low: int, high: int, end: str) -> None:
    """Held are readings of 165 to 244 V, so inputs of 167.2 to 241.1 V: no more, and the range is broken already."""
    found = {one.quantity: one for one in growths(review(sound(mains=(230, low, high))))}
    assert found[end].broken
    inside = {one.quantity: one for one in growths(review(sound()))}
    assert not inside[end].broken
    assert found[end].most == {LOWER_END: F("165.5") / F("0.99")}.get(end, F("243.5") / F("1.01"))


def test_noise_beyond_the_overlap_is_broken() -> None:
    made = sound(bands=band(1, low=190))
    made = replace(made, sensing=replace(made.sensing, noise_v=F(2)))
    found = {one.quantity: one for one in growths(review(made))}
    assert (found["sensing.noise_v"].broken, found["sensing.noise_v"].code) == (True, "chatter")


@pytest.mark.parametrize(("low", "high"), [(150, 240), (168, 270)], ids=["down", "up"])
def test_where_one_end_is_too_far_the_other_end_helps_nothing(low: int, high: int) -> None:
    """Inputs that no band holds lie beyond one end: wherever the other end is put, they stay promised."""
    down = low < 165
    found = {one.quantity: one for one in growths(review(sound(mains=(230, low, high))))}
    lower, upper = found[LOWER_END], found["mains.range_v, upper end"]
    assert (lower.hopeless, upper.hopeless) == (not down, down)
    assert lower.broken
    assert upper.broken
    assert found["sensing.error_pct"].hopeless
    assert not any(one.hopeless for one in growths(review(sound())))


# --- each limit by hand: 1.29, 1.135 and 1, held 165 to 191, 187 to 216 and 212 to 244 V, promised 168 to 240 V ---


def limits(made: Design) -> dict[str, Growth]:
    return {one.quantity: one for one in growths(review(made))}


def rows(*holds: tuple[object, object]) -> list[tuple[object, ...]]:
    return [(name, driven, *hold) for (name, driven, *_), hold in zip(BANDS, holds, strict=True)]


WIDE = {"window": (230, 150, 320)}  # nothing leaves it


@pytest.mark.parametrize(("low", "most"), [(187, 4), ("190.5", F(1, 2)), (191, 0), ("190.99", F(1, 100))])
def test_neighbours_chatter_when_the_noise_is_their_overlap(low: object, most: object) -> None:
    """Read at the input, so that half the noise at either end eats the overlap; of equal ones the first is told."""
    made = sound(bands=band(1, low=low), sensing=Sensing(), **WIDE)
    found = limits(made)["sensing.noise_v"]
    assert (found.most, found.code, found.where) == (most, "chatter", 'bands "boost 2" and "boost 1"')


def test_read_at_the_output_the_noise_counts_by_what_is_read_of_an_input_volt() -> None:
    """Boost 1 to 249.7 V out is 220 V in, direct from 212 V: 8 V of overlap, n/2 (1/1.135 + 1) of noise."""
    bands = [("boost 1", [], 170, "249.7"), ("direct", ["KL", "KO"], 212, 300)]
    found = limits(sound(mains=(230, 200, 240), sensing=Sensing(at="output"), bands=bands, **WIDE))
    one = found["sensing.noise_v"]
    assert one.code == "chatter"
    assert one.most == 16 / (1 + 1 / F("1.135"))


@pytest.mark.parametrize("low", [200, "190.5"])
def test_neighbours_that_part_where_another_band_holds_do_not_chatter(low: object) -> None:
    """Boost 1 ends at 190 V and direct begins farther up, both inside what boost 2 holds, of 100 to 250 V.

    What breaks first is that half the noise carries readings of 240 V beyond those 250.
    """
    made = sound(bands=rows((100, 250), (170, 190), (low, 240)), sensing=Sensing(), **WIDE)
    found = limits(made)["sensing.noise_v"]
    assert (found.most, found.code, found.where) == (20, "dead-zone", "bands")


AT_INPUT = Sensing(error_pct=F(1), noise_v=F(1))
FAR = (100, 300)


@pytest.mark.parametrize(
    ("holds", "most", "name"),
    [
        (((100, 191), ("188.5", 216), (214, 300)), 1 - F("191.5") * F("1.29") / 253, "boost 2"),
        (((100, 191), (187, 216), (214, 300)), F("186.5") * F("1.135") / 207 - 1, "boost 1"),
        (((100, 189), ("188.5", "217.5"), (215, 300)), 1 - F(218) * F("1.135") / 253, "boost 1"),
        (((100, 189), ("188.5", 215), (211, 300)), F("210.5") / 207 - 1, "direct"),
    ],
)
def test_the_error_that_carries_a_band_out_of_the_window(holds: Any, most: Fraction, name: str) -> None:
    """Half a volt of noise beyond its end, read low or high so far that the output just reaches 253 or 207 V."""
    found = limits(sound(bands=rows(*holds), sensing=AT_INPUT))["sensing.error_pct"]
    assert (found.most, found.code, found.where) == (100 * most, "out-of-window", f'band "{name}"')
    assert not found.hopeless


@pytest.mark.parametrize(
    ("holds", "half", "name"),
    [
        (((100, "193.5"), (188, 216), (212, 300)), F("0.99") * 253 / F("1.29") - F("193.5"), "boost 2"),
        (((100, 191), ("184.7", 216), (212, 300)), F("184.7") - F("1.01") * 207 / F("1.135"), "boost 1"),
        (((100, 191), (187, 220), (212, 300)), F("0.99") * 253 / F("1.135") - 220, "boost 1"),
        (((100, 191), (187, 216), ("209.5", 300)), F("209.5") - F("1.01") * 207, "direct"),
    ],
)
def test_the_noise_that_carries_a_band_out_of_the_window(holds: Any, half: Fraction, name: str) -> None:
    """Read 1 % wrong, and by half the noise, so that the output just reaches 253 or 207 V."""
    found = limits(sound(bands=rows(*holds), sensing=AT_INPUT))["sensing.noise_v"]
    assert (found.most, found.code, found.where) == (2 * half, "out-of-window", f'band "{name}"')


def entering(first: tuple[object, ...]) -> Design:
    """A buck, 227/258, that alone serves the 240 to 260 V promised, and a band that ends or begins beside them."""
    bands = sorted([first, ("buck", ["KL"], *FAR)], key=lambda row: F(str(row[2])) + F(str(row[3])))
    return sound(mains=(230, 240, 260), bands=bands, sensing=Sensing())


@pytest.mark.parametrize(
    ("row", "error", "noise"),
    [
        (("direct", ["KL", "KO"], 262, 300), F(262, 260) - 1, 4),
        (("boost 1", [], 100, 238), 1 - F(238, 240), 4),
    ],
)
def test_a_band_beside_the_range_counts_from_where_it_is_drawn_in(
    row: tuple[object, ...], error: Fraction, noise: int
) -> None:
    """From the first reading of a promised input that keeps it, it puts the output outside at once."""
    found = limits(entering(row))
    assert (found["sensing.error_pct"].most, found["sensing.noise_v"].most) == (100 * error, noise)
    for key in ("sensing.error_pct", "sensing.noise_v"):
        assert (found[key].code, found[key].where) == ("out-of-window", f'band "{row[0]}"')


def test_where_the_range_ends_with_the_window_no_error_carries_a_band_out() -> None:
    """Straight through 207 to 253 V are 207 to 253 V; held farther on both sides, so that nothing is unheld soon."""
    made = sound(mains=(230, 207, 253), bands=[("direct", ["KL", "KO"], 160, 300)], sensing=Sensing())
    found = limits(made)
    assert (found["sensing.error_pct"].most, found["sensing.error_pct"].code) == (
        100 * (F(300, 253) - 1),
        "dead-zone",
    )
    assert (found["sensing.noise_v"].most, found["sensing.noise_v"].code) == (94, "dead-zone")


@pytest.mark.parametrize(("low", "high", "error", "noise"), [
    (165, 250, 1 - F(165, 168), 6), (150, 243, F(243, 240) - 1, 6), (166, 241, F(241, 240) - 1, 2),
])  # fmt: skip
def test_readings_that_no_band_holds_by_hand(low: int, high: int, error: Fraction, noise: int) -> None:
    """168 V read so low, or 240 V read so high, that the outermost band is left."""
    found = limits(sound(bands=rows((low, 191), (171, 216), (196, high)), sensing=Sensing(), **WIDE))
    assert (found["sensing.error_pct"].most, found["sensing.error_pct"].code) == (100 * error, "dead-zone")
    assert (found["sensing.noise_v"].most, found["sensing.noise_v"].code) == (noise, "dead-zone")


@pytest.mark.parametrize(
    ("low", "high", "error", "noise"), [(166, 300, 1 - F(166, 168), 4), (100, 243, F(243, 240) - 1, 6)]
)
def test_readings_from_which_the_backup_does_not_lead_back(low: int, high: int, error: Fraction, noise: int) -> None:
    backup = Backup(leave_v=(F(50), F(600)), return_v=(F(low), F(high)))
    holds = rows((50, 191), (171, 216), (196, 600))
    found = limits(sound(bands=holds, sensing=Sensing(), backup=backup, **WIDE))
    assert (found["sensing.error_pct"].most, found["sensing.error_pct"].code) == (100 * error, "stranded")
    assert (found["sensing.noise_v"].most, found["sensing.noise_v"].code) == (noise, "stranded")


@pytest.mark.parametrize(("leave", "back", "most"), [(163, 165, 2), (163, 166, 3)])
def test_the_noise_that_leads_away_and_back_by_hand(leave: int, back: int, most: int) -> None:
    """One input is read as low as the one and as high as the other, where the noise is their distance."""
    backup = Backup(leave_v=(F(leave), F(600)), return_v=(F(back), F(300)))
    found = limits(sound(bands=rows((leave, 191), (171, 216), (196, 600)), sensing=Sensing(), backup=backup, **WIDE))
    one = found["sensing.noise_v"]
    assert (one.code, one.where) == ("backup-cycling", "backup")
    assert 0 <= most - one.most <= F(1, 1000)


def test_noise_is_tried_up_to_a_quarter_of_the_lowest_input() -> None:
    """Away at 100 V, back at 145 V: 45 V of noise, where 200 V are promised."""
    backup = Backup(leave_v=(F(100), F(300)), return_v=(F(145), F(255)))
    bands = [("direct", ["KL", "KO"], 100, 300)]
    made = sound(mains=(230, 200, 205), bands=bands, sensing=Sensing(), backup=backup, **WIDE)
    one = limits(made)["sensing.noise_v"]
    assert one.code == "backup-cycling"
    assert 0 <= 45 - one.most <= F(1, 1000)


def test_the_load_that_leads_away_and_back_behind_a_weak_source_by_hand() -> None:
    """Left at 170 V, back at 177 V: without its load the inlet of a boost of 1.2 behind 1.2 ohm stands there.

    170 (1 + 1.2 x 1.2^2 P / 230^2) = 177 for P = 1260.6 VA.
    """
    one = limits(pump(177))["output.load_va"]
    assert one.code == "backup-cycling"
    assert float(one.most or 0) == pytest.approx((177 / 170 - 1) * 230**2 / (1.2 * 1.44), abs=0.01)
    assert one.broken
    assert limits(pump(177, ohm="0"))["output.load_va"].most is None


def test_a_band_without_a_reading_or_a_ratio_limits_nothing() -> None:
    """One that is read on a winding that nothing drives, and one that shorts turns."""
    sections = (*TAPPED, ("free", "S1", "S2", (20, "another core")))
    blind = limits(sound(sections=sections, sensing=Sensing(at=("S1", "S2"))))
    assert blind["sensing.error_pct"].code != "out-of-window"
    links = {**PAIR, "KS": poles(("A", None, "B"))}
    shorting = limits(sound(links=links, bands=[*BANDS[:2], ("direct", ["KL", "KO", "KS"], 212, 244)]))
    assert shorting["sensing.error_pct"].where != 'band "direct"'


def loaded(load_va: int, low: object = 187) -> Design:
    """Every section of 1 ohm; the load hangs on what boost 1 taps, of 227 turns on 200."""
    return weak(stage(bands=band(1, low=low), sensing=Sensing(error_pct=F(1), noise_v=F(1))), load_va=load_va)


@pytest.mark.parametrize("load_va", [1, 400, 900])
def test_the_load_at_which_a_band_leaves_the_window_by_hand(load_va: int) -> None:
    """Boost 1 is really held from 186.5/1.01 V; there 1.135 makes 209.58 V, and its resistance may take 2.58 V.

    Seen from the output that is 1 ohm of the section beyond the tap, and (27/200)^2 ohm of the base. The load is
    Z = 230^2/P, and 209.58 Z/(Z + R) = 207 at the limit.
    """
    found = limits(loaded(load_va))["output.load_va"]
    ohm = 1 + F(27, 200) ** 2
    opened = F("1.135") * F("186.5") / F("1.01")
    assert (found.code, found.where) == ("out-of-window", 'band "boost 1"')
    assert found.most == (opened / 207 - 1) * 230**2 / ohm
    assert found.broken is (load_va == 900)
    assert 640 < found.most < 650


def test_a_band_that_is_outside_without_a_load_says_nothing_of_the_load() -> None:
    """Held from 180 V, boost 1 makes 201.7 V without a load. Boost 2 makes 216.72 V of the 168 V promised.

    Seen from the output it has 2 ohm of the sections beyond the tap, and (58/200)^2 ohm of the base.
    """
    found = limits(loaded(100, low=180))["output.load_va"]
    assert (found.code, found.where) == ("out-of-window", 'band "boost 2"')
    assert found.most == (F("216.72") / 207 - 1) * 230**2 / (2 + F(58, 200) ** 2)
    assert "output.load_va" not in limits(stage())


@pytest.mark.parametrize("ohm", [0, 1])
def test_only_what_has_a_resistance_limits_the_load(ohm: int) -> None:
    found = limits(weak(stage(), ohm=ohm))["output.load_va"]
    assert (found.most is None, found.code == "", found.where == "") == (ohm == 0,) * 3
    assert not found.hopeless


def test_the_ends_of_the_range_by_hand() -> None:
    """Held from 165 V to 244 V, really from 164.5/1.01 to 244.5/0.99 V, surely from 165.5/0.99 to 243.5/1.01 V.

    1.29 and 1 keep the window from 160.5 V on and to 253 V; so what is not surely held breaks first.
    """
    found = limits(sound())
    low, high = found[LOWER_END], found["mains.range_v, upper end"]
    assert (low.now, low.most, low.code, low.where) == (168, F("165.5") / F("0.99"), "dead-zone", "bands")
    assert (high.now, high.most, high.code, high.where) == (240, F("243.5") / F("1.01"), "dead-zone", "bands")


def test_where_the_bands_reach_farther_the_window_or_the_turns_end_the_range() -> None:
    """Held to 300 V, direct leaves the window at 253 V, where no ratio serves any more; below at 207/1.29 V."""
    found = limits(sound(bands=rows((100, 191), (187, 216), (212, 300))))
    low, high = found[LOWER_END], found["mains.range_v, upper end"]
    assert (low.most, high.most) == (F(207) / F("1.29"), 253)
    assert {low.code, high.code} <= {"out-of-window", "uncovered-range"}


@pytest.mark.parametrize("gone", ["none", "low", "high"])
def test_a_return_that_is_missed_by_hand(gone: str) -> None:
    """Back from 165 to 243 V, read at rest as it is at the input: 1 % and half a volt are the whole of the blur.

    At the lower end the range may go down to 165.5/0.99 V, at the upper up to 242.5/1.01 V.
    """
    ends = {"low": (170, 243), "high": (165, 238), "none": (165, 243)}[gone]
    backup = Backup(leave_v=(F(50), F(600)), return_v=(F(ends[0]), F(ends[1])))
    found = limits(sound(backup=backup))
    low, high = found[LOWER_END], found["mains.range_v, upper end"]
    assert (low.most, low.code) == ((F(ends[0]) + F("0.5")) / F("0.99"), "stranded")
    assert (high.most, high.code) == ((F(ends[1]) - F("0.5")) / F("1.01"), "stranded")
    assert low.broken is (gone == "low")
    assert high.broken is (gone == "high")
    assert low.where == high.where == "backup.return_v"


def test_nothing_grows_without_a_band() -> None:
    made = sound(bands=[], sections=(("a", "N", "T", 100), ("b", "N", "T", 90)), links={"K": ("OUT", "T", "N")})
    made = replace(made, terminals=replace(made.terminals, line="T"))
    assert growths(review(made)) == []
