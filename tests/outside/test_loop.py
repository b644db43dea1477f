"""The simulation against cases worked by hand, and laws over random designs: what is sound by formula stays quiet."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import cos, floor, pi, sin, sqrt
from pathlib import Path
from random import Random

import numpy as np
import pytest

from tests.outside.designs import ARRANGEMENTS, DAMAGES, Drawn, random_design
from tests.outside.loop import Emf, Flight, Record, Settings, Times, in_file_order, line, run
from tests.outside.rule import Table, table_of
from tests.outside.stage import AWAY, Network, Stage, read

RIDGE = (Path(__file__).parents[2] / "designs/ridge-dispensary.toml").read_text()
QUIET = Settings(noise="none", times="most", bounce="open")


def with_sensing(*lines: str) -> str:
    return RIDGE.replace("noise_v      = 1\n", "noise_v = 1\n" + "\n".join(lines) + "\n")


def with_sequence(*lines: str) -> str:
    return RIDGE + "\n[sequence]\n" + "\n".join(lines) + "\n"


def course(text: str, emf: Emf, settings: Settings = QUIET, duration: float = 1000, seed: int = 1) -> Record:
    return run(read(text), emf, duration, Random(seed), settings)


def flights(**given: tuple[float, float, float]) -> Times:
    return lambda relay, _driven, _chance: Flight(*given[relay.name])


DOWN = line((100, 230), (100, 205))
"""From direct, held down to 214 V, to where only boost 1 holds. The mean square passes 214^2 after 13.065 ms."""

FROM_DIRECT = replace(QUIET, start="direct")


def test_a_step_is_seen_within_one_window() -> None:
    (move,) = course(RIDGE, DOWN, FROM_DIRECT).decisions
    assert (move.before, move.after, move.moved) == ("direct", "boost 1", ("KL", "KO"))
    assert move.time == 113.5  # the end of the first step of half a millisecond after 113.065
    fine = course(RIDGE, DOWN, replace(FROM_DIRECT, step_ms=0.125))
    assert fine.decisions[0].time == 113.125


def test_a_confirmation_adds_to_it() -> None:
    (move,) = course(with_sensing("confirm_ms = 40"), DOWN, FROM_DIRECT).decisions
    assert move.time == 153.5


def test_confirmation_by_direction() -> None:
    text = with_sensing("confirm_up_ms = 70", "confirm_down_ms = 10.2")
    (move,) = course(text, DOWN, FROM_DIRECT).decisions
    assert move.time == pytest.approx(123.7)  # ends between two readings: the answer that stands is taken
    up = line((100, 230), (100, 252))
    (move,) = course(text, up, FROM_DIRECT).decisions
    assert move.time == pytest.approx(100 + 13.5 + 70)  # 20 ms (245^2 - 230^2) / (252^2 - 230^2) = 13.44


def test_the_answer_that_stands_at_the_end_is_taken() -> None:
    deeper = line((100, 230), (100, 205), (140, 205), (140, 175))
    (move,) = course(with_sensing("confirm_ms = 60"), deeper, FROM_DIRECT).decisions
    assert (move.time, move.after) == (173.5, "boost 2")
    (first, second) = course(RIDGE, deeper, FROM_DIRECT).decisions
    assert (first.after, second.after) == ("boost 1", "boost 2")


def sag(start: float, length: float) -> list[tuple[float, float]]:
    return [(start, 230), (start, 200), (start + length, 200), (start + length, 230)]


@pytest.mark.parametrize(
    ("length", "confirm", "moves"),
    [(25, 40, 0), (25, 20, 2), (50, 40, 2), (36, 40, 0), (44, 40, 2)],
)
def test_a_confirmation_holds_off_shorter_sags(length: float, confirm: float, moves: int) -> None:
    """Readings are below 214 V from 0.55 windows after the sag's start to 0.45 windows after its end."""
    record = course(with_sensing(f"confirm_ms = {confirm}"), line(*sag(100, length)), FROM_DIRECT)
    assert len(record.decisions) == moves


def test_a_reading_that_keeps_the_row_restarts_the_confirmation() -> None:
    twice = line(*sag(100, 30), *sag(160, 30))
    assert course(with_sensing("confirm_ms = 40"), twice, FROM_DIRECT).decisions == []


