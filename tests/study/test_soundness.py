"""What counts as keeping a design's promises; designs in which a wider handover breaks more than the window."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import pi, sqrt

import pytest

from tapplan.checks.judgement import judged
from tapplan.checks.review import review_of
from tapplan.checks.rules import findings
from tapplan.control.table import control_table
from tapplan.control.thresholds import Handover
from tapplan.design.file import load, parse
from tapplan.study.handovers import Thresholds, restated
from tapplan.study.soundness import Keeping, Soundness, _last, keeping, written_table
from tests.examples import ROOT
from tests.study.handed import TwoBands

F = Fraction
ONE = TwoBands(30, "input", F(1, 2), F(1), F(2), 0, "", F(204), F(201))
IRON = "\n[core]\narea_mm2 = 4720\nflux_limit_t = 1\nstack_factor = 1\n"
MOST_V = F(sqrt(2) * pi * 50 * 4720e-6) * 200  # on the 200 turns of the boost's line tap, at 1 T and 50 Hz


def line_moves(text: str) -> str:
    """The same ratios by a line that moves; the direct band's line stands on all turns."""
    moved = text.replace('line    = "A"', 'line    = "LINE"').replace('output  = "OUT"', 'output  = "B"')
    return moved.replace('com  = "OUT"\nnc   = "A"\nno   = "B"', 'com  = "LINE"\nnc   = "B"\nno   = "A"')


def sound_of(text: str) -> Soundness:
    table = control_table(parse(text, "two.toml"))
    return Soundness(Thresholds(table), keeping(review_of(table)))


def test_inside_the_room_all_is_kept() -> None:
    proof = sound_of(ONE.whole)
    (room,) = proof.thresholds.rooms
    assert proof.before.faults == {}
    assert proof.sound([Handover(room.uppers[-1], room.lowers[0])])
    (trimmed,) = proof.trimmed()
    assert (trimmed.uppers, trimmed.lowers) == (room.uppers, room.lowers)


def test_a_window_left_or_hysteresis_lost_is_not_sound() -> None:
    proof = sound_of(ONE.whole)
    (room,) = proof.thresholds.rooms
    beyond = Handover(room.most_upper + F(1, 10), room.now.lower_end)
    assert not proof.sound([beyond])
    assert {one.split()[0] for one in proof.keeping([beyond]).faults} == {"out-of-window"}
    thin = Handover(room.now.upper_end, room.now.upper_end - F(19, 10))
    assert not proof.sound([thin])
    assert len(proof.keeping([thin]).thin) == 1


def real_top(upper: Fraction) -> Fraction:
    """The highest input that a reading at an upper end can stand for, with half a per cent and half a volt."""
    return (upper + F(1, 2)) / F("0.995")


def test_flux_can_bar_what_the_window_allows() -> None:
    proof = sound_of(line_moves(ONE.whole) + IRON)
    (room,) = proof.thresholds.rooms
    wide = Handover(room.uppers[-1], room.now.lower_end)
    assert real_top(wide.upper_end) > MOST_V > real_top(room.now.upper_end)
    assert not proof.sound([wide])
    assert {one.split()[0] for one in proof.keeping([wide]).faults} == {"over-flux"}
    (trimmed,) = proof.trimmed()
    assert trimmed.lowers[0] == room.lowers[0]
    assert real_top(trimmed.uppers[-1]) <= MOST_V < real_top(trimmed.uppers[-1] + F(1, 10))


def test_a_fault_may_not_grow() -> None:
    """Too little iron: the direct band breaks the limit at 240 V on 230 turns; the boost must not break it more."""
    little = IRON.replace("4720", "4600")
    proof = sound_of(line_moves(ONE.whole) + little)
    assert list(proof.before.faults) == ['over-flux band "direct"']
    assert not proof.sound([Handover(F(208), proof.thresholds.now[0].lower_end)])


def test_a_fault_that_is_there_may_stay_but_none_may_come() -> None:
    design = load(ROOT / "designs" / "hostel-review.toml")
    table = control_table(design)
    proof = Soundness(Thresholds(table), keeping(review_of(table)))
    assert {one.split()[0] for one in proof.before.faults} >= {"dead-zone", "chatter", "out-of-window"}
    assert proof.sound(proof.thresholds.now)
    first, second = proof.thresholds.rooms
    closed = Handover(first.uppers[-1], first.lowers[0])
    assert proof.sound([closed, second.now])
    found = {one.code for one in findings(restated(proof.thresholds.moved([closed, second.now])))}
    assert "dead-zone" not in found


def test_what_is_judged_is_no_worse_where_nothing_new_is_wrong() -> None:
    before = Keeping(frozenset({"a", "b"}), {"f at x": {"time": F(3)}}, frozenset({"t"}), frozenset({"w"}), F(1))
    assert before.no_worse(before)
    assert replace(before, held=frozenset({"a", "b", "c"}), faults={}, thin=frozenset()).no_worse(before)
    assert replace(before, margin=F(0), faults={"f at x": {"time": F(2)}}).no_worse(before)
    for worse in (
        {"held": frozenset({"a"})},
        {"faults": {"f at y": {"time": F(1)}}},
        {"faults": {"f at x": {"time": F(4)}}},
        {"faults": {"f at x": {"time": F(3), "flux": F(1)}}},
        {"thin": frozenset({"t", "u"})},
        {"warned": frozenset({"v"})},
    ):
        assert not replace(before, **worse).no_worse(before)


@pytest.mark.parametrize("name", ["hostel-review", "ridge-dispensary", "harbour-crane"])
def test_what_is_kept_is_the_verdict_in_codes_and_places(name: str) -> None:
    reviewed = review_of(control_table(load(ROOT / "designs" / f"{name}.toml")))
    found, verdict = keeping(reviewed), judged(reviewed)
    every = [*verdict.findings, *(one.finding for one in verdict.accepted)]
    by_severity = {word: [one for one in every if one.severity == word] for word in ("fault", "warning")}
    assert found.held == {one.code for one in verdict.promises} - {one.code for one in by_severity["fault"]}
    assert set(found.faults) == {f"{one.code} {one.where}" for one in by_severity["fault"]}
    assert found.warned == {one.code for one in by_severity["warning"]} - {"thin-hysteresis"}
    assert found.margin == min(one.margin for one in verdict.promises if one.margin is not None)


def test_thin_hysteresis_is_known_by_its_place_alone() -> None:
    proof = sound_of(replace(ONE, hysteresis=F(4)).whole)
    assert proof.before.thin == {'bands "boost" and "direct"'}
    assert "thin-hysteresis" not in proof.before.warned


def test_the_last_good_place_is_found_by_halving() -> None:
    for count in range(1, 12):
        for last in range(count):
            assert _last(count, lambda place, last=last: place <= last) == last


def test_a_review_is_made_once_for_each_thresholds() -> None:
    proof = sound_of(ONE.whole)
    proof.sound(proof.thresholds.now)
    proof.sound(list(proof.thresholds.now))
    assert proof.reviewed == 1


def test_a_table_that_reads_otherwise_is_none() -> None:
    thresholds = Thresholds(control_table(load(ROOT / "designs" / "ridge-dispensary.toml")))
    first, second, third = thresholds.now
    assert written_table(thresholds.moved(thresholds.now)) is not None
    swapped = thresholds.moved([first, Handover(F(300), second.lower_end), third])  # its middle beyond the next row's
    assert written_table(swapped) is None
