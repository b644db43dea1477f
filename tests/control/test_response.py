"""Sudden steps: a plain simulation in small steps of time never leaves the worst case, and worked examples."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from math import inf, sqrt
from random import Random

import pytest

from tapplan.checks.review import review
from tapplan.control.response import Level, Response, Side, Wait
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.sudden import responses
from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Backup, Design, Relay, Sensing, Sequence
from tapplan.exact import Span
from tapplan.network.circuit import Circuit, circuit_of
from tests.checks.test_margins import stage
from tests.examples import chain, design
from tests.network.test_node_equations import NodeEquations

F = Fraction


def all_responses(made: Design) -> list[Response]:
    stated = review(made)
    return responses(stated.decisions, stated.flying)


@dataclass
class Moving:
    """One relay under way: when its contact opens, when the other throw closes."""

    opens: float
    closes: float
    driven: bool


class Bench:
    """A stage stepped by half milliseconds: a sliding RMS reading, a confirmation, relays with chance delays.

    It shares nothing with the responses but the rows' holds and the relays' longest times; ratios come from plain
    node equations.
    """

    STEP = 0.5

    def __init__(self, made: Design, table: ControlTable, chance: Random) -> None:
        self.made, self.chance = made, chance
        self.holds = [(float(row.hold.low), float(row.hold.high)) for row in table.rows]
        self.drives = [frozenset(row.energised) for row in table.rows]
        self.circuit: Circuit = circuit_of(made)
        self.window = 1000 * float(made.sensing.window_cycles) / float(made.mains.frequency_hz[0])
        self.known: dict[frozenset[int], float] = {}

    def ratio(self, positions: dict[str, str | None]) -> float:
        closed = frozenset(
            number
            for number, contact in enumerate(self.circuit.contacts)
            if positions[self.circuit.relays[contact.relay]] == contact.throw
        )
        if closed not in self.known:
            self.known[closed] = NodeEquations(self.circuit, closed).kind()[1] or 0.0
        return self.known[closed]

    def run(self, start: int, before: float, after: float, error: float) -> list[tuple[float, float]]:
        """Time and output after a step from one line voltage to another, until nothing has moved for long."""
        row = start
        since: float | None = None
        driven = set(self.drives[start])
        moving: dict[str, Moving] = {}
        seen: list[tuple[float, float]] = []
        now = 0.0
        confirm = float(self.made.sensing.confirm_ms)
        while now < 3 * self.window + 2 * confirm + 200:
            positions: dict[str, str | None] = {}
            for relay in self.circuit.relays:
                one = moving.get(relay)
                if one is not None and now >= one.closes:
                    (driven.add if one.driven else driven.discard)(relay)
                    del moving[relay]
                    one = None
                flying = one is not None and now >= one.opens
                positions[relay] = None if flying else "no" if relay in driven else "nc"
            seen.append((now, after * self.ratio(positions)))
            share = min(now / self.window, 1)
            reading = (1 + error) * sqrt((1 - share) * before**2 + share * after**2)
            if not moving:
                wanted = self.decide(row, reading)
                if wanted == row:
                    since = None  # counted is that the row is not kept, whatever the answer is
                elif since is None:
                    since = now
                if since is not None and now - since >= confirm:
                    moving = self.travel(driven, self.drives[wanted], now)
                    row, since = wanted, None
            now += self.STEP
        return seen

    def decide(self, row: int, reading: float) -> int:
        low, high = self.holds[row]
        if low <= reading <= high:
            return row
        onward = range(row + 1, len(self.holds)) if reading > high else range(row - 1, -1, -1)
        return next((n for n in onward if self.holds[n][0] <= reading <= self.holds[n][1]), row)

    def travel(self, old: set[str], new: frozenset[str], now: float) -> dict[str, Moving]:
        under_way = {}
        for relay in self.made.relays:
            if (relay.name in old) != (relay.name in new):
                drive = relay.name in new
                opens = now + self.taken(relay.operate_ms if drive else relay.release_ms)
                closes = opens + self.taken(relay.transfer_ms) + self.taken(relay.bounce_ms)
                under_way[relay.name] = Moving(opens, closes, drive)
        return under_way

    def taken(self, span: tuple[Fraction, Fraction] | None) -> float:
        assert span is not None
        return self.chance.uniform(float(span[0]), float(span[1]))


def timed(made: Design, chance: Random) -> Design:
    """The design with times of its own for every relay, window and confirmation."""

    def between(low: int, high: int) -> tuple[Fraction, Fraction]:
        most = chance.randint(low, high)
        return F(chance.randint(0, most)), F(most)

    def times(relay: Relay) -> Relay:
        return replace(
            relay,
            operate_ms=between(5, 15),
            release_ms=between(3, 12),
            transfer_ms=between(2, 10),
            bounce_ms=between(0, 4),
        )

    return replace(
        made,
        relays=tuple(times(relay) for relay in made.relays),
        sensing=replace(
            made.sensing,
            window_cycles=F(chance.choice((1, 2)), chance.choice((1, 2))),
            confirm_ms=F(chance.choice((0, 5, 10, 25, 60))),
        ),
    )


FOUR = [("b2", ["KO"], 166, 191), ("b1", [], 187, 216), ("d", ["KL", "KO"], 212, 244), ("k", ["KL"], 240, 278)]


def allowed(phases: list[tuple[float, float, float]], now: float) -> tuple[float, float]:
    """The outputs that some response lets occur at this time: phases may come earlier than their latest."""
    spans = [(low, high) for until, low, high in phases if until >= now - 1]
    return min(low for low, _ in spans), max(high for _, high in spans)


def test_no_simulated_step_leaves_the_worst_case() -> None:
    """1000 random steps with random delays; half a millisecond of grace for the simulation's own step."""
    chance = Random(31)
    moved = near = 0
    for _ in range(40):
        made = timed(stage(mains=(230, 168, 270), bands=FOUR), chance)
        table = control_table(made)
        found = all_responses(made)
        bench = Bench(made, table, chance)
        for turn in range(25):
            start = chance.randrange(4)
            hold = table.rows[start].hold
            error = chance.uniform(-0.01, 0.01)
            before = chance.uniform(float(hold.low), float(hold.high)) / (1 + error)
            after = chance.uniform(168, 270)
            course = bench.run(start, before, after, error)
            here = [one for one in found if one.start == InRow(start) and one.line.low <= F(after) <= one.line.high]
            ends_moved = abs(course[-1][1] - course[0][1]) > 1e-9
            assert here or not ends_moved
            moved += ends_moved
            phases = [
                (float(phase.until_ms), float(phase.output.low), float(phase.output.high))
                for one in here
                for phase in one.phases
            ]
            phases.append((inf, course[-1][1], course[-1][1]))
            for now, output in course if here else []:
                low, high = allowed(phases, now)
                assert low - 1e-6 <= output <= high + 1e-6, (now, output, low, high)
            drawn = [one.at_line(F(after)) for one in here] if turn % 4 == 0 else []
            for side in SIDES:
                for level in {volts for one in drawn for volts in one.levels(side)}:
                    most = max(one.lasting(level, side).lasts_ms for one in drawn)
                    lasts = longest(course, float(level), side)
                    assert lasts <= most + Bench.STEP, (level, side)
                    near += lasts > 0.8 * most
    assert moved > 400
    assert near > 20


