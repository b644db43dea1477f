"""The arrays of the firmware, read as the firmware reads them: decisions, moves, their sum, and their sizes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.control.program import Program
from tapplan.control.standing import AWAY, Standing
from tapplan.design.file import load
from tapplan.design.model import Design
from tapplan.errors import UsageError
from tapplan.pages.firmware.packed import CArray, Packed, WholeTimes, bits_of, crc_16, packed, whole_ms
from tests.examples import ROOT
from tests.pages.firmware.stages import program_of, stage

F = Fraction


def ordered() -> Design:
    made = load(ROOT / "designs" / "ridge-dispensary.toml")
    return replace(made, sequence=replace(made.sequence, order="safest", pause_ms=F(30)))


DESIGNS = {
    "plain": stage(),
    "backup": stage(backup=True),
    "counted": stage(counted=True),
    "confirmed": stage(confirm_up_ms=F("12.5"), confirm_down_ms=F(70), backup=True),
    "ordered": ordered(),
    "elsewhere": load(ROOT / "designs" / "orchard-cold-room.toml"),
}
EACH = pytest.mark.parametrize("name", DESIGNS)


def entry(found: Packed, band: int, reading: int) -> int:
    """The first step to what follows a reading: by a plain look through the cuts of the band."""
    begin, end = found.begin.values[band : band + 2]
    passed = sum(reading >= cut for cut in found.cut.values[begin:end])
    return found.entry.values[begin + band + passed]


def steps(found: Packed, first: int) -> Iterator[tuple[int, int]]:
    """Masks and waits of a move, up to the mask of the band that it ends in."""
    last = found.coils.values[found.end.values[first]]
    for place in range(first, len(found.mask.values)):
        yield found.mask.values[place], found.wait.values[place]
        if found.mask.values[place] == last:
            return


def wanted(made: Program, start: Standing, end: Standing) -> list[tuple[int, int]]:
    one = made.step(start, end)
    return [
        (mask, -(-wait.numerator // wait.denominator)) for mask, wait in zip(one.masks, one.waits_ms, strict=True)
    ]


@EACH
def test_every_reading_beside_a_threshold_leads_where_the_program_leads_and_by_its_move(name: str) -> None:
    made = program_of(DESIGNS[name])
    found = packed(made)
    seen = 0
    for band, standing in enumerate(made.standings):
        for reading in sorted({one for mark in made.thresholds for one in (mark - 1, mark)}):
            then, first = made.decided(standing, reading), entry(found, band, reading)
            assert found.end.values[first] == made.number(then)
            if then != standing:
                assert list(steps(found, first)) == wanted(made, standing, then)
                seen += 1
    assert seen >= 6


@EACH
def test_from_every_band_and_from_rest_a_move_leads_away(name: str) -> None:
    made = program_of(DESIGNS[name])
    found, away = packed(made), len(made.nodes) - 1
    assert len(found.retreat.values) == len(made.retreats) == away + 1
    for first, one in zip(found.retreat.values, made.retreats, strict=True):
        assert found.end.values[first] == away
        assert [mask for mask, _ in steps(found, first)] == list(one.masks)


@EACH
def test_the_cuts_of_every_standing_rise_and_those_that_keep_it_lie_below_the_cut_that_ends_them(name: str) -> None:
    made = program_of(DESIGNS[name])
    found = packed(made)
    assert found.begin.values[0] == 0
    assert found.begin.values[-1] == len(found.cut.values)
    assert len(found.entry.values) == len(found.cut.values) + len(made.nodes)
    for band, standing in enumerate(made.standings):
        begin, end = found.begin.values[band : band + 2]
        cuts, stay = found.cut.values[begin:end], found.stay.values[band]
        assert list(cuts) == sorted(set(cuts))
        assert begin <= stay <= end
        if standing is AWAY:
            assert stay == begin + len(cuts) // 2
            continue
        above = found.cut.values[stay] if stay < end else cuts[-1] + 10**6
        assert made.decided(standing, above - 1) == standing
        assert stay == end or made.decided(standing, above) != standing


def test_the_arrays_of_the_plain_stage_by_hand() -> None:
    """Each standing has three cuts: from nothing to boost, to straight, and to nothing again."""
    found = packed(program_of(stage()))
    assert found.begin == CArray("begin", (0, 3, 6, 9), 8)
    each = ((180_000, 230_001, 270_001), (180_000, 220_000, 270_001), (180_000, 220_000, 270_001))
    assert found.cut == CArray("cut", tuple(cut for one in each for cut in one), 32)
    assert found.coils == CArray("coils", (1, 0, 0), 8)
    assert found.stay == CArray("stay", (1, 5, 7), 8)
    assert found.times == WholeTimes(0, 0, 0)
    pool = list(zip(found.mask.values, found.wait.values, found.end.values, strict=True))
    assert sorted(pool) == [(0, 0, 1), (0, 0, 2), (0, 25, 1), (0, 25, 2), (1, 30, 0)]
    assert [one.name for one in found.arrays] == [
        "begin", "cut", "entry", "retreat", "coils", "stay", "mask", "wait", "end",
    ]  # fmt: skip
    assert found.size == 4 + 4 * 9 + 12 + 3 * 3 + 3 * 5
    assert (found.place_bits, found.step_bits, found.time_bits) == (8, 8, 16)


def test_a_band_to_which_the_controller_makes_no_move_is_entered_at_once() -> None:
    """Without any move every band keeps a step of its own, with its coils and no wait."""
    made = program_of(stage())
    found = packed(replace(made, passings={}))
    for band, standing in enumerate(made.standings):
        for reading in (mark for mark in made.thresholds):
            first = entry(found, band, reading)
            then = made.number(made.decided(standing, reading))
            assert found.end.values[first] == then
            if then != band:
                assert list(steps(found, first)) == [(made.coils[then], 0)]
    assert {found.end.values[one] for one in found.entry.values} == {0, 1, 2}


def test_masks_take_a_bit_for_each_relay() -> None:
    eight, nine = (
        replace(stage(), relays=(*stage().relays, *(replace(stage().relays[0], name=f"S{number}", poles=(
            replace(stage().relays[0].all_poles[0], com=f"X{number}"),)) for number in range(count))))
        for count in (7, 8)
    )  # fmt: skip
    assert [packed(program_of(one)).coils.bits for one in (eight, nine)] == [8, 16]
    assert packed(program_of(nine)).mask.bits == 16


# --- sums and sizes ---


def test_the_sum_has_the_check_value_of_its_kind_and_finds_every_changed_bit() -> None:
    """0x29B1 of "123456789" (CRC-16 with this polynomial, begun with ones; catalogues of such sums, from memory)."""
    assert crc_16(b"123456789") == 0x29B1
    assert crc_16(b"") == 0xFFFF
    text = bytes(range(40))
    changed = [
        crc_16(bytes(byte ^ (1 << bit if place == at else 0) for place, byte in enumerate(text)))
        for at in range(40) for bit in range(8)
    ]  # fmt: skip
    assert crc_16(text) not in changed


def by_hand() -> Packed:
    names = ("begin", "cut", "entry", "retreat", "coils", "stay", "mask", "wait", "end")
    values = {
        "begin": ((0, 1), 8), "cut": ((0x1234,), 16), "entry": ((5, 6), 8), "retreat": ((7,), 8), "coils": ((8,), 8),
        "stay": ((9,), 8), "mask": ((1, 2), 8), "wait": ((0x0A0B0C0D, 4), 32), "end": ((3, 2), 8),
    }  # fmt: skip
    return Packed(*(CArray(name, *values[name]) for name in names), WholeTimes(1, 2, 3))


def test_numbers_are_summed_group_by_group_the_low_byte_first_and_those_that_belong_together_side_by_side() -> None:
    wait, four = bytes([0x0D, 0x0C, 0x0B, 0x0A]), bytes([4, 0, 0, 0])
    content = bytes([0, 1, 0x34, 0x12, 5, 6, 7, 8, 9, 1]) + wait + bytes([3, 2]) + four + bytes([2])
    assert by_hand().check == crc_16(content)
    assert by_hand().size == len(content)
    assert [one.size for one in by_hand().arrays] == [2, 2, 2, 1, 1, 1, 2, 8, 2]


@pytest.mark.parametrize("times", [WholeTimes(2**16, 0, 0), WholeTimes(0, 2**16, 0), WholeTimes(0, 0, 2**16)])
def test_a_state_holds_the_longest_of_its_times(times: WholeTimes) -> None:
    short = replace(by_hand(), wait=CArray("wait", (2**16 - 1,), 16))
    assert short.time_bits == 16
    assert replace(short, times=times).time_bits == 32
    assert by_hand().time_bits == 32


@pytest.mark.parametrize(
    ("values", "bits"),
    [((), 8), ((0,), 8), ((255, 3), 8), ((256,), 16), ((1, 65535), 16), ((65536,), 32), ((2**32 - 1,), 32)],
)
def test_numbers_take_the_fewest_bits_that_hold_them(values: tuple[int, ...], bits: int) -> None:
    assert bits_of(values) == bits


def test_the_places_of_steps_and_of_answers_have_room_for_one_beyond_the_last() -> None:
    of = CArray("mask", (0,) * 255, 8)
    assert replace(by_hand(), mask=of, entry=of).step_bits == 8
    more = CArray("mask", (0,) * 256, 8)
    assert (replace(by_hand(), mask=more).step_bits, replace(by_hand(), entry=more).place_bits) == (16, 16)


# --- times ---


def test_times_are_whole_milliseconds_and_never_shorter_than_stated() -> None:
    assert [whole_ms(F(one)) for one in (0, "0.001", 3, "3.0001")] == [0, 1, 3, 4]
    assert whole_ms(F(2**32 - 1)) == 2**32 - 1
    with pytest.raises(UsageError, match="found a time of 4294967296 ms; accepted: up to 4294967295, which 32 bits"):
        whole_ms(F(2**32 - 1) + F(1, 2))


def test_confirmations_upward_and_downward_and_the_return_are_kept_apart() -> None:
    made = DESIGNS["confirmed"]
    assert made.backup is not None
    late = replace(made, backup=replace(made.backup, return_after_ms=F("99.5")))
    assert packed(program_of(late)).times == WholeTimes(13, 70, 100)
    assert packed(program_of(stage(confirm_ms=F(20)))).times == WholeTimes(20, 20, 0)
