"""The course that ships with the firmware: by hand call by call, and against a plain loop of its own."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

import pytest

from tapplan.control.program import Program
from tapplan.control.standing import AWAY, InRow
from tapplan.design.model import Design
from tapplan.pages.firmware.rehearsed import NO_READING, Call, rehearsed
from tests.pages.firmware.stages import program_of, stage
from tests.pages.firmware.test_packed import DESIGNS

F = Fraction
BOOST, STRAIGHT, AWAY_BAND = range(3)
LOW, HIGH = 205_000, 245_000  # the middle of 180 to 230 V, and of 220 to 270 V


def test_without_confirmation_every_reading_acts_at_its_first_call() -> None:
    """A relay settles within 30 ms, or three ticks of 10 ms; four calls more are made of each reading."""
    assert rehearsed(program_of(stage()), 10) == [
        Call(7, NO_READING, AWAY_BAND, 0),
        Call(7, LOW, BOOST, 1),
        Call(7, HIGH, STRAIGHT, 0),
        Call(7, NO_READING, AWAY_BAND, 0),
        Call(7, HIGH, STRAIGHT, 0),
        Call(7, LOW, BOOST, 1),
        Call(7, 0, AWAY_BAND, 0),
        Call(7, HIGH, STRAIGHT, 0),
    ]


def test_a_confirmation_begins_with_the_first_reading_elsewhere_and_away_there_is_none() -> None:
    """40 ms are over at the fifth call of 10 ms; 40 + 40 ms of calls, and four more."""
    assert rehearsed(program_of(stage(confirm_ms=F(40))), 10) == [
        Call(12, NO_READING, AWAY_BAND, 0),
        Call(12, LOW, BOOST, 1),
        Call(4, HIGH, BOOST, 1),
        Call(8, HIGH, STRAIGHT, 0),
        Call(4, NO_READING, STRAIGHT, 0),
        Call(8, NO_READING, AWAY_BAND, 0),
        Call(12, HIGH, STRAIGHT, 0),
        Call(4, LOW, STRAIGHT, 0),
        Call(8, LOW, BOOST, 1),
        Call(4, 0, BOOST, 1),
        Call(8, 0, AWAY_BAND, 0),
        Call(12, HIGH, STRAIGHT, 0),
    ]


def test_a_confirmation_upward_is_not_that_downward() -> None:
    """20 ms up, at the third call; 50 ms down, at the sixth; a reading that is none counts as downward."""
    course = rehearsed(program_of(stage(confirm_up_ms=F(20), confirm_down_ms=F(50))), 10)
    late = [(one.count, one.reading, one.band) for one in course if one.count < 9]
    assert late == [
        (2, HIGH, BOOST), (5, NO_READING, STRAIGHT), (5, LOW, STRAIGHT), (5, 0, BOOST),
    ]  # fmt: skip


def plain(made: Program, tick: int, readings: list[int]) -> list[tuple[int, int]]:
    """Band and coils after each call, from one call to the next, with no thought of what is alike."""
    now, standing, mask, since = 0, AWAY, 0, None
    left: list[tuple[int, int]] = []
    due = 0

    def begin(masks: tuple[int, ...], waits: tuple[Fraction, ...]) -> None:
        nonlocal left
        left = [(one, ceil(wait)) for one, wait in zip(masks, waits, strict=True)]
        follow()

    def follow() -> None:
        nonlocal mask, due, left
        while left:
            (mask, wait), *left = left
            due = now + wait
            if wait:
                return

    begin(made.retreats[-1].masks, made.retreats[-1].waits_ms)
    told = []
    for reading in readings:
        now += tick
        if left and now >= due:
            follow()
        if not left and now >= due:
            none = reading < 0 or (made.most_reading is not None and reading > made.most_reading)
            then = AWAY if none else made.decided(standing, reading)
            since = None if then == standing else now if since is None else since
            if since is not None and now - since >= needed(made, standing, reading):
                move = made.retreats[made.number(standing)] if none else made.step(standing, then)
                standing, since = then, None
                begin(move.masks, move.waits_ms)
        told.append((made.number(standing), mask))
    return told


def needed(made: Program, standing: object, reading: int) -> int:
    """By the design: upward where the reading lies above all that keep the band."""
    design = made.table.design
    if not isinstance(standing, InRow):
        return 0 if design.backup is None else ceil(design.backup.return_after_ms)
    top = max(one for mark in made.thresholds for one in (mark - 1, mark) if made.decided(standing, one) == standing)
    return ceil(design.sensing.confirmation_ms(upward=reading > top))


def returning() -> Design:
    made = stage(backup=True, confirm_up_ms=F("12.5"), confirm_down_ms=F(70))
    assert made.backup is not None
    return replace(made, backup=replace(made.backup, return_after_ms=F(45)))


@pytest.mark.parametrize("tick", [1, 7, 10])
@pytest.mark.parametrize("name", [*DESIGNS, "returning"])
def test_the_course_is_that_of_a_plain_loop(name: str, tick: int) -> None:
    made = program_of(DESIGNS.get(name) or returning())
    course = rehearsed(made, tick)
    readings = [one.reading for one in course for _ in range(one.count)]
    assert [(one.band, one.mask) for one in course for _ in range(one.count)] == plain(made, tick, readings)
    assert len({one.band for one in course}) >= 3
    assert all(
        (one.reading, one.band, one.mask) != (two.reading, two.band, two.mask) for one, two in pairwise(course)
    )


@pytest.mark.parametrize("name", [*(name for name in DESIGNS if name != "elsewhere"), "returning"])
def test_each_reading_stands_until_its_move_is_over(name: str) -> None:
    """The last line of a reading is the band it leads to, with the coils of that band.

    Where the reading is taken elsewhere than at the input, what keeps a band there does not lead to it from others.
    """
    made = program_of(DESIGNS.get(name) or returning())
    course = rehearsed(made, 10)
    lasts = [one for one, two in pairwise(course) if one.reading != two.reading]
    middles = [one for one in lasts if one.reading > 0]
    assert {one.band for one in middles} == set(range(len(made.nodes) - 1))
    for one in lasts:
        assert one.mask == made.coils[one.band]
        assert (
            one.band == len(made.nodes) - 1
            or made.decided(made.standings[one.band], one.reading) == (made.standings[one.band])
        )


def test_a_band_held_from_nothing_is_kept_at_nothing_and_left_where_no_reading_is_had() -> None:
    """The middle of 0 to 230 V is 115 V; a reading of nought is one, and one that is none leads away from all."""
    made = stage()
    low = replace(made, bands=(replace(made.bands[0], hold_v=(F(0), F(230))), *made.bands[1:]))
    assert rehearsed(program_of(low), 10) == [
        Call(7, NO_READING, AWAY_BAND, 0),
        Call(7, 115_000, BOOST, 1),
        Call(7, HIGH, STRAIGHT, 0),
        Call(7, NO_READING, AWAY_BAND, 0),
        Call(7, HIGH, STRAIGHT, 0),
        Call(7, 115_000, BOOST, 1),
        Call(7, 0, BOOST, 1),
        Call(7, HIGH, STRAIGHT, 0),
    ]