SIDES: tuple[Side, Side] = ("over", "under")


def longest(course: list[tuple[float, float]], level: float, side: Side) -> float:
    """The longest time at a level or beyond without a break, before the output stands as it does at the end."""
    sign = 1 if side == "over" else -1
    last = max((n for n, (_, output) in enumerate(course) if abs(output - course[-1][1]) > 1e-9), default=-1)
    runs = groupby(course[: last + 1], key=lambda one: (one[1] - level) * sign > -1e-6)
    return max((Bench.STEP * len(list(run)) for beyond, run in runs if beyond), default=0.0)


def test_the_settling_time_of_a_single_step_by_hand() -> None:
    """One cycle of 20 ms, 30 ms of confirmation, release 10, transfer 10, bounce 5: settled after 75 ms."""
    made = stage(mains=(230, 168, 270), bands=FOUR,
                 sensing=Sensing(error_pct=F(1), confirm_ms=F(30)))  # fmt: skip
    made = replace(made, relays=tuple(
        replace(one, operate_ms=(F(0), F(15)), release_ms=(F(0), F(10)), transfer_ms=(F(0), F(10)),
                bounce_ms=(F(0), F(5)))
        for one in made.relays
    ))  # fmt: skip
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(1),))]
    assert [phase.until_ms for phase in found.phases] == [60, 75]
    assert found.phases[0].output.high == F(129, 100) * found.line.high
    assert found.line == type(found.line)(F(191) / F(101, 100), F(216) / F(99, 100))


