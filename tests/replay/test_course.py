"""The course along readings whose cells are made up, against asking at every microsecond what is in force."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import numpy as np
import pytest

from tapplan.replay.cells import NEVER, ReadingCells
from tapplan.replay.course import CarriedOn, Engine, Followed, StandstillError, Stretch, followed, joined
from tapplan.replay.stretches import PYTHON
from tests.replay.test_kernel import KERNEL

ENGINES = pytest.mark.parametrize("engine", [PYTHON, KERNEL.COMPILED], ids=["numpy", "kernel"])
EDGES = (10.0, 20.0, 30.0)


def cells(begins: list[list[float]], answers: list[list[int]], waits: object = 0, busy: object = 0,
          outside: object = False) -> ReadingCells:  # fmt: skip
    """A line for each standing, being away last; a number in place of an array stands for all of it."""
    inf, width = float("inf"), max(map(len, begins)) + 2
    edges = np.array([[-inf, *line, *[inf] * (width - 1 - len(line))] for line in begins])
    full = [[*line, *[0] * (width - len(line))] for line in answers]
    square = (len(begins), len(begins))
    return ReadingCells(
        edges,
        np.array(full, np.int64),
        np.array(np.broadcast_to(np.array(waits, np.int64), edges.shape)),
        np.array(np.broadcast_to(np.array(outside, np.bool_), edges.shape)),
        np.array(np.broadcast_to(np.array(busy, np.int64), square)),
    )


def stretch(samples: list[tuple[int, float]], breaks: tuple[int, ...] = ()) -> Stretch:
    times, readings = zip(*samples, strict=True)
    return Stretch(np.array(times, np.int64), np.array(readings, np.float64), np.array(breaks, np.int64))


def told(found: Followed) -> list[tuple[int, int, bool]]:
    pieces = found.pieces
    return list(zip(pieces.times.tolist(), pieces.standings.tolist(), pieces.outside.tolist(), strict=True))


# Row 0 keeps what is below 20, row 1 what is from 10 on; away leads to row 0 below 20, to row 1 above.
TWO = [[20.0], [10.0], [20.0]]
LEADS = [[0, 1], [0, 1], [0, 1]]


@ENGINES
def test_the_first_reading_chooses_and_is_busy_for_as_long_as_its_change_takes(engine: Engine) -> None:
    """Chosen at 0, settled at 7: what is read before then decides nothing, and at 7 the reading standing does."""
    made = cells(TWO, LEADS, busy=[[0, 0, 0], [0, 0, 0], [7, 3, 0]])
    found = followed(engine, made, stretch([(0, 15), (2, 25), (20, 25)]), CarriedOn())
    assert told(found) == [(0, 0, False), (7, 1, False)]
    other = followed(engine, made, stretch([(0, 25), (1, 5), (20, 5)]), CarriedOn())
    assert told(other) == [(0, 1, False), (3, 0, False)]


@ENGINES
def test_a_confirmation_must_last_and_begins_anew_when_a_reading_keeps(engine: Engine) -> None:
    """Of five microseconds: broken off after four, then lasting from 12 to 17."""
    made = cells(TWO, LEADS, waits=5)
    found = followed(engine, made, stretch([(0, 15), (5, 25), (9, 15), (12, 25), (14, 26), (30, 26)]), CarriedOn(0))
    assert told(found) == [(0, 0, False), (17, 1, False)]
    assert found.carried == CarriedOn(1)


@ENGINES
def test_what_is_due_just_where_the_stretch_ends_is_carried_on(engine: Engine) -> None:
    made = cells(TWO, LEADS, waits=5)
    first = followed(engine, made, stretch([(0, 15), (5, 25), (10, 25)]), CarriedOn(0))
    assert told(first) == [(0, 0, False)]
    assert first.carried == CarriedOn(0, pending=5)
    assert told(followed(engine, made, stretch([(10, 25), (12, 25)]), first.carried)) == [
        (10, 0, False),
        (10, 1, False),
    ]


@ENGINES
def test_settling_is_carried_on_while_it_lasts(engine: Engine) -> None:
    made = cells(TWO, LEADS, busy=[[0, 9, 0], [0, 0, 0], [0, 0, 0]])
    for end, busy in ((13, 14), (14, NEVER), (15, NEVER)):
        assert followed(engine, made, stretch([(0, 15), (5, 25), (end, 25)]), CarriedOn(0)).carried == CarriedOn(
            1, busy=busy
        )


@ENGINES
def test_no_confirmation_outlasts_a_gap_but_settling_does(engine: Engine) -> None:
    """A gap from 8 to 50: five microseconds are counted anew from 50. Settling until 60 is not over at 50."""
    made = cells(TWO, LEADS, waits=5)
    gapped = stretch([(0, 15), (5, 25), (8, 25), (50, 25), (90, 25)], (2,))
    assert told(followed(engine, made, gapped, CarriedOn(0)))[-1] == (55, 1, False)
    settling = followed(engine, made, gapped, CarriedOn(0, busy=60))
    assert told(settling)[-1] == (65, 1, False)


@ENGINES
def test_a_confirmation_that_is_over_just_where_a_gap_begins_counts(engine: Engine) -> None:
    for begin, change in ((10, 10), (9, 55)):
        gapped = stretch([(0, 15), (5, 25), (begin, 25), (50, 25), (90, 25)], (2,))
        assert told(followed(engine, cells(TWO, LEADS, waits=5), gapped, CarriedOn(0)))[-1] == (change, 1, False)


@ENGINES
def test_a_piece_begins_where_the_output_crosses_the_window(engine: Engine) -> None:
    made = cells([[5.0, 20.0], [10.0], []], [[0, 0, 1], [0, 1], [0]], outside=[
        [True, False, True, True], [False] * 4, [True] * 4])  # fmt: skip
    found = followed(engine, made, stretch([(0, 3), (4, 7), (6, 8), (9, 3), (12, 25), (14, 25)]), CarriedOn(0))
    assert told(found) == [(0, 0, True), (4, 0, False), (9, 0, True), (12, 1, False)]


@ENGINES
def test_standings_that_follow_one_another_at_one_instant_stand_still(engine: Engine) -> None:
    made = cells(TWO, [[1, 1], [0, 0], [0, 0]])
    with pytest.raises(StandstillError) as caught:
        followed(engine, made, stretch([(100, 15), (104, 15)]), CarriedOn())
    assert caught.value.time == 100


@dataclass
class Asked:
    """The controller, asked at every microsecond."""

    made: ReadingCells
    standing: int
    pending: int | None = None
    busy: int = NEVER

    def at(self, time: int, reading: float, *, lost: bool) -> None:
        """What is in force from now on; `lost`: the time lies in a gap."""
        if lost:
            self.pending = None
            return
        been = {self.standing}
        while True:
            cell = self.cell(reading)
            answer = int(self.made.answers[self.standing, cell])
            if answer == self.standing:
                self.pending = None
                return
            if time < self.busy:
                return
            self.pending = time if self.pending is None else self.pending
            if time < self.pending + int(self.made.waits[self.standing, cell]):
                return
            self.busy = time + int(self.made.busy[self.standing, answer])
            self.standing, self.pending = answer, None
            if answer in been and time >= self.busy:
                raise StandstillError(time)
            been.add(answer)

    def cell(self, reading: float) -> int:
        return max(n for n, begin in enumerate(self.made.begins[self.standing].tolist()) if begin <= reading)


def plainly(made: ReadingCells, along: Stretch) -> dict[int, tuple[int, bool]]:
    """The standing and whether the output is outside, at each microsecond that lies in no gap."""
    times, readings, breaks = along.times.tolist(), along.readings.tolist(), set(along.breaks.tolist())
    asked, found = Asked(made, len(made.answers) - 1), {}
    first = int(made.answers[asked.standing, asked.cell(readings[0])])
    asked.busy, asked.standing = times[0] + int(made.busy[asked.standing, first]), first
    for time in range(times[0], times[-1]):
        sample = max(n for n, at in enumerate(times) if at <= time)
        if sample - 1 in breaks and time == times[sample]:
            asked.pending = None  # also over a gap that has no whole microsecond inside
        asked.at(time, readings[sample], lost=sample in breaks and time > times[sample])
        if sample not in breaks:
            found[time] = asked.standing, bool(made.outside[asked.standing, asked.cell(readings[sample])])
    return found


def drawn_cells(chance: Random) -> ReadingCells:
    count = chance.choice((2, 3, 4))
    begins = [sorted(chance.sample(EDGES, chance.randint(0, 3))) for _ in range(count)]
    answers = [
        [number if chance.random() < 0.5 else chance.randrange(count) for _ in range(len(line) + 1)]
        for number, line in enumerate(begins)
    ]
    quick = chance.random() < 0.3
    width = max(map(len, begins)) + 2
    waits = [[0 if quick else chance.randint(0, 9) for _ in range(width)] for _ in begins]
    busy = [[0 if quick else chance.choice((0, 1, 6)) for _ in begins] for _ in begins]
    outside = [[chance.random() < 0.5 for _ in range(width)] for _ in begins]
    return cells(begins, answers, waits, busy, outside)


def drawn_stretch(chance: Random) -> Stretch:
    count = chance.randint(2, 14)
    times = [1000]
    for _ in range(count - 1):
        times.append(times[-1] + chance.randint(1, 12))
    breaks = [at for at in range(count - 1) if chance.random() < 0.15]
    return stretch([(time, chance.choice((5, 10, 15, 20, 25, 30, 35))) for time in times], tuple(breaks))


@ENGINES
def test_random_courses_are_what_asking_at_every_microsecond_gives(engine: Engine) -> None:
    chance = Random(5)
    moved = still = 0
    for _ in range(400):
        made, along = drawn_cells(chance), drawn_stretch(chance)
        try:
            wanted = plainly(made, along)
        except StandstillError as error:
            with pytest.raises(StandstillError) as caught:
                followed(engine, made, along, CarriedOn())
            assert caught.value == error
            still += 1
            continue
        pieces = told(followed(engine, made, along, CarriedOn()))
        found = {time: [one for one in pieces if one[0] <= time][-1][1:] for time in wanted}
        assert found == wanted
        assert [time for time, *_ in pieces] == sorted(time for time, *_ in pieces)
        moved += len({standing for standing, _ in wanted.values()}) > 1
    assert moved > 80
    assert still > 10


@ENGINES
def test_a_course_cut_at_any_sample_goes_on_as_it_was(engine: Engine) -> None:
    chance, cut = Random(8), 0
    while cut < 150:
        made, along = drawn_cells(chance), drawn_stretch(chance)
        at = chance.randrange(len(along.times))
        if not 0 < at < len(along.times) - 1:
            continue
        low, high = along.breaks[along.breaks < at], along.breaks[along.breaks >= at] - at
        try:
            whole = followed(engine, made, along, CarriedOn())
        except StandstillError:
            continue
        first = followed(engine, made, Stretch(along.times[: at + 1], along.readings[: at + 1], low), CarriedOn())
        rest = followed(engine, made, Stretch(along.times[at:], along.readings[at:], high), first.carried)
        assert rest.carried == whole.carried
        both = joined([first.pieces, rest.pieces])
        for time in range(int(along.times[0]), int(along.times[-1])):
            ends = [np.searchsorted(one.times, time, side="right") - 1 for one in (whole.pieces, both)]
            assert whole.pieces.standings[ends[0]] == both.standings[ends[1]]
        cut += 1
    assert cut == 150