def test_gaps_of_two_relays_by_hand() -> None:
    """KO lets go within 10 ms and KL pulls in within 15; each is open for 10 ms and bounces for 5."""
    (gap,) = course(RIDGE, DOWN, FROM_DIRECT).gaps
    assert (gap.start, gap.length) == (113.5 + 10, 20)  # KO open from 10 to 25, KL from 15 to 30
    assert (gap.before, gap.after) == ("direct", "boost 1")
    (gap,) = course(RIDGE, DOWN, replace(FROM_DIRECT, bounce="closed")).gaps
    assert gap.length == 15
    joined = flights(KO=(0, 10, 5), KL=(15, 10, 5))
    (gap,) = course(RIDGE, DOWN, replace(FROM_DIRECT, times=joined)).gaps
    assert gap.length == 30


def test_no_draw_of_times_makes_a_gap_longer_than_all_flights_together() -> None:
    lengths = []
    for seed in range(300):
        settings = replace(
            FROM_DIRECT, times=("random", "extremes")[seed % 2], bounce=("random", "open")[seed % 3 % 2]
        )
        lengths += [gap.length for gap in course(RIDGE, DOWN, settings, 200, seed).gaps]
    assert 24 < max(lengths) <= 30
    assert min(lengths) < 5


def test_what_a_move_passes_through() -> None:
    """KL first, so that for 8 ms the stage stands as in boost 2."""
    times = flights(KL=(0, 2, 0), KO=(10, 3, 0))
    record = course(RIDGE, DOWN, replace(FROM_DIRECT, times=times))
    assert [gap.length for gap in record.gaps] == pytest.approx([2, 3])
    assert record.highest() == pytest.approx(205 * 599 / 469)
    (surge,) = record.above(253)
    assert (surge.start, surge.end) == (115.5, 123.5)
    assert [one.end - one.start for one in record.below(1)] == [2, 3]
    assert record.lowest() == pytest.approx(205)


def test_an_order_keeps_relays_apart() -> None:
    order = ('[[sequence.move]]\nfrom = "direct"\nto = "boost 1"\norder = ["KO", "KL"]',)
    for seed in range(30):
        record = course(with_sequence(*order), DOWN, replace(FROM_DIRECT, times="random", bounce="random"), 300, seed)
        assert record.highest() < 232
        assert record.lowest() == pytest.approx(205 * 530 / 599)
        assert record.decisions[0].moved == ("KO", "KL")


def test_the_default_pause_is_the_most_that_the_relay_takes() -> None:
    """KO, let go, takes at most 25 ms; then KL is commanded, and opens 15 ms later."""
    text = with_sequence('order = "safest"')
    orders = {("direct", "boost 1"): ["KO", "KL"]}
    record = run(read(text), DOWN, 300, Random(1), FROM_DIRECT, orders=orders)
    first, second = record.gaps
    assert (first.start, first.end) == pytest.approx((113.5 + 10, 113.5 + 25))
    assert (second.start, second.end) == pytest.approx((113.5 + 25 + 15, 113.5 + 25 + 30))
    short = run(read(text + "pause_ms = 4\n"), DOWN, 300, Random(1), FROM_DIRECT, orders=orders)
    (gap,) = short.gaps
    assert gap.length == pytest.approx(24)


FALLING = line((100, 230), (100, 205), (118, 205), (118, 175))


def test_nothing_is_decided_before_every_relay_is_still_and_blanking_is_over() -> None:
    first, second = course(RIDGE, FALLING, replace(FROM_DIRECT, times="least", bounce="closed")).decisions
    assert second.time - first.time == 30  # KL at its latest, though it was quick
    text = with_sequence("blank_ms = 77")
    first, second = course(text, FALLING, FROM_DIRECT).decisions
    assert second.time - first.time == 77


def test_a_move_off_the_grid_of_steps_is_finished_before_the_next() -> None:
    """KL is still 30.3 ms after its command, nearer to the end of a step than its middle; it does not move again."""
    text = RIDGE.replace('name = "KL"', 'name = "KL"\noperate_ms = 15.3')
    first, second = course(text, FALLING, FROM_DIRECT).decisions
    assert second.time == first.time + 30.5
    assert second.moved == ("KO",)