def test_a_return_after_an_outage_begins_at_rest() -> None:
    """Without a backup, rest (ratio 227/200) passes the line on until the controller has read and moved.

    Into boost 1, which stands as rest does, nothing moves.
    """
    rest = [one for one in all_responses(stage()) if one.start is AWAY]
    assert {one.entered: one.legs[0].flown.move.movers for one in rest} == {
        (InRow(0),): ("KO",),
        (InRow(1),): (),
        (InRow(2),): ("KL", "KO"),
    }
    assert max(one.phases[0].output.high for one in rest) == F(227, 200) * 240


def test_with_a_backup_the_loss_of_the_line_is_a_step_to_nothing() -> None:
    backup = Backup(leave_v=(F(164), F(244)), return_v=(F(172), F(240)))
    lost = [one for one in all_responses(stage(backup=backup)) if one.line.high == 0]
    assert {one.start for one in lost} == {InRow(0), InRow(1), InRow(2)}
    assert all(one.entered == (AWAY,) for one in lost)
    assert not any(one.start is AWAY for one in all_responses(stage(backup=backup)))


def test_without_a_line_the_output_is_at_nothing_until_the_last_relay_has_settled() -> None:
    """Down to nothing or below it, and up to it or above it: 20 ms of window, 30 of confirmation, KO's 25 of release.

    Above nothing it never is.
    """
    backup = Backup(leave_v=(F(164), F(244)), return_v=(F(172), F(240)))
    made = stage(backup=backup, sensing=Sensing(error_pct=F(1), confirm_ms=F(30)))
    (lost,) = [one for one in all_responses(made) if one.line.high == 0 and one.start == InRow(0)]
    assert lost.legs[0].flown.move.movers == ("KO",)
    assert lost.levels("over") == lost.levels("under") == [0]
    assert lost.lasting(F(0), "under") == lost.lasting(F(0), "over") == Level(F(20 + 30 + 25), 1, 1, F(30))
    assert lost.lasting(F(1), "under") == Level(F(20 + 30 + 25), 1, 1, F(30))
    assert lost.lasting(F(1), "over") == Level()


@pytest.mark.parametrize(("confirm", "detours"), [(0, True), (19, True), (20, False), (50, False)])
def test_detours_exist_only_while_the_confirmation_is_shorter_than_the_window(confirm: int, detours: bool) -> None:
    made = stage(mains=(230, 168, 270), bands=FOUR, sensing=Sensing(error_pct=F(1), confirm_ms=F(confirm)))
    assert any(len(one.entered) == 2 for one in all_responses(made)) == detours


def test_output_sensing_goes_row_by_row_and_waits_for_a_window_each_time() -> None:
    bands = [("b2", ["KO"], 207, 246), ("b1", [], 208, 248), ("d", ["KL", "KO"], 208, 250)]
    made = stage(bands=bands, sensing=Sensing(at="output", confirm_ms=F(10)))
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(1), InRow(2)))]
    names = [phase.name for phase in found.phases]
    assert names == ["unnoticed", "in flight", "in between", "in flight"]
    assert found.phases[2].until_ms - found.phases[2].from_ms == 20 + 10 + 15


def leg_waits(made: Design, start: Standing, *entered: Standing) -> list[Fraction]:
    """What the first moves, up to the second, wait for, in ms."""
    found = [one for one in all_responses(made) if (one.start, one.entered) == (start, entered)]
    return [leg.wait.ms for leg in found[0].legs]


def test_each_direction_has_its_own_confirmation_and_leaving_the_longer() -> None:
    """A window of 20 ms, 30 ms of confirmation upward, 50 ms downward."""
    backup = Backup(leave_v=(F(160), F(280)), return_v=(F(172), F(270)))
    made = stage(mains=(230, 168, 270), bands=FOUR, backup=backup,
                 sensing=Sensing(error_pct=F(1), confirm_up_ms=F(30), confirm_down_ms=F(50)))  # fmt: skip
    assert leg_waits(made, InRow(0), InRow(1)) == [50]
    assert leg_waits(made, InRow(1), InRow(0)) == [70]
    assert leg_waits(made, InRow(2), AWAY) == [70]
    assert leg_waits(replace(made, backup=None), AWAY, InRow(3)) == [20]


