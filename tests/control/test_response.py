"""Sudden steps: a plain simulation in small steps of time never leaves the worst case, and worked examples."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import sqrt
from random import Random

import pytest

from tapplan.control.lookup import AWAY
from tapplan.control.moves import Mixtures
from tapplan.control.response import REST, Response, responses
from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Backup, Design, Relay, Sensing
from tapplan.network.circuit import Circuit, circuit_of
from tests.checks.test_margins import stage
from tests.network.test_node_equations import NodeEquations

F = Fraction


def all_responses(made: Design) -> list[Response]:
    table = control_table(made)
    return responses(table, Mixtures(table.circuit))


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
        row, pending, since = start, start, 0.0
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
                if wanted != pending:
                    pending, since = wanted, now
                if wanted != row and now - since >= confirm:
                    moving = self.travel(driven, self.drives[wanted], now)
                    row = pending = wanted
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
                delay = float((relay.operate_ms if drive else relay.release_ms) or 0)
                flight = float((relay.transfer_ms or 0) + (relay.bounce_ms or 0))
                opens = now + delay * self.chance.uniform(0.2, 1)
                under_way[relay.name] = Moving(opens, opens + flight * self.chance.uniform(0.2, 1), drive)
        return under_way


def timed(made: Design, chance: Random) -> Design:
    """The design with times of its own for every relay, window and confirmation."""

    def times(relay: Relay) -> Relay:
        return replace(
            relay,
            operate_ms=F(chance.randint(5, 15)),
            release_ms=F(chance.randint(3, 12)),
            transfer_ms=F(chance.randint(2, 10)),
            bounce_ms=F(chance.randint(0, 4)),
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


def allowed(found: list[Response], now: float, after: Fraction, end: float) -> tuple[float, float]:
    """The outputs that some response lets occur at this time: phases may come earlier than their latest."""
    spans = []
    for one in found:
        scale = {phase: phase.output for phase in one.phases if phase.until_ms >= F(now) - 1}
        spans += [(float(span.low), float(span.high)) for span in scale.values()]
    spans.append((end, end))
    return min(low for low, _ in spans), max(high for _, high in spans)


def test_no_simulated_step_leaves_the_worst_case() -> None:
    """1000 random steps with random delays; half a millisecond of grace for the simulation's own step."""
    chance = Random(31)
    moved = 0
    for _ in range(40):
        made = timed(stage(mains=(230, 168, 270), bands=FOUR), chance)
        table = control_table(made)
        found = all_responses(made)
        bench = Bench(made, table, chance)
        for _ in range(25):
            start = chance.randrange(4)
            hold = table.rows[start].hold
            error = chance.uniform(-0.01, 0.01)
            before = chance.uniform(float(hold.low), float(hold.high)) / (1 + error)
            after = chance.uniform(168, 270)
            course = bench.run(start, before, after, error)
            here = [one for one in found if one.start == start and one.line.low <= F(after) <= one.line.high]
            ends_moved = abs(course[-1][1] - course[0][1]) > 1e-9
            assert here or not ends_moved
            moved += ends_moved
            for now, output in course if here else []:
                low, high = allowed(here, now, F(after), course[-1][1])
                assert low - 1e-6 <= output <= high + 1e-6, (now, output, low, high)
    assert moved > 400


def test_the_settling_time_of_a_single_step_by_hand() -> None:
    """One cycle of 20 ms, 30 ms of confirmation, release 10, transfer 10, bounce 5: settled after 75 ms."""
    made = stage(mains=(230, 168, 270), bands=FOUR,
                 sensing=Sensing(error_pct=F(1), confirm_ms=F(30)))  # fmt: skip
    made = replace(made, relays=tuple(
        replace(one, operate_ms=F(15), release_ms=F(10), transfer_ms=F(10), bounce_ms=F(5)) for one in made.relays
    ))  # fmt: skip
    (found,) = [one for one in all_responses(made) if (one.start, one.entered) == (0, (1,))]
    assert [phase.until_ms for phase in found.phases] == [60, 75]
    assert found.phases[0].output.high == F(129, 100) * found.line.high
    assert found.line == type(found.line)(F(191) / F(101, 100), F(216) / F(99, 100))


def test_a_return_after_an_outage_begins_at_rest() -> None:
    """Without a backup, rest (ratio 227/200) passes the line on until the controller has read and moved."""
    rest = [one for one in all_responses(stage()) if one.start == REST]
    assert {one.entered for one in rest} == {(0,), (2,)}
    assert max(one.phases[0].output.high for one in rest) == F(227, 200) * 240


def test_with_a_backup_the_loss_of_the_line_is_a_step_to_nothing() -> None:
    backup = Backup(leave_v=(F(166), F(244)), return_v=(F(172), F(240)))
    lost = [one for one in all_responses(stage(backup=backup)) if one.line.high == 0]
    assert {one.start for one in lost} == {0, 1, 2}
    assert all(one.entered == (AWAY,) for one in lost)
    assert not any(one.start == REST for one in all_responses(stage(backup=backup)))


@pytest.mark.parametrize(("confirm", "detours"), [(0, True), (19, True), (20, False), (50, False)])
def test_detours_exist_only_while_the_confirmation_is_shorter_than_the_window(confirm: int, detours: bool) -> None:
    made = stage(mains=(230, 168, 270), bands=FOUR, sensing=Sensing(error_pct=F(1), confirm_ms=F(confirm)))
    assert any(len(one.entered) == 2 for one in all_responses(made)) == detours


def test_output_sensing_goes_row_by_row_and_waits_for_a_window_each_time() -> None:
    bands = [("b2", ["KO"], 207, 246), ("b1", [], 208, 248), ("d", ["KL", "KO"], 208, 250)]
    made = stage(bands=bands, sensing=Sensing(at="output", confirm_ms=F(10)))
    (found,) = [one for one in all_responses(made) if one.start == 0 and one.entered == (1, 2)]
    names = [phase.name for phase in found.phases]
    assert names == ["unnoticed", "in flight", "in between", "in flight"]
    assert found.phases[2].until_ms - found.phases[2].from_ms == 20 + 10 + 15