def test_away_and_back() -> None:
    """Below 164 V the load leaves; it comes back at 165.8, and boost 2 then holds it."""
    emf = line((100, 180), (900, 160), (1300, 160), (2100, 180))
    record = course(RIDGE, emf, replace(QUIET, start="boost 2"), 2500)
    leaves, returns = record.decisions
    assert (leaves.after, returns.after) == (AWAY, "boost 2")
    assert leaves.time == pytest.approx(100 + (180 - 164) / 0.025 + 10, abs=1)  # a ramp is read half a window late
    assert returns.time == pytest.approx(1300 + (165.8 - 160) / 0.025 + 10, abs=1)
    assert record.operations == {"KL": 2, "KO": 2}
    off = np.isnan(record.output)
    assert off.sum() * record.step_ms == pytest.approx(returns.time - leaves.time, abs=1)
    assert [gap.before for gap in record.gaps] == [AWAY]


def test_coming_back_waits() -> None:
    emf = line((100, 160), (100, 180), (250, 180), (250, 160), (400, 160), (400, 230))
    quick = course(RIDGE, emf).decisions
    assert [one.after for one in quick[:3]] == ["boost 2", AWAY, "boost 2"]  # 172 V is passed on the way to 230
    slow = course(RIDGE.replace("[backup]", "[backup]\nreturn_after_ms = 200"), emf).decisions
    assert [one.after for one in slow] == ["direct"]
    assert slow[0].time == quick[2].time + 200


WEAK = """
title = "a boost of 3 to 2 behind 4 ohms, 50 ohms at the output: on, the inlet is at E / 1.18"
mains = {{ nominal_v = 200, range_v = [150, 160], source_ohm = 4 }}
output = {{ nominal_v = 200, window_v = [180, 250], load_va = 800 }}
terminals = {{ line = "L", neutral = "N", output = "O" }}
winding = [{{ name = "a", ends = ["N", "L"], turns = 200 }}, {{ name = "b", ends = ["L", "T"], turns = 100 }}]
relay = [{{ name = "K", com = "O", nc = "L", no = "T" }}]
sensing = {{ noise_v = 1 }}
band = [{{ name = "boost", energised = ["K"], hold_v = [130, 200] }}]
backup = {{ leave_v = [120, 210], return_v = [{back}, 205] }}
"""


@pytest.mark.parametrize(("back", "cycles"), [(141.5, True), (142.9, False)])
def test_a_weak_source_cycles_when_the_return_is_near(back: float, cycles: bool) -> None:
    """Leaving at 120 V raises the inlet to 141.6: just at 142.69, noise counted, a return is far enough."""
    most = 0
    for tenth in range(1400, 1445, 2):
        settings = Settings(noise="greedy", start="boost", bounce="closed")
        most = max(most, len(course(WEAK.format(back=back), line((0, tenth / 10)), settings, 2000).decisions))
    assert (most > 10) is cycles
    assert most > 0


TWO = """
title = "two bands with an overlap to choose"
mains = {{ nominal_v = 200, range_v = [160, 240] }}
output = {{ nominal_v = 200, window_v = [170, 230] }}
terminals = {{ line = "L", neutral = "N", output = "O" }}
winding = [{{ name = "a", ends = ["N", "L"], turns = 100 }}, {{ name = "b", ends = ["L", "T"], turns = 15 }}]
relay = [{{ name = "K", com = "O", nc = "L", no = "T" }}]
sensing = {{ noise_v = 2, error_pct = 1, confirm_ms = {confirm} }}
band = [
    {{ name = "boost", energised = ["K"], hold_v = [150, {upper}] }},
    {{ name = "direct", energised = [], hold_v = [195, 250] }},
]
"""


def most_decisions(text: str, noise: str) -> int:
    """Over steady inputs around the overlap."""
    settings = [Settings(noise=noise, error=error, bounce="closed") for error in (-0.01, 0.0, 0.01)]
    inputs = [volts / 4 for volts in range(4 * 190, 4 * 203)]
    return max(len(course(text, line((0, volts)), one, 2000).decisions) for volts in inputs for one in settings)