@pytest.mark.parametrize(
    ("blank", "between"), [(0, 20 + 10), (25, 20 + 10), (44, 20 + 10), (45, 20 + 10), (100, 75 + 10)]
)
def test_blanking_goes_on_beside_the_window(blank: int, between: int) -> None:
    """Releasing KO is over after 10 + 10 + 5 = 25 ms; of 100 ms blanking 75 are left then, more than the window."""
    bands = [("b2", ["KO"], 207, 246), ("b1", [], 208, 248), ("d", ["KL", "KO"], 208, 250)]
    made = stage(bands=bands, sensing=Sensing(at="output", confirm_ms=F(10)))
    made = replace(made, sequence=Sequence(blank_ms=F(blank)))
    assert leg_waits(made, InRow(0), InRow(1), InRow(2)) == [30, between]


def test_a_detour_is_confirmed_once_it_has_been_read() -> None:
    """The first move begins within the window, or not at all; the second waits for its confirmation alone."""
    made = stage(mains=(230, 168, 270), bands=FOUR, sensing=Sensing(error_pct=F(1), confirm_ms=F(5)))
    (detour,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(1), InRow(3)))]
    assert detour.detour
    assert [(leg.wait.windows, leg.wait.confirms, leg.wait.ms) for leg in detour.legs] == [(1, 0, 20), (0, 1, 5)]
    (straight,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(3),))]
    assert not straight.detour
    # On its way down from row 3 the reading may stand at any row in between when the confirmation ends; by the time
    # that move has settled, after 25 ms or more, it has followed, and there is no second stop.
    assert sorted(one.entered for one in all_responses(made) if one.start == InRow(3) and one.detour) == [
        (InRow(1), InRow(0)),
        (InRow(2), InRow(0)),
        (InRow(2), InRow(1)),
    ]


def test_a_reading_on_its_way_may_stop_beyond_the_row_that_it_leads_to() -> None:
    """From 229 V down: b1 holds up to 212 V, b2 below it up to 214: read at 213 V the stage stops in b2.

    And there it stays where b2 holds what is read at last; else it goes on to b1 again.
    """
    bands = [(*FOUR[0][:2], 168, 214), (*FOUR[1][:2], 187, 212), (*FOUR[2][:2], 216, 244), (*FOUR[3][:2], 240, 280)]
    made = stage(mains=(230, 168, 270), bands=bands, sensing=Sensing(confirm_ms=F(5)))
    ways = {(one.entered, one.detour) for one in all_responses(made) if one.start == InRow(2)}
    assert ((InRow(1),), False) in ways
    assert ((InRow(0),), True) in ways
    (stays,) = [
        one for one in all_responses(made) if one.start == InRow(2) and one.entered == (InRow(0),) and one.detour
    ]
    assert stays.line == Span(F(187), F(212))
    assert [(leg.wait.windows, leg.wait.confirms) for leg in stays.legs] == [(1, 0)]


def test_the_row_of_a_detour_may_stand_for_the_rest_of_the_window() -> None:
    """Two cycles of window and 5 ms of confirmation; at 222 V b1 gives 251.97 V, b2 before it more.

    At that or below it from KO's opening at once: 25 ms until the first move is over, 40 - 25 of window, 5 ms more,
    and 30 ms until KL and KO are at rest in the last row. At b2's output or below it begins with the step: window,
    the first move, confirmation and the second move.
    """
    made = stage(mains=(230, 168, 270), bands=FOUR,
                 sensing=Sensing(error_pct=F(1), confirm_ms=F(5), window_cycles=F(2)))  # fmt: skip
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(1), InRow(2)))]
    at = found.at_line(F(222))
    assert at.lasting(F(227, 200) * 222, "under") == Level(F(25 + 15 + 5 + 30), 1, 1, F(5))
    assert at.lasting(F(129, 100) * 222, "under") == Level(F(40 + 25 + 5 + 30), 1, 1, F(5))