@pytest.mark.parametrize("noise", ["random", "extremes", "greedy"])
def test_chatter_comes_with_an_overlap_below_the_noise_and_only_then(noise: str) -> None:
    assert most_decisions(TWO.format(confirm=0, upper=196), noise) > 20
    assert most_decisions(TWO.format(confirm=0, upper=197.2), noise) <= 2  # switched on, and one move


def test_a_confirmation_only_slows_an_adversary_down() -> None:
    assert 10 < most_decisions(TWO.format(confirm=60, upper=196), "greedy") < 30


def readings(text: str, volts: Emf, settings: Settings = QUIET, duration: float = 200) -> list[float]:
    """Every reading that the controller is asked about, when it always keeps its row."""
    seen: list[float] = []

    def keep(row: str, reading: float) -> str:
        seen.append(reading)
        return row

    run(read(text), volts, duration, Random(3), settings, decide=keep)
    return seen


def test_readings_of_whole_half_cycles_are_steady_and_run_evenly_after_a_step() -> None:
    for cycles in ("0.5", "1", "2"):
        seen = readings(with_sensing(f"window_cycles = {cycles}"), line((0, 200)))
        assert seen == pytest.approx([200] * len(seen))
    seen = readings(RIDGE, line((100, 200), (100, 230)))
    expected = [sqrt(200**2 + (230**2 - 200**2) * min(max(step / 40, 0), 1)) for step in range(-199, 201)]
    assert seen == pytest.approx(expected)


def test_error_and_noise_of_a_reading() -> None:
    seen = readings(RIDGE, line((0, 200)), replace(QUIET, error=0.01, noise="random"), 5000)
    assert 201.5 <= min(seen) < 201.51
    assert 202.49 < max(seen) <= 202.5
    seen = readings(RIDGE, line((0, 200)), replace(QUIET, noise="extremes"))
    assert set(np.round(seen, 9)) == {199.5, 200.5}


@pytest.mark.parametrize("cycles", [0.39, 0.4, 0.8])
def test_ripple_by_formula(cycles: float) -> None:
    """RMS: times the root of 1 -/+ s; average and peak by their own formulas for a sine of 200 V."""
    share = abs(sin(2 * pi * cycles) / (2 * pi * cycles))
    count = floor(2 * cycles)
    rest = 2 * pi * (cycles - count / 2)
    wanted = {
        "rms": (sqrt(1 - share), sqrt(1 + share)),
        "average": ((count + 1 - cos(rest / 2)) / (2 * cycles), (count + sin(rest / 2)) / (2 * cycles)),
        "peak": (sin(pi * cycles) if cycles < 0.5 else 1, 1),
    }
    if cycles == 0.39:
        assert [200 * one for one in wanted["rms"]] == pytest.approx([172.03, 224.51], abs=0.01)
    for detector, (low, high) in wanted.items():
        text = with_sensing(f"window_cycles = {cycles}", f'detector = "{detector}"')
        seen = readings(text, line((0, 200)), replace(QUIET, step_ms=0.05))
        slack = (
            0.6 if detector == "peak" else 0.05
        )  # only whole steps of phase are met, and a peak's least is a corner
        assert (min(seen), max(seen)) == pytest.approx((200 * low, 200 * high), abs=slack), detector


def test_a_step_in_a_window_with_ripple_reads_beyond_both_ends() -> None:
    text = with_sensing("window_cycles = 0.8")
    seen = [volts for start in range(100, 110) for volts in readings(text, line((start, 200), (start, 230)))]
    assert min(seen) < 182
    assert max(seen) > 248


def test_readings_seldom_taken_are_taken_on_time() -> None:
    """Read each 10 ms: below 214 V first at 120; a confirmation of 25 ms ends on the answer given at 140."""
    text = with_sensing("confirm_ms = 25")
    (move,) = course(text, DOWN, replace(FROM_DIRECT, reading_every_ms=10)).decisions
    assert move.time == 145
    assert move.reading == pytest.approx(205)


def test_a_flight_is_seen_by_a_reading_at_the_output() -> None:
    """The window after a move still holds the gap, unless blanking waits for it to leave."""
    text = TWO.format(confirm=0, upper=205).replace("noise_v = 2,", 'noise_v = 0, at = "output",')
    text = text.replace("[150, 205]", "[180, 215]").replace("[195, 250]", "[180, 215]")
    rise = line((100, 180), (100, 195))
    start = replace(QUIET, start="boost")
    assert len(course(text, rise, start).decisions) > 5
    blanked = text + "[sequence]\nblank_ms = 50\n"
    assert [one.after for one in course(blanked, rise, start).decisions] == ["direct"]