def test_levels_over_a_range_of_lines_are_those_of_its_worst_end() -> None:
    made = stage(mains=(230, 168, 270), bands=FOUR, sensing=Sensing(error_pct=F(1), confirm_ms=F(30)))
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(1), (InRow(2),))]
    low, high = F(216) / F(101, 100), F(244) / F(99, 100)
    assert found.line == Span(low, high)
    ratios = [F(227, 258), F(227, 200), F(129, 100)]  # KL driven alone, the start, KO driven alone
    assert found.levels("over") == [0, *(ratio * high for ratio in ratios)]
    assert found.levels("under") == [0, *(ratio * low for ratio in ratios)]


def test_where_too_many_relays_move_everything_may_be_at_the_level_throughout() -> None:
    """Eight relays let go: 20 ms of window and 25 of flight, of which nothing is known."""
    bands = [("up", [f"K{number}" for number in range(1, 9)], 180, 220), ("down", [], 215, 260)]
    made = replace(chain(8), bands=design((), {}, bands=bands).bands)
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(1),))]
    at = found.at_line(F(240))
    assert at.levels("over") == [F(340, 300) * 240]
    assert at.lasting(F(340, 300) * 240, "over") == Level(F(20 + 25), 1, 1)
    assert [phase.output.high for phase in at.phases] == [F(340, 300) * 240] * 2


def test_waits_and_levels_add_up() -> None:
    wait = Wait(windows=2, window_ms=F(20), confirms=1, confirm_ms=F(30), blanked_ms=F(5), spent_ms=F(3))
    assert wait.ms == 72
    assert Level(F(10), 1, 0).and_then(wait) == Level(F(82), 3, 1, F(30))
    assert Level(F(10), 1, 2, F(7)).and_then(wait) == Level(F(82), 3, 3, F(37))


def test_a_level_lasts_from_the_step_until_the_contact_opens() -> None:
    """Boost 2 at 210 V gives 270.9 V until KO has let go: 20 + 30 + 10 ms. On nothing: 10 + 5 ms.

    At the end boost 1 stands; its own 238.35 V do not count. At 270.9 V or below it, all of it lasts until then.
    """
    made = stage(mains=(230, 168, 270), bands=FOUR, sensing=Sensing(error_pct=F(1), confirm_ms=F(30)))
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(1),))]
    at = found.at_line(F(210))
    assert (at.line, at.phases[0].output) == (Span(F(210), F(210)), Span(F(129, 100) * 210, F(129, 100) * 210))
    assert at.levels("over") == at.levels("under") == [0, F(129, 100) * 210]
    assert at.lasting(F(129, 100) * 210, "over") == Level(F(60), 1, 1, F(30))
    assert at.lasting(F(129, 100) * 210 + 1, "over") == Level()
    assert at.lasting(F(0), "under") == Level(F(15))
    assert at.lasting(F(129, 100) * 210, "under") == Level(F(75), 1, 1, F(30))
    assert found.settled_ms == at.settled_ms == 75


def test_a_level_goes_on_through_a_row_in_between() -> None:
    """Read at the output, b2 and b1 both put more than 260 V on the load at 230 V of line.

    b2 gives 296.7 V for 20 ms of window, 10 of confirmation and up to 10 until KO lets go. KO may touch its other
    throw in no time, and b1's 261.05 V follow without a break: until the next move is commanded, 10 + 10 + 5 ms of
    settling and 20 + 10 ms after the first command, and until KL or KO opens, up to 15 more: 30 + 25 + 30 + 15 ms.
    """
    bands = [("b2", ["KO"], 207, 246), ("b1", [], 208, 248), ("d", ["KL", "KO"], 208, 250)]
    made = stage(bands=bands, sensing=Sensing(at="output", confirm_ms=F(10)))
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (InRow(0), (InRow(1), InRow(2)))]
    at = found.at_line(F(230))
    assert at.levels("over")[-1] == F(129, 100) * 230
    assert at.lasting(F(129, 100) * 230, "over") == Level(F(40), 1, 1, F(10))
    assert at.lasting(F(227, 200) * 230, "over") == Level(F(100), 2, 2, F(20))
    assert at.lasting(F(227, 200) * 230 + 1, "over") == Level(F(40), 1, 1, F(10))