def test_operations_and_rows_add_up() -> None:
    emf = line((0, 230), (3000, 165), (9000, 275), (12000, 230))
    record = course(RIDGE, emf, Settings(), 12000)
    assert record.operations == dict(Counter(name for one in record.moves for name in one.moved))
    assert record.row == record.row_at(12000) == record.decisions[-1].after
    assert record.row_at(0) == AWAY
    assert all(one.after == other.before for one, other in zip(record.decisions, record.decisions[1:], strict=False))
    assert {one.after for one in record.decisions} == {"boost 2", "boost 1", "direct", "buck"}


# Laws over random designs


def drawn(count: int, seed: int, damaged: float) -> list[Drawn]:
    chance = Random(seed)
    return [random_design(chance, damaged) for _ in range(count)]


def patient(stage: Stage) -> Stage:
    """Blanked for so long that no window holds a flight, whatever is sensed."""
    return replace(stage, sequence=replace(stage.sequence, blank=250.0))


def fits(record: Record, stage: Stage, since: float) -> bool:
    """Whether the load is on from then on, inside the window."""
    output = record.output[int(since / record.step_ms) :]
    low, high = (float(end) for end in stage.window)
    return bool(((output >= low - 1e-6) & (output <= high + 1e-6)).all())


def test_sound_designs_come_to_rest_inside_the_window() -> None:
    chance = Random(8)
    kinds: Counter[str] = Counter()
    for one in drawn(150, 31, 0.0):
        stage = patient(read(one.text))
        if one.ripple or stage.source_ohm:
            continue
        kinds.update([one.arrangement, one.sensed])
        network, orders = Network(stage), in_file_order(stage)
        for volts in (*stage.range, chance.uniform(*map(float, stage.range))):
            error = float(stage.sensing.error) * chance.choice((-1, 1))
            settings = Settings(noise="greedy", error=error, loaded=chance.random() < 0.5)
            emf = line((0, float(volts)))
            record = run(stage, emf, 4000, chance, settings, network=network, orders=orders)
            assert len(record.decisions) <= len(stage.bands) + 1, one.text
            assert fits(record, stage, 3000), (one.text, volts)
            assert record.row != AWAY
    assert set(kinds) == set(ARRANGEMENTS) | {"input", "output", "winding"}


def thin_input(stage: Stage, table: Table, network: Network) -> float | None:
    """An input at which noise can move the stage between two neighbours for ever, if there is one."""
    half = float(stage.sensing.noise) / 2
    sensed = [network.settled(row.name).loaded_sensed for row in table.rows]
    for place in range(len(table.rows) - 1):
        low = (float(table.holds[place][1]) - half) / sensed[place]
        high = (float(table.holds[place + 1][0]) + half) / sensed[place + 1]
        if low < high - 0.01 and float(table.holds[place][1]) / sensed[place] >= float(stage.range[0]):
            return (low + high) / 2
    return None


def test_damage_is_seen() -> None:
    """Neighbours that overlap by less than the noise chatter; a return that is too narrow strands the load."""
    chance = Random(9)
    seen: Counter[str] = Counter()
    for one in drawn(120, 32, 1.0):
        stage = patient(read(one.text))
        network = Network(stage)
        table = table_of(stage, network)
        if one.ripple or stage.source_ohm:
            continue
        if one.damage == "thin" and (volts := thin_input(stage, table, network)) is not None:
            record = run(stage, line((0, volts)), 8000, chance, Settings(noise="greedy"), orders=in_file_order(stage))
            assert len(record.decisions) > 10, one.text
            seen["thin"] += 1
        if one.damage == "stranded":
            emf = line((0, float(stage.range[0])))
            record = run(stage, emf, 2000, chance, Settings(noise="none", error=-float(stage.sensing.error)))
            assert record.decisions == [], one.text
            seen["stranded"] += 1
    assert seen["thin"] > 5
    assert seen["stranded"] > 5
    assert {one.damage for one in drawn(120, 32, 1.0)} == set(DAMAGES)
